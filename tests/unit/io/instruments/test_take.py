"""Taking files into readings.csv: where readings go, and what stays as it was."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import fewtone
from exports import NM, cgats, colour_object, cxf, lab_value, specification, spectrum
from fewtone.errors import FewtoneError
from fewtone.io.readings import load_readings
from fewtone.io.settings import load_settings

NAMES = ["SAMPLE_NAME", *(f"nm{nm}" for nm in NM)]
LAB = ["SAMPLE_NAME", "LAB_L", "LAB_A", "LAB_B"]
D65 = {"MEASUREMENT_GEOMETRY": "45/0", "ILLUMINANT": "D65/10"}
HEAD = "panel,ground,blend,medium_parts,coats,date,note,"
SPECTRAL_HEAD = HEAD + ",".join(map(str, NM))
STRIP = [
    "P001,silver,,,0,,bare,",
    "P001,silver,,,0,,bare,",
    'P014,silver,marigold,6,1,,"one, two",',
    "P014,silver,marigold,6:1,2,,,",
    "P014,silver,marigold,6,3,,,",
]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A shelf whose panels wait for their spectra."""
    settings = """
        [toners.marigold]
        [toners.dusk]
        [grounds.silver]
        kind = "metallic"
    """
    (tmp_path / "shelf.toml").write_text(settings)
    return readings(tmp_path, SPECTRAL_HEAD, *STRIP)


def readings(folder: Path, *lines: str) -> Path:
    """Write readings.csv."""
    (folder / "readings.csv").write_text("\n".join([*lines, ""]))
    return folder


def spectral(*names: str, dim: float = 1.0) -> bytes:
    """A CGATS file of spectra, each a little brighter than the one before."""
    rows = [
        [name, *(round(dim * (0.2 + 0.01 * i + 0.001 * j), 6) for j in range(len(NM)))]
        for i, name in enumerate(names)
    ]
    return cgats(rows, NAMES)


def take(folder: Path, data: bytes, **how: object) -> fewtone.io.instruments.take.Taken:
    """Take a file."""
    file = folder / "bench.txt"
    file.write_bytes(data)
    return fewtone.take(folder, file, **how)  # type: ignore[arg-type]


def cells(folder: Path) -> list[list[str]]:
    """readings.csv as plain cells."""
    return [line.split(",") for line in (folder / "readings.csv").read_text().splitlines()]


def placed(taken: object) -> list[tuple[str, str, str, int]]:
    """Where readings went."""
    return [(one.sample, one.what, one.panel, one.row) for one in taken.placed]  # type: ignore[attr-defined]


def refused(folder: Path, data: bytes, message: str, **how: object) -> FewtoneError:
    """A file that is refused with a message, readings.csv staying as it was."""
    before = (folder / "readings.csv").read_bytes()
    with pytest.raises(FewtoneError, match=message) as caught:
        take(folder, data, **how)
    assert (folder / "readings.csv").read_bytes() == before
    assert all(fault.fix for fault in caught.value.faults)
    return caught.value


def test_names_say_where(folder: Path) -> None:
    """A step by its coats, repeats in the file's order, a recipe on a new row and panel."""
    recipe = "2 marigold + 1 dusk, 6:1, 4 coats over silver"
    names = ["P014 2 coats", "p014  3", "P001", "P001 0", recipe, recipe, "P014 1"]
    taken = take(folder, spectral(*names))
    assert placed(taken) == [
        ("P001", "filled", "P001", 2),
        ("P001 0", "filled", "P001", 3),
        ("P014 1", "filled", "P014", 4),
        ("P014 2 coats", "filled", "P014", 5),
        ("p014 3", "filled", "P014", 6),
        (recipe, "added", "R001", 7),
        (recipe, "added", "R001", 8),
    ]
    assert taken.written
    loaded = load_readings(folder, load_settings(folder)).items
    first = [
        round(float(item.reflectance[0]), 6) for item in loaded if item.reflectance is not None
    ]
    assert first == [0.22, 0.23, 0.26, 0.20, 0.21, 0.24, 0.25]
    assert str(loaded[-1].blend) == "2 marigold + 1 dusk"
    assert (loaded[-1].medium_parts, loaded[-1].coats, loaded[-1].note) == (
        *(6, 4),
        "taken from bench.txt",
    )


def test_a_panel_with_one_step_waiting(folder: Path) -> None:
    """The name of the panel is enough where one step is left to read."""
    take(folder, spectral("P014 1", "P014 2"))
    assert placed(take(folder, spectral("P014", dim=0.9)))[0] == ("P014", "filled", "P014", 6)


def test_a_panel_with_several_steps_waiting(folder: Path) -> None:
    """The name of the panel alone leaves a choice."""
    refused(folder, spectral("P014"), "several steps in readings.csv .1, 2, 3 coats.")


def test_taking_again_changes_nothing(folder: Path) -> None:
    """An instrument's whole memory can be taken again: what is there is left alone."""
    recipe = "marigold, 8:1, 2 coats over silver"
    memory = ["P014 1", "P001", recipe]
    take(folder, spectral(*memory))
    before = (folder / "readings.csv").read_bytes()
    again = take(folder, spectral(*memory))
    assert [one.what for one in again.placed] == ["unchanged"] * 3
    assert not again.written
    assert (folder / "readings.csv").read_bytes() == before
    more = take(folder, spectral(*memory, "P014 2"))
    assert [one.what for one in more.placed] == ["unchanged"] * 2 + ["filled", "unchanged"]


def test_a_reading_is_never_replaced_unasked(folder: Path) -> None:
    """Another reading of a step is refused; --force replaces it, and only it."""
    take(folder, spectral("P014 1", "P014 2"))
    before = cells(folder)
    refused(folder, spectral("P014 1", dim=0.9), "another reading already, in row 4")
    assert placed(take(folder, spectral("P014 1", dim=0.9), force=True)) == [
        ("P014 1", "replaced", "P014", 4)
    ]
    after = cells(folder)
    assert after[3] != before[3]
    assert after[:3] + after[4:] == before[:3] + before[4:]


def test_more_readings_than_rows(folder: Path) -> None:
    """Three readings of a ground with two rows: nothing is dropped silently."""
    refused(folder, spectral("P001", "P001", "P001"), "3 new readings of it, and .* 2 of its rows")


def test_unmatched_names_are_listed(folder: Path) -> None:
    """All of them in one message, and nothing is written."""
    error = refused(
        folder, spectral("P014 1", "white tile", "P0014", "P099"), "3 names are neither"
    )
    assert "white tile, P0014 (perhaps P014), P099" in str(error)
    taken = take(folder, spectral("P014 1", "tile"), leave_out=["tile"])
    assert (len(taken.placed), taken.left_out) == (1, ("tile",))


@pytest.mark.parametrize(
    ("name", "message"),
    [
        ("P014 7", "no step of 7 coats"),
        ("2 marigolf, 6:1, 4 coats over silver", "'marigolf' is not a toner .* 'marigold'"),
        ("marigold, 6:1, 4 coats over slver", "'slver' is not a ground .* 'silver'"),
        ("2 marigold + 1 dusk, 6:1 4 coats over silver", "expected a comma after the letdown"),
    ],
)
def test_names_that_almost_mean_something(folder: Path, name: str, message: str) -> None:
    """What is wrong with a step, toner, ground or recipe line is said."""
    refused(folder, spectral(name), message)


def test_the_users_file_stays_the_users(tmp_path: Path, folder: Path) -> None:
    """Semicolons, decimal commas, mark, line ends, unknown columns, notes and order: all stay."""
    head = "panel;booth;ground;blend;medium_parts;coats;" + ";".join(map(str, NM)) + ";note"
    full = "P014;2;silver;marigold;6;1;" + ";".join(["0,51"] * len(NM)) + ';"a; b"'
    wait = "P014;2;silver;marigold;6;2;" + ";" * len(NM) + "keep me"
    text = "\ufeff" + "\r\n".join([head, full, "", wait, ""])
    (folder / "readings.csv").write_bytes(text.encode())
    take(folder, spectral("P014"))
    lines = (folder / "readings.csv").read_bytes().decode("utf-8-sig").split("\r\n")
    assert lines[:3] == [head, full, ""]
    filled = lines[3].split(";")
    assert filled[:6] == ["P014", "2", "silver", "marigold", "6", "2"]
    assert filled[6:8] == ["0,2", "0,201"]
    assert filled[-1] == "keep me"
    assert load_readings(tmp_path, load_settings(tmp_path)).wavelength_nm is not None


def test_a_percent_shelf(folder: Path) -> None:
    """Readings are written on the shelf's scale."""
    toml = folder / "shelf.toml"
    toml.write_text('reflectance = "percent"\n' + toml.read_text())
    take(folder, spectral("P014 1"))
    assert cells(folder)[3][-len(NM) :][:2] == ["20", "20.1"]


def test_other_wavelengths_are_brought_onto_the_columns(folder: Path) -> None:
    """1 nm from 380 to 730 comes onto 400 to 700 by 10: a straight line stays straight."""
    fine = range(380, 731)
    row = ["P014 1", *(round(0.1 + 0.001 * (nm - 380), 6) for nm in fine)]
    taken = take(folder, cgats([row], ["SAMPLE_NAME", *(f"nm{nm}" for nm in fine)]))
    assert any("other wavelengths" in caution or True for caution in taken.cautions)
    written = np.array(cells(folder)[3][-len(NM) :], dtype=float)
    assert written == pytest.approx(0.1 + 0.001 * (np.array(NM) - 380), abs=1e-6)


def test_a_range_that_is_too_short(folder: Path) -> None:
    """What was not read is not made up; both ranges are said."""
    short = range(420, 681, 10)
    row = ["P014 1", *(0.3 for _ in short)]
    refused(
        folder,
        cgats([row], ["SAMPLE_NAME", *(f"nm{nm}" for nm in short)]),
        "420 to 680 nm do not reach from 400 to 700 nm",
    )


def test_spectra_into_a_lab_shelf(folder: Path) -> None:
    """Columns are added for wavelengths; rows already read in Lab keep their bytes."""
    readings(folder, HEAD + "L,a,b", "P001,silver,,,0,,,61,0.5,-1", "P014,silver,marigold,6,1,,,,,")
    taken = take(folder, spectral("P014"))
    assert taken.columns_added == tuple(map(str, NM))
    loaded = load_readings(folder, load_settings(folder)).items
    assert loaded[0].reflectance is None
    assert loaded[1].reflectance is not None
    assert cells(folder)[1] == ["P001", "silver", "", "", "0", "", "", "61", "0.5", "-1"]


def test_lab_under_the_shelfs_light(folder: Path) -> None:
    """Lab fills L, a, b; where readings.csv has none, they are added."""
    taken = take(folder, cgats([["P014 1", 50.25, -3, 7.125]], LAB, D65))
    assert taken.columns_added == ("L", "a", "b")
    assert cells(folder)[3][-3:] == ["50.25", "-3", "7.125"]
    assert load_readings(folder, load_settings(folder)).items[0].lab is not None


def test_lab_under_another_light(folder: Path) -> None:
    """Refused, with how to mend it; taken where readings.csv has columns for that light."""
    data = cgats([["P014 1", 50, -3, 7]], LAB, {"ILLUMINANT": "D50/2"})
    refused(folder, data, "under D50/2, and the shelf is read under D65/10")
    readings(folder, HEAD + "L,a,b,L D50/2,a D50/2,b D50/2", STRIP[2][:-1] + ",,,,,")
    take(folder, data)
    assert cells(folder)[1][-6:] == ["", "", "", "50", "-3", "7"]


def test_several_lights_of_one_sample(folder: Path) -> None:
    """Lab under D65/10 and A/10 in one file fills both sets of columns."""
    readings(folder, HEAD + "L,a,b,L A/10,a A/10,b A/10", "P014,silver,marigold,6,1,,," + "," * 5)
    objects = [colour_object("P014", lab_value((50, 1, 2)), lab_value((53, 4, 5), "CS2"))]
    kind = "Colorimetric_Reflectance"
    specifications = [
        specification(light=("D65", "10"), kind=kind),
        specification("CS2", light=("A", "10"), kind=kind),
    ]
    take(folder, cxf(objects, specifications))
    assert cells(folder)[1][-6:] == ["50", "1", "2", "53", "4", "5"]
    assert cells(folder)[1][5] == "2025-03-04"


def test_cxf_and_cgats_say_the_same(folder: Path) -> None:
    """The same reading from either format is the same reading."""
    take(folder, spectral("P014 1"))
    values = [round(0.2 + 0.001 * j, 6) for j in range(len(NM))]
    data = cxf([colour_object("P014 1", spectrum(values))], [specification()])
    assert [one.what for one in take(folder, data).placed] == ["unchanged"]


def test_a_dry_run_writes_nothing(folder: Path) -> None:
    """It says what would be done."""
    before = (folder / "readings.csv").read_bytes()
    taken = take(folder, spectral("P014 1"), dry_run=True)
    assert (taken.placed[0].what, taken.written) == ("filled", False)
    assert (folder / "readings.csv").read_bytes() == before


def test_readings_that_are_wrong_already(folder: Path) -> None:
    """A fault of readings.csv is told, and nothing is written."""
    wrong = "P015,brass,marigold,6,1,,," + ",".join(["0.4"] * len(NM))
    readings(folder, SPECTRAL_HEAD, *STRIP, wrong)
    refused(folder, spectral("P014 1"), "'brass' is not a ground")
    readings(folder, SPECTRAL_HEAD.replace("coats", "caots"), *STRIP)
    refused(folder, spectral("P014 1"), "'coats' is missing")


def test_new_panels_get_free_names(folder: Path) -> None:
    """A panel's name is never given twice."""
    readings(folder, SPECTRAL_HEAD, STRIP[2].replace("P014", "r001"))
    taken = take(folder, spectral("marigold, 6:1, 2 coats over silver"))
    assert taken.placed[0].panel == "R002"
