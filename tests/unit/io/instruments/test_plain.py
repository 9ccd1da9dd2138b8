"""Plain text of handhelds: headers in many spellings, and what is wrong said by line."""

from __future__ import annotations

from pathlib import Path

import pytest

from fewtone.errors import FewtoneError
from fewtone.io.instruments.plain import read_plain
from fewtone.io.instruments.samples import Export
from fewtone.io.instruments.take import read_export, take
from lamp_shelf import write_lamp_shelf

NM = tuple(range(400, 701, 20))


def read(text: str) -> Export:
    """Read text that has a header."""
    export = read_plain(text.encode(), "export.csv")
    assert export is not None
    return export


@pytest.mark.parametrize(
    ("header", "light"),
    [
        ("Name,L,a,b", ""),
        ("Name,L*,a*,b*", ""),
        ("Name,LAB_L,LAB_A,LAB_B", ""),
        ("Name,CIE L*,CIE a*,CIE b*", ""),
        ("Name,L*(D65/10\u00b0),a*(D65/10\u00b0),b*(D65/10\u00b0)", "D65/10"),
        ("Name,L*(10\u00b0/D65),a*(10\u00b0/D65),b*(10\u00b0/D65)", "D65/10"),
        ("Name,D50/2 L*,D50/2 a*,D50/2 b*", "D50/2"),
        ("name,L A/10,a A/10,b A/10", "A/10"),
    ],
)
def test_lab_headers(header: str, light: str) -> None:
    """However the columns are called, their values and light are found."""
    (sample,) = read(f"{header}\nP014 3,38.2,-18.4,9.7\n").samples
    (lab,) = sample.labs
    assert sample.name == "P014 3"
    assert lab.values == (38.2, -18.4, 9.7)
    assert lab.light == light


def test_two_lights_side_by_side() -> None:
    """Each light's columns are a Lab of their own; differences beside them are left alone."""
    text = (
        "Sample;L* D65/10;a* D65/10;b* D65/10;dL;L* A/10;a* A/10;b* A/10\nP1;38,2;-1;2;9;40;3;4\n"
    )
    (sample,) = read(text).samples
    assert [(lab.light, lab.values) for lab in sample.labs] == [
        ("D65/10", (38.2, -1.0, 2.0)),
        ("A/10", (40.0, 3.0, 4.0)),
    ]


@pytest.mark.parametrize("spelling", ["{}", "{} nm", "{}nm", "R{}", "SPECTRAL_NM{}", "R_{} [%]"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_spectra(spelling: str, delimiter: str) -> None:
    """Wavelengths in any spelling, behind any delimiter, with preamble and decimal commas."""
    comma = "0,5" if delimiter != "," else "0.5"
    header = delimiter.join(["No.", "Title", *(spelling.format(nm) for nm in NM)])
    row = delimiter.join(["1", "P014", *([comma] * len(NM))])
    export = read(f"My instrument\nGeometry: 45/0\n\n{header}\n{row}\n\n")
    (sample,) = export.samples
    (spectrum,) = sample.spectra
    assert sample.name == "P014"
    assert sample.row == 5
    assert spectrum.wavelength_nm == NM
    assert set(spectrum.values) == {0.5}
    assert str(spectrum.mode.geometry) == "45:0"


def test_the_light_may_stand_above_or_in_a_column() -> None:
    """Illuminant and observer by keyword lines, or in columns of their own."""
    above = read("Illuminant: D50\nObserver: 2\u00b0\nName,L*,a*,b*\nP1,38,1,2\n")
    beside = read("Name,L*,a*,b*,Illuminant,Observer\nP1,38,1,2,D50,2\u00b0\n")
    for export in (above, beside):
        assert export.samples[0].labs[0].light == "D50/2"


@pytest.mark.parametrize("text", ["", "hello\nworld\n", "a,b\n1,2\n", "x,y,z\n1,2,3\n"])
def test_what_has_no_header(text: str) -> None:
    """It is no table of readings."""
    assert read_plain(text.encode(), "x.csv") is None


@pytest.mark.parametrize(
    ("text", "row", "said"),
    [
        ("Name,L,a,b\nP1,38,x,2\n", 2, "not a finite number"),
        ("Name,L,a,b\nP1,38,2,1,2,3,4\n", 2, "has 7 cells, the header 4"),
        ("Name,L,a,b\n,38,2,1\n", 2, "has no name"),
        ("Thing,L,a,b\nP1,38,2,1\n", 1, "No column of this file names the samples"),
        ("Name,L,a,b\n", 1, "no samples under the header"),
    ],
)
def test_faults_say_where(text: str, row: int, said: str) -> None:
    """File, line, what is wrong and how to mend it."""
    with pytest.raises(FewtoneError, match=said) as caught:
        read(text)
    fault = caught.value.faults[0]
    assert (fault.file, fault.row) == ("export.csv", row)
    assert fault.fix


def test_it_is_taken_into_a_shelf(tmp_path: Path) -> None:
    """A tab-separated export of spectra fills the rows that its samples name."""
    folder = write_lamp_shelf(tmp_path / "lamp")
    wave = [str(nm) for nm in range(400, 701, 10)]
    lines = ["\t".join(["Sample Name", *wave])]
    name = "2 Marigold + 1 Dusk, 6:1, 3 coats over Fine silver"
    lines.append("\t".join([name, *[f"0,{30 + i}" for i in range(31)]]))
    file = tmp_path / "export.txt"
    file.write_text("\n".join(lines), encoding="utf-16")
    taken = take(folder, file)
    assert taken.kind == "CSV"
    assert taken.written
    assert "2 marigold + 1 dusk" in (folder / "readings.csv").read_text().splitlines()[-1]


def test_cgats_is_still_cgats(tmp_path: Path) -> None:
    """Text with BEGIN_DATA goes the other way."""
    file = tmp_path / "x.txt"
    file.write_text(
        "CGATS.17\nBEGIN_DATA_FORMAT\nSAMPLE_NAME LAB_L LAB_A LAB_B\nEND_DATA_FORMAT\n"
        "BEGIN_DATA\nP1 38 1 2\nEND_DATA\n"
    )
    assert read_export(file).kind == "CGATS"
