"""Reading readings.csv as spreadsheets write it, and naming what they break."""

from __future__ import annotations

import hashlib
import os
from fractions import Fraction
from pathlib import Path

import pytest

from fewtone.colorimetry import Light
from fewtone.errors import Fault, FewtoneError
from fewtone.io.readings import load_readings, readings_digest, reads_spectra
from fewtone.io.settings import load_settings
from fewtone.model.readings import Readings

HEAD = "panel,ground,blend,medium_parts,coats,L,a,b\n"
BARE = "bare,silver,,,0,80,0,1\n"


def read(folder: Path, content: str | bytes) -> Readings:
    """Read a readings.csv of this content."""
    data = content.encode() if isinstance(content, str) else content
    (folder / "readings.csv").write_bytes(data)
    return load_readings(folder, load_settings(folder))


def faults(folder: Path, content: str | bytes) -> tuple[Fault, ...]:
    """The faults of a readings.csv of this content."""
    with pytest.raises(FewtoneError) as caught:
        read(folder, content)
    assert all((fault.file or "").endswith("readings.csv") for fault in caught.value.faults)
    return caught.value.faults


def only_fault(folder: Path, content: str | bytes) -> Fault:
    """The one fault of a readings.csv of this content, which says how to mend it."""
    (fault,) = faults(folder, content)
    assert fault.fix
    return fault


def test_a_plain_file(folder: Path) -> None:
    """Lab readings of toners, blends, medium alone and bare grounds."""
    readings = read(
        folder,
        HEAD
        + BARE
        + "P1,silver,marigold,6,2.5,60,5,50\n"
        + "P2,white,2 marigold + 1 dusk,6,3,40,5,20\n"
        + "P3,white,medium,6,3,94,0,2\n",
    )
    bare, single, blend, medium = readings.items
    assert (bare.row, bare.panel, bare.is_bare, bare.load) == (2, "bare", True, Fraction(0))
    assert single.blend == {"marigold": 1}
    assert single.load == Fraction(5, 14)
    assert single.lab == {Light("D65", 10): (60.0, 5.0, 50.0)}
    assert blend.blend.fractions == {"marigold": Fraction(2, 3), "dusk": Fraction(1, 3)}
    assert medium.is_bare
    assert medium.load == Fraction(3, 7)
    assert readings.digest == hashlib.sha256((folder / "readings.csv").read_bytes()).hexdigest()
    assert readings.digest == readings_digest(folder)


def test_spreadsheet_habits_load(folder: Path) -> None:
    """Semicolons, decimal commas, a byte-order mark, Windows line ends, stray spaces."""
    text = (
        "\ufeffpanel; ground;blend;medium_parts;coats;L;a;b;L A/10;a A/10;b A/10\r\n"
        "P1;silver;marigold;6;2,5;60,25;\u22125;50,5;62,1;1,5;55\r\n"
        ";;;;;;;;;;\r\n"
        "P2; white;dusk;6:1;1;;;;40;1;1\r\n"
    )
    first, second = read(folder, text).items
    assert first.load == Fraction(5, 14)
    assert first.lab == {
        Light("D65", 10): (60.25, -5.0, 50.5),
        Light("A", 10): (62.1, 1.5, 55.0),
    }
    assert second.medium_parts == 6
    assert list(second.lab or {}) == [Light("A", 10)]


def test_spectra_load_as_factor_or_percent(folder: Path) -> None:
    """Percent is what shelf.toml says, and comes out as a factor."""
    head = "panel,ground,blend,medium_parts,coats,400,410 nm,420\n"
    factor = read(folder, head + "b,silver,,,0,.5,.6,.7\n")
    settings = (folder / "shelf.toml").read_text(encoding="utf-8")
    (folder / "shelf.toml").write_text('reflectance = "percent"\n' + settings, encoding="utf-8")
    percent = read(folder, head + "b,silver,,,0,50,60,70\n")
    for readings in (factor, percent):
        assert readings.wavelength_nm is not None
        assert readings.items[0].reflectance is not None
        assert readings.wavelength_nm.tolist() == [400, 410, 420]
        assert readings.items[0].reflectance.tolist() == pytest.approx([0.5, 0.6, 0.7])


def test_whether_a_shelf_reads_spectra(folder: Path) -> None:
    """By its columns; not where there is no file yet, or none that can be read."""
    settings, file = load_settings(folder), folder / "readings.csv"
    assert not reads_spectra(folder, settings)
    for columns, spectral in (("400,410 nm", True), ("L,a,b", False), ("L,a,b,700", True)):
        file.write_text(f"panel,ground,blend,medium_parts,coats,{columns}\n", encoding="utf-8")
        assert reads_spectra(folder, settings) == spectral
    file.write_bytes(b"\xff\xfe\xff,400\n")
    assert not reads_spectra(folder, settings)


def test_spectra_that_no_panel_gives_are_told(folder: Path) -> None:
    """Below black, brighter than a solid ground can be, cut off at the top: read, and told."""
    head = "panel,ground,blend,medium_parts,coats,400,410,420,430\n"
    good = "s,silver,,,0,.5,.6,1.7,.8\nw,white,,,0,-.004,.6,1.1,1.1\n"
    assert read(folder, head + good).cautions == ()
    rows = "b,silver,,,0,.5,-.02,.7,.8\nc,white,,,0,.9,.8,1.5,.7\nd,silver,,,0,.9,1.4,1.4,1.4\n"
    found = read(folder, head + good + rows)
    assert len(found.items) == 5
    black, bright, cut = found.cautions
    assert "row 4: reflectance -0.02 at 410 nm is below black" in black
    assert "row 5: reflectance 1.5 at 420 nm is more than the solid ground white" in bright
    assert "row 6: the spectrum is cut off at 1.4" in cut
    many = read(folder, head + 8 * "c,white,,,0,.9,.8,1.5,.7\n").cautions
    assert len(many) == 6
    assert many[-1].endswith("and 3 more like these.")


def test_reducer_thins_the_film(folder: Path) -> None:
    """Another share of reducer scales the load by (1 + usual)/(1 + used)."""
    head = HEAD.replace("coats", "coats,reducer_percent")
    first, second = read(
        folder, head + "P1,white,dusk,6,2,32,40,0,0\nP2,white,dusk,6,2,,40,0,0\n"
    ).items
    assert first.load == Fraction(2, 7) * Fraction(110, 132)
    assert second.load == Fraction(2, 7)


def test_rows_without_a_reading_are_skipped_and_counted(folder: Path) -> None:
    """Rows still to be sprayed count for nothing; foreign columns are told once."""
    readings = read(folder, HEAD.replace("b\n", "b,booth\n") + BARE[:-1] + ",3\nP,white,dusk,6,2\n")
    assert len(readings.items) == 1
    assert readings.cautions == (
        "readings.csv: columns not used: booth.",
        "readings.csv: 1 row has no reading yet and count for nothing.",
    )


def test_missing_column(folder: Path) -> None:
    """A missing column is named."""
    fault = only_fault(folder, "panel,ground,blend,coats,L,a,b\nP1,silver,dusk,3,1,1,1\n")
    assert fault.column == "medium_parts"
    assert fault.row == 1


def test_misspelt_column(folder: Path) -> None:
    """A near-misspelling of a known column is an error that names both."""
    found = faults(folder, HEAD.replace("medium_parts", "medum_parts") + BARE)
    assert any("medum_parts" in f.message and f.column == "medium_parts" for f in found)


def test_ratio_turned_into_a_time(folder: Path) -> None:
    """06:01:00 is recognised as the ratio 6:1 that a spreadsheet turned into a time."""
    fault = only_fault(folder, HEAD + "P1,silver,dusk,06:01:00,3,1,1,1\n")
    assert (fault.row, fault.column, fault.value) == (2, "medium_parts", "06:01:00")
    assert "turned into a time" in fault.message


@pytest.mark.parametrize("panel", ["03-Jan", "2026-01-03", "3/1/2026", "Jan-03", "03. Mar 2026"])
def test_panel_turned_into_a_date(folder: Path, panel: str) -> None:
    """A panel id that became a date is recognised."""
    fault = only_fault(folder, HEAD + f"{panel},silver,dusk,6,3,1,1,1\n")
    assert (fault.column, fault.value) == ("panel", panel)
    assert "turned into a date" in fault.message


def test_text_where_a_number_belongs(folder: Path) -> None:
    """Row, column, value and what is allowed, for each of several cells in one go."""
    found = faults(folder, HEAD + "P1,silver,dusk,6,three,1,1,1\nP2,silver,dusk,6,3,1,x,nan\n")
    assert [(f.row, f.column, f.value) for f in found] == [
        (2, "coats", "three"),
        (3, "a", "x"),
        (3, "b", "nan"),
    ]
    assert "from 0 to 100" in found[0].message


def test_percent_where_factor_is_meant(folder: Path) -> None:
    """One row in percent is named; all rows in percent are one fault."""
    head = "panel,ground,blend,medium_parts,coats,400,410\n"
    fault = only_fault(folder, head + "b,silver,,,0,.5,.6\nc,silver,,,0,0.9,61\n")
    assert fault.row == 3
    assert "This row reads like percent (it reaches 61)" in fault.message
    fault = only_fault(folder, head + "b,silver,,,0,50,60\nc,silver,,,0,50,61\n")
    assert "every row reads like percent (row 2 reaches 60)" in fault.message
    assert fault.row == 2
    assert only_fault(folder, head + "b,silver,,,0,50,60\n").row == 2


def test_what_lies_between_factors_and_percentages(folder: Path) -> None:
    """Up to 2.5, and 2.5 itself, is a factor: as much as flake can give, and less than percent."""
    head = "panel,ground,blend,medium_parts,coats,400,410\n"
    dark = "b,silver,,,0,.5,.6\n"
    assert len(read(folder, head + dark + "c,silver,,,0,2,2.5\n").items) == 2
    assert only_fault(folder, head + dark + "c,silver,,,0,2,2.51\n").value == "2.51"
    settings = (folder / "shelf.toml").read_text(encoding="utf-8")
    (folder / "shelf.toml").write_text('reflectance = "percent"\n' + settings, encoding="utf-8")
    assert "these are factors" in only_fault(folder, head + "b,silver,,,0,2,2.5\n").message
    assert read(folder, head + "b,silver,,,0,2,2.51\n").items


@pytest.mark.parametrize(("lowest", "right"), [("-.05", True), ("-.06", False)])
def test_a_reflectance_may_be_a_little_below_black(folder: Path, lowest: str, right: bool) -> None:
    """As far as an instrument's zero drifts; further below, the cell is named."""
    content = f"panel,ground,blend,medium_parts,coats,400,410\nb,silver,,,0,{lowest},.6\n"
    if right:
        assert read(folder, content).items
    else:
        assert only_fault(folder, content).column == "400"


@pytest.mark.parametrize(("used", "right"), [("0", True), ("1000", True), ("1001", False)])
def test_reducer_out_of_range(folder: Path, used: str, right: bool) -> None:
    """None of it up to ten times the paint."""
    content = HEAD.replace("coats", "coats,reducer_percent") + f"P,white,dusk,6,2,{used},40,0,0\n"
    if right:
        assert read(folder, content).items[0].load == Fraction(2, 7) * 110 / (100 + int(used))
    else:
        assert "from 0 to 1000" in only_fault(folder, content).message


def test_factor_where_percent_is_meant(folder: Path) -> None:
    """A file of factors under reflectance = "percent" is one fault."""
    settings = (folder / "shelf.toml").read_text(encoding="utf-8")
    (folder / "shelf.toml").write_text('reflectance = "percent"\n' + settings, encoding="utf-8")
    head = "panel,ground,blend,medium_parts,coats,400,410\n"
    fault = only_fault(folder, head + "b,silver,,,0,.5,.6\nc,silver,,,0,.4,.5\n")
    assert "factors" in fault.message
    assert fault.row == 2
    # Percentages of a dark panel are as small as factors; one row that is not says what all are.
    assert read(folder, head + "b,silver,,,0,.5,.6\nc,silver,,,0,50,60\n").items


def test_unknown_toner_and_ground(folder: Path) -> None:
    """Both are named with what the shelf has, in one go."""
    found = faults(folder, HEAD + "P1,slver,marigld,6,3,1,1,1\n")
    assert [(f.column, f.value) for f in found] == [("ground", "slver"), ("blend", "marigld")]
    assert "Did you mean 'silver'?" in found[0].message
    assert "Did you mean 'marigold'?" in found[1].message


@pytest.mark.parametrize("coats", ["-1", "101"])
def test_coats_out_of_range(folder: Path, coats: str) -> None:
    """Negative coats are refused with the range allowed."""
    fault = only_fault(folder, HEAD + f"P1,silver,dusk,6,{coats},1,1,1\n")
    assert fault.column == "coats"
    assert "from 0 to 100" in fault.message


@pytest.mark.parametrize("parts", ["-0.5", "-1", "1000.5"])
def test_medium_out_of_range(folder: Path, parts: str) -> None:
    """Less than no medium, and more than a thousand parts, are refused with the range allowed."""
    fault = only_fault(folder, HEAD + f"P1,silver,dusk,{parts},3,1,1,1\n")
    assert (fault.column, fault.value) == ("medium_parts", parts)
    assert "from 0 to 1000" in fault.message


def test_not_utf_8(folder: Path) -> None:
    """Another encoding is named with the row that shows it."""
    fault = only_fault(
        folder, (HEAD + BARE).encode() + "P1,silver,Märi,6,3,1,1,1\n".encode("latin-1")
    )
    assert "UTF-8" in fault.message
    assert fault.row == 3


@pytest.mark.parametrize("content", [b"", b"\n \n"])
def test_empty_file(folder: Path, content: bytes) -> None:
    """An empty file is said to be empty."""
    assert "empty" in only_fault(folder, content).message


def test_only_a_header(folder: Path) -> None:
    """A file whose rows are all still to be read says so."""
    assert "No row has a reading" in only_fault(folder, HEAD).message


def test_no_readings_columns(folder: Path) -> None:
    """A file with neither Lab nor wavelength columns says what to add."""
    assert "no readings" in only_fault(folder, "panel,ground,blend,medium_parts,coats\n").message


def test_partial_lab_columns(folder: Path) -> None:
    """L and a without b is a fault of the header."""
    fault = only_fault(folder, "panel,ground,blend,medium_parts,coats,L,a\nP,silver,,,0,1,2\n")
    assert "missing: b" in fault.message


def test_unknown_light(folder: Path) -> None:
    """A light that no table holds is named."""
    head = HEAD.replace("L,a,b", "L X9/10,a X9/10,b X9/10")
    assert "X9/10" in (faults(folder, head + BARE)[0].value or "")


@pytest.mark.parametrize("columns", ["410,400", "0.40,0.41", "400,400"])
def test_wavelengths_in_disorder(folder: Path, columns: str) -> None:
    """Columns out of order, repeated or in micrometres are refused."""
    head = f"panel,ground,blend,medium_parts,coats,{columns}\n"
    found = faults(folder, head + "b,silver,,,0,.5,.6\n")
    assert ("micrometres" in found[0].message) == (columns == "0.40,0.41")


def test_wavelengths_of_any_instrument(folder: Path) -> None:
    """From the ultraviolet at 300 nm to the infrared at 2500 nm, both included, and no further."""
    head = "panel,ground,blend,medium_parts,coats,"
    found = read(folder, head + "300,400,2500\nb,silver,,,0,.5,.6,.7\n").wavelength_nm
    assert found is not None
    assert found.tolist() == [300, 400, 2500]
    for columns, outside in (("299.5,400", "299.5"), ("400,2500.5", "2500.5")):
        fault = only_fault(folder, head + columns + "\nb,silver,,,0,.5,.6\n")
        assert "between 300 and 2500 nm" in fault.message
        assert (fault.row, fault.column) == (1, outside)


@pytest.mark.parametrize(
    ("column", "hint"), [("299", 0), ("0.29", 0), ("0.3", 1), ("2.5", 1), ("2.6", 0)]
)
def test_what_may_be_micrometres(folder: Path, column: str, hint: int) -> None:
    """From 0.3 to 2.5 it may be; what else lies outside is only outside."""
    head = f"panel,ground,blend,medium_parts,coats,{column},400\n"
    message = faults(folder, head + "b,silver,,,0,.5,.6\n")[0].message
    assert ("micrometres" in message) == hint


@pytest.mark.parametrize(
    ("letdown", "right"), [("1000:1", True), ("1000.5:1", False), ("1500:1", False)]
)
def test_a_letdown_as_a_ratio_keeps_to_the_same_range(
    folder: Path, letdown: str, right: bool
) -> None:
    """As the number alone does: 0 to 1000 parts of medium."""
    content = HEAD + BARE + f"P1,silver,dusk,{letdown},3,40,1,1\n"
    if right:
        assert read(folder, content).items[1].medium_parts == 1000
    else:
        assert only_fault(folder, content).column == "medium_parts"


@pytest.mark.parametrize(
    ("lab", "column"),
    [
        ("200,200,200", None),
        ("0,-200,-200", None),
        ("200.5,0,0", "L"),
        ("-0.5,0,0", "L"),
        ("50,200.5,0", "a"),
        ("50,-200.5,0", "a"),
        ("50,0,200.5", "b"),
        ("50,0,-200.5", "b"),
    ],
)
def test_lab_keeps_to_its_range(folder: Path, lab: str, column: str | None) -> None:
    """L* from 0 to 200, a* and b* from -200 to 200, ends included: beyond lie slips alone."""
    content = HEAD + BARE + f"P1,silver,dusk,6,3,{lab}\n"
    if column is None:
        assert len(read(folder, content).items) == 2
    else:
        assert only_fault(folder, content).column == column


def test_a_hole_in_a_spectrum(folder: Path) -> None:
    """A spectrum with an empty cell is a fault of that cell."""
    head = "panel,ground,blend,medium_parts,coats,400,410,420\n"
    fault = only_fault(folder, head + "b,silver,,,0,.5,,.6\n")
    assert (fault.row, fault.column) == (2, "410")


def test_coats_without_a_blend(folder: Path) -> None:
    """Coats of nothing are refused."""
    assert only_fault(folder, HEAD + "P1,silver,,6,3,1,1,1\n").column == "blend"


def test_two_blends_on_one_panel(folder: Path) -> None:
    """The steps of a panel share one film."""
    rows = "P1,silver,dusk,6,1,1,1,1\nP1,silver,dusk,6,2,1,1,1\nP1,silver,marigold,6,3,1,1,1\n"
    fault = only_fault(folder, HEAD + rows)
    assert (fault.row, fault.value) == (4, "P1")


def test_a_row_that_is_too_long(folder: Path) -> None:
    """A decimal comma in a comma file shifts cells; the row is named."""
    assert only_fault(folder, HEAD + "P1,silver,dusk,6,3,60,5,1,1,1\n").row == 2


def test_quotes_that_do_not_close(folder: Path) -> None:
    """A broken quote is a fault, not a traceback."""
    assert "cannot be read" in faults(folder, HEAD + 'P1,silver,"dusk,6,3,60,5,1\n')[0].message


def test_a_huge_file_is_refused_unread(folder: Path) -> None:
    """A file of 200 MB is not swallowed."""
    path = folder / "readings.csv"
    path.write_text(HEAD)
    os.truncate(path, 200_000_000)
    with pytest.raises(FewtoneError, match="larger than 20 MB"):
        load_readings(folder, load_settings(folder))
