"""Learning as a property: whatever order, repetition, label or legal setting, it stays finite."""

from __future__ import annotations

import csv
import io
import itertools
import random
import shutil
import tracemalloc
import warnings
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator

import fewtone
from fewtone.errors import FewtoneError
from hostile.bench import RECIPE, TONERS, prepare

Rows = list[dict[str, str]]

# Rows in another order are summed in another order; steps of the solver end within this Lab.
SAME_LAB = 0.05
# Lines over 25 nm round the shoulders of bands off: measured up to 2.9 per coordinate.
WAVES_LAB = 4.0
LARGEST_BYTES = 500_000_000
COLOURS = (RECIPE, "harbour, 6:1, 3 coats over white", "marigold, 4:1, 2 coats over silver")


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small learnt shelf."""
    return prepare(tmp_path_factory.mktemp("learning"))


@pytest.fixture
def learnt(bench: Path, tmp_path: Path) -> Callable[..., fewtone.Shelf | None]:
    """Learn the shelf with its rows and settings changed; None where that is a fault."""

    def learn(
        rows: Callable[[Rows], Rows] = lambda rows: rows, settings: tuple[str, str] = ("", "")
    ) -> fewtone.Shelf | None:
        shelf = tmp_path / "shelf"
        shutil.rmtree(shelf, ignore_errors=True)
        shutil.copytree(bench / "shelf", shelf)
        path = shelf / "readings.csv"
        changed = rows(list(csv.DictReader(io.StringIO(path.read_text()))))
        text = io.StringIO()
        writer = csv.DictWriter(text, list(changed[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(changed)
        path.write_text(text.getvalue())
        toml = shelf / "shelf.toml"
        toml.write_text(toml.read_text().replace(*settings))
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            try:
                fewtone.learn(shelf)
            except FewtoneError:
                return None
        found = fewtone.load(shelf)
        for array in (found.curves.absorption, found.curves.ground_reflectance):
            assert np.isfinite(array).all()
            assert (array >= 0.0).all()
        return found

    return learn


def lab(shelf: fewtone.Shelf | None) -> np.ndarray:
    """What a shelf predicts, finite."""
    assert shelf is not None
    found = np.asarray(shelf.predict(COLOURS).lab)
    assert np.isfinite(found).all()
    return found


@pytest.mark.parametrize("seed", [1, 2])
def test_the_order_of_rows_does_not_matter(
    seed: int, learnt: Callable[..., fewtone.Shelf | None]
) -> None:
    """Rows that are shuffled teach the same."""

    def shuffled(rows: Rows) -> Rows:
        return random.Random(seed).sample(rows, len(rows))

    assert lab(learnt(shuffled)) == pytest.approx(lab(learnt()), abs=SAME_LAB)


def test_a_mislabelled_strip_at_the_end(learnt: Callable[..., fewtone.Shelf | None]) -> None:
    """One strip under another toner's name, its rows moved to the end, still teaches."""

    def moved(rows: Rows) -> Rows:
        strip = [row for row in rows if row["blend"] == "1 marigold" or row["blend"] == "marigold"]
        panel = strip[0]["panel"]
        rest = [row for row in rows if row["panel"] != panel]
        return rest + [{**row, "blend": "harbour"} for row in rows if row["panel"] == panel]

    lab(learnt(moved))


@pytest.mark.parametrize(
    "count", [10, *(pytest.param(count, marks=pytest.mark.trial) for count in (20, 30))]
)
def test_a_row_repeated_takes_no_memory(
    count: int, learnt: Callable[..., fewtone.Shelf | None]
) -> None:
    """A suspect row that stands there many times is within bounds."""

    def repeated(rows: Rows) -> Rows:
        index = next(i for i, row in enumerate(rows) if row["blend"] in ("dusk", "1 dusk"))
        wrong = {**rows[index], "blend": "harbour"}
        rows = [row for row in rows if row["panel"] != wrong["panel"]]
        return rows + [wrong] * count

    tracemalloc.start()
    try:
        learnt(repeated)
        assert tracemalloc.get_traced_memory()[1] < LARGEST_BYTES
    finally:
        tracemalloc.stop()


@pytest.mark.parametrize(
    "settings",
    [
        ("repeat_sd = 0.1", "repeat_sd = 0.1\nfilm_index = 1.0"),
        pytest.param(
            ("repeat_sd = 0.1", "repeat_sd = 0.1\nfilm_index = 1.0001"), marks=pytest.mark.trial
        ),
        ("repeat_sd = 0.1", "repeat_sd = 0.1\nfilm_index = 2"),
        ("repeat_sd = 0.1", "repeat_sd = 0"),
        ("max_part = 3", "max_part = 3\npanel_cv = 0\ncoat_cv = 0\npour_cv = 0"),
        ("max_part = 3", "max_part = 3\npanel_cv = 1\ncoat_cv = 1\npour_cv = 1"),
    ],
    ids=["n=1", "n near 1", "n=2", "repeat_sd 0", "no spread", "all spread"],
)
def test_extreme_but_legal_settings(
    settings: tuple[str, str], learnt: Callable[..., fewtone.Shelf | None]
) -> None:
    """At the ends of what shelf.toml allows it learns, or says what is wrong."""
    shelf = learnt(settings=settings)
    if shelf is not None:
        lab(shelf)


@pytest.mark.parametrize(
    "value",
    ["0", *(pytest.param(value, marks=pytest.mark.trial) for value in ("1", "-0.05", "2.4"))],
)
def test_extreme_but_legal_reflectance(
    value: str, learnt: Callable[..., fewtone.Shelf | None]
) -> None:
    """A strip that reads the same extreme everywhere is learnt, or is a fault."""

    def extreme(rows: Rows) -> Rows:
        panel = next(row["panel"] for row in rows if row["blend"] in ("dusk", "1 dusk"))
        return [
            {k: value if k.isdigit() and row["panel"] == panel else v for k, v in row.items()}
            for row in rows
        ]

    shelf = learnt(extreme)
    if shelf is not None:
        lab(shelf)


@pytest.mark.parametrize(("column", "value"), [("medium_parts", "0"), ("coats", "60")])
def test_extreme_but_legal_films(
    column: str, value: str, learnt: Callable[..., fewtone.Shelf | None]
) -> None:
    """Undiluted toner and sixty coats stay finite."""

    def thick(rows: Rows) -> Rows:
        panel = next(row["panel"] for row in rows if row["blend"] in ("dusk", "1 dusk"))
        return [{**row, column: value} if row["panel"] == panel else row for row in rows]

    shelf = learnt(thick)
    if shelf is not None:
        lab(shelf)


def _at_wavelengths(new: np.ndarray) -> Callable[[Rows], Rows]:
    """The readings at these wavelengths [nm], a smooth line through those that were read."""

    def resampled(rows: Rows) -> Rows:
        old = [name for name in rows[0] if name.isdigit()]
        found = []
        for row in rows:
            cells = [""] * len(new)
            if all(row[name] for name in old):
                line = PchipInterpolator([float(n) for n in old], [float(row[n]) for n in old])
                read = line(new)
                cells = [f"{value:.5f}" for value in read]
            rest = {name: value for name, value in row.items() if name not in old}
            found.append(rest | dict(zip([f"{nm:g}" for nm in new], cells, strict=True)))
        return found

    return resampled


def test_twelve_wavelengths_do(learnt: Callable[..., fewtone.Shelf | None]) -> None:
    """As far apart as is allowed, twelve teach much the same as the sixteen that were read."""
    shelf = learnt(_at_wavelengths(np.arange(410.0, 686.0, 25.0)))
    assert shelf is not None
    found = lab(shelf)
    plain = learnt()
    assert np.abs(found - lab(plain)).max() < WAVES_LAB


@pytest.mark.trial
def test_four_hundred_wavelengths_do(learnt: Callable[..., fewtone.Shelf | None]) -> None:
    """Finer than any film's bands are, they are learnt from by their means around tens of nm."""
    shelf = learnt(_at_wavelengths(np.arange(400.0, 700.1, 0.75)))
    assert shelf is not None
    assert shelf.curves.wavelength_nm.size == 31
    assert np.abs(lab(shelf) - lab(learnt())).max() < WAVES_LAB


def test_a_ground_that_is_almost_black(learnt: Callable[..., fewtone.Shelf | None]) -> None:
    """A ground that reflects two thousandths teaches next to nothing, and does no harm."""

    def black(rows: Rows) -> Rows:
        return [
            {k: f"{0.002 * float(v):.6f}" if k.isdigit() and v else v for k, v in row.items()}
            if row["ground"] == "white"
            else row
            for row in rows
        ]

    shelf = learnt(black)
    assert shelf is not None
    lab(shelf)
    over = np.asarray(shelf.predict(["marigold, 6:1, 3 coats over white"]).reflectance)
    assert (over < 0.01).all()


def test_more_coats_are_darker(learnt: Callable[..., fewtone.Shelf | None]) -> None:
    """Reflectance falls with each coat, at every wavelength, for toners that do not scatter."""
    shelf = learnt()
    assert shelf is not None
    clear = [
        t for t, s in zip(shelf.curves.toners, shelf.curves.scattering, strict=True) if not s.any()
    ]
    for toner, ground in itertools.product(clear, ("silver", "white")):
        lines = [f"{toner}, 6:1, {coats} coats over {ground}" for coats in range(1, 8)]
        reflectance = np.asarray(shelf.predict(lines).reflectance)
        assert (np.diff(reflectance, axis=0) <= 1e-12).all()


@pytest.mark.trial
@pytest.mark.parametrize("wrong", TONERS)
def test_any_panel_under_any_name(
    wrong: str, learnt: Callable[..., fewtone.Shelf | None], bench: Path
) -> None:
    """Each strip in turn under another toner's name: learnt and finite."""
    text = (bench / "shelf" / "readings.csv").read_text()
    panels = dict.fromkeys(
        row["panel"] for row in csv.DictReader(io.StringIO(text)) if row["blend"]
    )
    for panel in panels:

        def mislabelled(rows: Rows, panel: str = panel) -> Rows:
            rest = [row for row in rows if row["panel"] != panel]
            return rest + [{**row, "blend": wrong} for row in rows if row["panel"] == panel]

        lab(learnt(mislabelled))


@pytest.mark.trial
@pytest.mark.parametrize("seed", range(6))
def test_a_panel_of_the_demo_under_another_name(seed: int, tmp_path: Path) -> None:
    """All of the demo shelf, one strip mislabelled and moved to the end: the first one did harm."""
    folder = tmp_path / "demo"
    fewtone.new(folder, demo=True)
    path = folder / "readings.csv"
    text = path.read_text(encoding="utf-8")
    rows = list(csv.DictReader(io.StringIO(text)))
    toners = sorted({row["blend"] for row in rows if row["blend"].isalpha()} - {"medium"})
    rng = random.Random(seed)
    panel = rng.choice(sorted({row["panel"] for row in rows if row["blend"] in toners}))
    was = next(row["blend"] for row in rows if row["panel"] == panel)
    wrong = rng.choice([name for name in toners if name != was])
    if seed == 0:
        panel, wrong = "P005", "harbour"
    moved = [{**row, "blend": wrong} for row in rows if row["panel"] == panel]
    out = io.StringIO()
    writer = csv.DictWriter(out, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows([row for row in rows if row["panel"] != panel] + moved)
    path.write_text(out.getvalue(), encoding="utf-8")
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        report = fewtone.learn(folder)
    assert np.isfinite(fewtone.load(folder).curves.absorption).all()
    assert panel in {suspect.panel for suspect in report.suspects}
