"""A spectrum as target from the command line: in one light, in several, and what is left."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import fewtone
from cli.conftest import Run
from fewtone.colorimetry import Light, delta_e_2000, lab_from_xyz, white_point, xyz
from fewtone.typing import FloatArray

RECIPE = "2 peony + 1 poppy, 8:1, 6 coats over silver"
LIGHTS = ("D65", "A", "LED-B3")


def written(folder: Path, nm: FloatArray, reflectance: FloatArray) -> Path:
    """A CSV file of two columns."""
    path = folder / "panel.csv"
    pairs = zip(nm, reflectance, strict=True)
    path.write_text("nm,R\n" + "".join(f"{at:g},{value:.7f}\n" for at, value in pairs))
    return path


def test_the_spectrum_of_a_recipe_gives_it_back(
    learnt_demo: Path, tmp_path: Path, run: Run
) -> None:
    """In the shelf's light and in three lights at once; no metamerism is left."""
    predicted = fewtone.load(learnt_demo).predict(RECIPE)
    path = written(tmp_path, predicted.wavelength_nm, predicted.reflectance[0])
    for lights in ((), ("--lights", ",".join(LIGHTS))):
        ran = run("match", path, *lights, "--shelf", learnt_demo, "--json")
        closest = ran.document["picks"]["closest"]
        assert closest["recipe"] == RECIPE
        assert closest["de00"] <= 1e-4  # seven decimals are written
        assert all(left["index"] <= 1e-3 for left in closest["metamerism"])
        if lights:
            each = [standing["pass_probability"] for standing in closest["each"]]
            assert 0.8 * min(each) <= closest["pass_any"] <= min(each) + 0.01
    screen = run("match", path, "--lights", "D65,A", "--shelf", learnt_demo).out
    assert "Metamerism left, from D65/10 to A/10 0.0 (ΔE*ab, ISO 18314-4)" in screen
    assert "fresh panels pass in all of them at once" in screen


def test_several_lights_count_by_the_worst(learnt_demo: Path, tmp_path: Path, run: Run) -> None:
    """ΔE00 and index are those of the spectra, worked out beside the package's own answer."""
    shelf = fewtone.load(learnt_demo)
    nm = shelf.curves.wavelength_nm
    # No mix of the shelf: two narrow bands.
    wanted = 0.05 + 0.5 * np.exp(-(((nm - 640.0) / 40.0) ** 2))
    wanted += 0.2 * np.exp(-(((nm - 470.0) / 25.0) ** 2))
    path = written(tmp_path, nm, wanted)
    options = ("--lights", ",".join(LIGHTS), "--max-toners", 2, "--shelf", learnt_demo, "--json")
    document = run("match", path, *options).document
    lights = [Light(name, 10) for name in LIGHTS]

    def labs(film: FloatArray) -> FloatArray:
        return np.array([lab_from_xyz(xyz(film, nm, li), white_point(li)) for li in lights])

    for pick in [document["picks"]["closest"], *document["recipes"]]:
        film = shelf.predict(pick["recipe"]).reflectance[0]
        off = delta_e_2000(labs(film), labs(wanted))
        assert pick["de00"] == pytest.approx(off.max(), abs=1e-5)
        assert [each["de00"] for each in pick["each"]] == pytest.approx(off.tolist(), abs=1e-5)
        # ISO 18314-4: the film is brought onto the standard in D65 by ratios of X, Y, Z.
        ratio = xyz(wanted, nm, lights[0]) / xyz(film, nm, lights[0])
        for light, left in zip(lights[1:], pick["metamerism"], strict=True):
            brought = lab_from_xyz(ratio * xyz(film, nm, light), white_point(light))
            standard = lab_from_xyz(xyz(wanted, nm, light), white_point(light))
            index = float(np.linalg.norm(brought - standard))
            assert left["index"] == pytest.approx(index, abs=2e-4)
    alone = run("match", path, "--max-toners", 2, "--shelf", learnt_demo, "--json").document
    best = shelf.predict(alone["picks"]["closest"]["recipe"]).reflectance[0]
    assert (
        document["picks"]["closest"]["de00"] <= delta_e_2000(labs(best), labs(wanted)).max() + 0.05
    )


def test_lab_cannot_be_matched_in_several_lights(learnt_demo: Path, run: Run) -> None:
    """A triple says a colour in one light alone."""
    ran = run("match", "38,30,28", "--lights", "D65,A", "--shelf", learnt_demo)
    assert ran.code == 2
    assert "--lights" in ran.err
    assert "like in A/10" in ran.err


def test_an_unknown_light_lists_those_known(learnt_demo: Path, run: Run) -> None:
    """Packaged and further ones."""
    ran = run("match", "38,30,28", "--light", "D66", "--shelf", learnt_demo)
    assert ran.code == 2
    assert "LED-B3" in ran.err
    assert "FL3.1" in ran.err


@pytest.mark.parametrize("command", ["check", "compare", "letdown"])
def test_geometry_is_asked_for_with_every_target(command: str, learnt_demo: Path, run: Run) -> None:
    """Refused with the reason; allowed with a caution."""
    recipes = [RECIPE, "1 peony, 8:1, 6 coats over silver"][: 2 if command == "compare" else 1]
    words = (command, *recipes, "--target", "38,30,28", "--geometry", "di:8")
    ran = run(*words, "--shelf", learnt_demo)
    assert ran.code == 2
    assert "--anyway" in ran.err
    ran = run(*words, "--anyway", "--shelf", learnt_demo)
    assert ran.code == 0
    assert command == "compare" or "di:8" in ran.err
