"""`fewtone bottle` as a user types it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

import fewtone
from cli.conftest import Run
from fewtone.shelf import Shelf

RECIPE = "marigold, 6:1, 4 coats over silver"
# What is printed of a Lab on the command line here, and what that does to a strength.
PRINTED = 0.002


def reading(shelf: Shelf, strength: float, recipe: str = RECIPE) -> str:
    """What the recipe's panel is predicted to read with marigold of another strength."""
    curves = shelf.curves.with_strengths({"marigold": strength})
    return ",".join(f"{v:.2f}" for v in replace(shelf, curves=curves).predict([recipe]).lab[0])


@pytest.fixture
def strong(demo: Path) -> tuple[str, ...]:
    """Three panels from a bottle of strength 1.2: well beyond what a hand explains."""
    return ("--reading", reading(fewtone.load(demo), 1.2)) * 3


def test_json_is_one_document(demo: Path, run: Run, strong: tuple[str, ...]) -> None:
    """Strength, how sure, the hand's chance, ΔE00 before and after; nothing is written."""
    before = (demo / "shelf.toml").read_bytes()
    ran = run("bottle", RECIPE, *strong, "--shelf", demo, "--json")
    document = ran.document
    assert (ran.code, document["format"], document["toner"]) == (0, 1, "marigold")
    assert document["recipe"] == "1 marigold, 6:1, 4 coats over silver"
    assert 1.0 < document["strength"] < 1.2
    assert 0.0 < document["strength_sd"] < 0.08
    assert 0.0 < document["hand_chance"] < 0.5
    assert document["de00_left"] < document["de00_after"] < document["de00_before"]
    assert (document["verdict"], document["applied"]) == ("differs", False)
    assert len(document["readings"]) == 3
    assert (demo / "shelf.toml").read_bytes() == before


def test_what_a_person_reads(demo: Path, run: Run, strong: tuple[str, ...]) -> None:
    """The strength first, why, what is the hand's, and what another panel would bring."""
    ran = run("bottle", RECIPE, *strong[:2], "--shelf", demo)
    assert ran.code == 0
    document = run("bottle", RECIPE, *strong[:2], "--shelf", demo, "--json").document
    figures = f"{document['strength']:.2f} ± {document['strength_sd']:.2f}"
    assert ran.out.startswith(f"{figures} of the learnt marigold")
    assert "is put down to the bottle" in ran.out
    assert "One more panel from this bottle would make it ±" in ran.out
    assert "Nothing was written" in ran.out


def test_applied_it_holds_for_all_commands(demo: Path, run: Run, strong: tuple[str, ...]) -> None:
    """One line more in shelf.toml; every prediction then has the bottle; twice is once."""
    before = (demo / "shelf.toml").read_text(encoding="utf-8")
    still = fewtone.load(demo).predict([RECIPE, "dusk, 6:1, 4 coats over silver"]).lab
    ran = run("bottle", RECIPE, *strong, "--shelf", demo, "--apply", "--json")
    assert (ran.code, ran.document["applied"]) == (0, True)
    assert "Readings taken before belong to the old bottle" in ran.err
    strength = ran.document["strength"]
    line = "price = 41.0\n"
    after = (demo / "shelf.toml").read_text(encoding="utf-8")
    assert after == before.replace(line, f"{line}strength = {strength}\n")
    shelf = fewtone.load(demo)
    moved = shelf.predict([RECIPE, "dusk, 6:1, 4 coats over silver"]).lab
    assert abs(moved[0] - still[0]).max() > 0.3
    assert (moved[1] == still[1]).all()
    said = run("check", RECIPE, "--shelf", demo, "--json").document["recipe"]["lab"]
    assert said == pytest.approx(list(moved[0]), abs=1e-3)

    again = run("bottle", RECIPE, *strong, "--shelf", demo, "--apply")
    assert again.code == 0
    assert f"{strength} is in use already: nothing was written." in again.out
    assert (demo / "shelf.toml").read_text(encoding="utf-8") == after


def test_the_next_bottle_is_measured_against_the_learnt_one_too(demo: Path, run: Run) -> None:
    """A strength in use is replaced, not multiplied, and both are told."""
    text = (demo / "shelf.toml").read_text(encoding="utf-8")
    weak = ("--reading", reading(fewtone.load(demo), 0.88)) * 4
    plain = run("bottle", RECIPE, *weak, "--shelf", demo, "--json").document
    text = text.replace("price = 41.0\n", "price = 41.0\nstrength = 1.1\n")
    (demo / "shelf.toml").write_text(text, encoding="utf-8")
    ran = run("bottle", RECIPE, *weak, "--shelf", demo, "--apply", "--json")
    assert ran.document["strength_in_use"] == 1.1
    assert ran.document["strength"] == pytest.approx(plain["strength"], abs=PRINTED)
    assert fewtone.load(demo).settings.strengths == {"marigold": ran.document["strength"]}


def test_learning_keeps_the_strength_and_says_so(
    demo: Path, run: Run, strong: tuple[str, ...]
) -> None:
    """The curves are of the readings; the strength still stands between them and predictions."""
    shelf = fewtone.load(demo)
    run("bottle", RECIPE, *strong, "--shelf", demo, "--apply")
    applied = fewtone.load(demo)
    ran = run("learn", "--shelf", demo)
    assert ran.code == 0
    assert (
        f"marigold is mixed at strength {applied.settings.toners['marigold'].strength}" in ran.err
    )
    assert "remove `strength` under [toners.marigold]" in ran.err
    factor = applied.settings.strengths["marigold"]
    learnt = fewtone.load(demo).curves
    assert learnt.absorption == pytest.approx(
        shelf.curves.with_strengths({"marigold": factor}).absorption
    )


def test_a_kept_reading_of_such_a_bottle_is_told(
    demo: Path, run: Run, strong: tuple[str, ...]
) -> None:
    """A reading of the new bottle among those of the old one: what to mind."""
    run("bottle", RECIPE, *strong, "--shelf", demo, "--apply")
    words = ("--target", "69,-7,88", "--reading", "69,-7,88", "--keep-reading")
    ran = run("adjust", RECIPE, *words, "--shelf", demo)
    assert ran.code == 0
    assert "marigold is mixed at strength 1." in ran.err


def test_a_folder_that_cannot_be_written_to(
    demo: Path, run: Run, strong: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    """What cannot be written is told, and shelf.toml is as it was."""

    def refuse(*_: object, **__: object) -> tuple[int, str]:
        raise PermissionError(13, "Permission denied")

    before = (demo / "shelf.toml").read_bytes()
    monkeypatch.setattr("tempfile.mkstemp", refuse)
    ran = run("bottle", RECIPE, *strong, "--shelf", demo, "--apply", "--json")
    assert ran.code == 1
    assert "cannot be written" in ran.document["errors"][0]["message"]
    assert (demo / "shelf.toml").read_bytes() == before


def test_a_strength_that_is_not_credible_is_refused(demo: Path, run: Run) -> None:
    """The hand alone, or another hue: why, what to do, and nothing written."""
    shelf = fewtone.load(demo)
    before = (demo / "shelf.toml").read_bytes()
    slight = reading(shelf, 1.03)
    ran = run("bottle", RECIPE, "--reading", slight, "--shelf", demo, "--apply", "--json")
    assert ran.code == 1
    fault = ran.document["errors"][0]
    assert "hand alone explains it" in fault["message"]
    assert "Spray another panel" in fault["fix"]
    mixed = reading(shelf, 1.0, "20 marigold + 1 dusk, 6:1, 4 coats over silver")
    ran = run("bottle", RECIPE, "--reading", mixed, "--shelf", demo, "--apply")
    assert ran.code == 1
    assert "spray the bottle out anew" in " ".join(ran.err.split())
    ran = run("bottle", RECIPE, "--reading", mixed, "--shelf", demo)
    assert (ran.code, "differs in hue" in " ".join(ran.out.split())) == (0, True)
    assert (demo / "shelf.toml").read_bytes() == before


def test_a_toner_of_a_blend_and_another_light(demo: Path, run: Run) -> None:
    """With --toner the others are as learnt; --light is that of the readings."""
    blend = "2 marigold + 1 dusk, 6:1, 4 coats over silver"
    shelf = fewtone.load(demo)
    lab = shelf.predict([blend], light="A/10").lab[0]
    words = ("--toner", "marigold", "--light", "A/10", "--reading", ",".join(map(str, lab)))
    document = run("bottle", blend, *words, "--shelf", demo, "--json").document
    assert document["strength"] == 1.0
    assert (document["reading_illuminant"], document["reading_observer"]) == ("A", 10)


def test_without_certainty_it_answers_with_a_caution(
    demo: Path, run: Run, strong: tuple[str, ...]
) -> None:
    """A usual figure stands in for it, and how to have the true one is told."""
    for file in demo.glob("uncertainty-*.npz"):
        file.unlink()
    ran = run("bottle", RECIPE, *strong, "--shelf", demo, "--json")
    assert ran.code == 0
    assert "run `fewtone learn`" in " ".join(ran.document["cautions"])


@pytest.mark.parametrize(
    ("recipe", "words", "said"),
    [
        (RECIPE, ("--reading", "150,2"), "is not a reading"),
        (RECIPE, ("--reading", "350,2,3"), "is not a reading"),
        (RECIPE, ("--reading", "nan,2,3"), "is not a reading"),
        (RECIPE, ("--reading", "60,2,80 over white"), "over white, the recipe over silver"),
        (RECIPE, ("--reading", "60,2,80", "--toner", "marygold"), "is not a toner of this shelf"),
        (RECIPE, ("--reading", "60,2,80", "--toner", "dusk"), "is not in the recipe"),
        (RECIPE, ("--reading", "60,2,80", "--sprayed", "four"), "is not a number of coats"),
        (RECIPE, ("--reading", "60,2,80", "--light", "noon"), "'noon' is no light"),
        ("3 marigold + 1 dusk, 6:1, 4 coats over silver", ("--reading", "60,2,80"), "which bottle"),
        ("ruby, 6:1, 4 coats over silver", ("--reading", "60,2,80"), "is not a toner"),
        (RECIPE, (), "--reading"),
    ],
)
def test_bad_input_is_told(
    demo: Path, run: Run, recipe: str, words: tuple[str, ...], said: str
) -> None:
    """What cannot be used is named, with what is allowed; wrong usage ends with 2."""
    ran = run("bottle", recipe, *words, "--shelf", demo, "--json")
    assert ran.code == 2
    fault = ran.document["errors"][0]
    assert said in fault["message"]
    assert fault["fix"]


@pytest.mark.parametrize("strength", ["0", "-1", "0.19", "5.1", '"1.08"', "nan", "true"])
def test_a_strength_that_cannot_be(demo: Path, run: Run, strength: str) -> None:
    """The file, the key, the value, what is allowed and how to mend it."""
    path = demo / "shelf.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(
        text.replace("price = 41.0\n", f"price = 41.0\nstrength = {strength}\n"), encoding="utf-8"
    )
    ran = run("check", RECIPE, "--shelf", demo, "--json")
    assert ran.code == 1
    (fault,) = ran.document["errors"]
    assert (fault["file"], fault["column"]) == ("shelf.toml", "toners.marigold.strength")
    assert fault["message"] == "This must be a number from 0.2 to 5."
    assert fault["fix"]
