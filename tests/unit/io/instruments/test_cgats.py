"""CGATS text as the standard has it and as software writes it."""

from __future__ import annotations

import pytest

from exports import NM, cgats
from fewtone.errors import FewtoneError
from fewtone.io.instruments.cgats import read_cgats
from fewtone.io.instruments.samples import Mode, geometry_from
from fewtone.optics.film import Geometry

SPELLINGS = ("SPECTRAL_NM{}", "SPECTRAL_NM_{}", "SPECTRAL_{}", "NM_{}", "nm{}", "SPEC_{}", "R_{}")


@pytest.mark.parametrize("spelling", SPELLINGS)
def test_every_spelling_of_a_wavelength(spelling: str) -> None:
    """One column per wavelength, in any of the spellings in use."""
    fields = ["SAMPLE_ID", *(spelling.format(nm) for nm in NM)]
    values = [round(0.1 + 0.01 * i, 3) for i in range(len(NM))]
    export = read_cgats(cgats([["P1", *values]], fields), "bench.txt")
    (sample,) = export.samples
    (spectrum,) = sample.spectra
    assert sample.name == "P1"
    assert spectrum.wavelength_nm == NM
    assert spectrum.values == tuple(values)
    assert spectrum.scale == ""


@pytest.mark.parametrize(("column", "scale"), [("PCT", "percent"), ("DEC", "factor")])
def test_pairs_of_wavelength_and_value(column: str, scale: str) -> None:
    """The standard's own fields: SPECTRAL_NM beside SPECTRAL_PCT or SPECTRAL_DEC, repeated."""
    fields = ["SAMPLE_ID", *(["SPECTRAL_NM", f"SPECTRAL_{column}"] * 3)]
    (sample,) = read_cgats(cgats([["P1", 400, 10.5, 410, 11, 420, 12]], fields), "x").samples
    assert sample.spectra[0].wavelength_nm == (400, 410, 420)
    assert sample.spectra[0].values == (10.5, 11, 12)
    assert sample.spectra[0].scale == scale


def test_names_lines_comments_and_tabs() -> None:
    """Quotes, tabs around plain text, comments, a sample over two lines, any line end."""
    text = (
        '\ufeffCGATS.17\r\n# nothing\r\nCREATED "2025-03-04"\r\nBEGIN_DATA_FORMAT\r\n'
        "SAMPLE_ID SAMPLE_NAME LAB_L\r\nLAB_A LAB_B\r\nEND_DATA_FORMAT\r\nBEGIN_DATA\r\n"
        '1 "P014  3 coats" 30 # wrapped\r\n-1 2\r\n'
        "2\tP015 4 coats\t31,5\t0\t0\r\nEND_DATA\r\n"
    )
    first, second = read_cgats(text.encode(), "x.txt").samples
    assert (first.name, first.row, first.date) == ("P014 3 coats", 9, "2025-03-04")
    assert first.labs[0].values == (30, -1, 2)
    assert (second.name, second.row) == ("P015 4 coats", 11)
    assert second.labs[0].values == (31.5, 0, 0)


LAB = ["SAMPLE_ID", "LAB_L", "LAB_A", "LAB_B"]
LIGHTS = {
    "the standard's pairs": {"WEIGHTING_FUNCTION": "ILLUMINANT,D50;OBSERVER,2 degree"},
    "plain words": {"ILLUMINANT": "D50", "OBSERVER": "2"},
    "name and angle": {"ILLUMINATION_NAME": "D50", "OBSERVER_ANGLE": "2"},
    "both in one": {"ILLUMINANT": "D50/2"},
    "attributes": {"MEASUREMENT_SOURCE": "Illumination=D50 ObserverAngle=2 Filter=UVcut"},
}


@pytest.mark.parametrize("kind", LIGHTS)
def test_the_light_of_lab(kind: str) -> None:
    """Illuminant and observer in every way that files say them."""
    (sample,) = read_cgats(cgats([["P1", 50, 1, 2]], LAB, LIGHTS[kind]), "x.txt").samples
    assert (sample.labs[0].illuminant, sample.labs[0].observer) == ("D50", "2")


def test_several_tables_keep_their_own_keywords() -> None:
    """A second table has its own mode, and what it does not say from the first."""
    first = {"MEASUREMENT_GEOMETRY": "45/0", "MEASUREMENT_CONDITION": "M0"}
    both = cgats([["P1", 50, 1, 2]], LAB, first) + cgats(
        [["P1", 51, 1, 2], ["P2", 52, 1, 2]], LAB, {"MEASUREMENT_CONDITION": "M1"}
    )
    modes = [sample.labs[0].mode for sample in read_cgats(both, "x.txt").samples]
    assert [mode.condition for mode in modes] == ["M0", "M1", "M1"]
    assert {mode.geometry for mode in modes} == {Geometry.DIRECTIONAL}


@pytest.mark.parametrize(
    ("keywords", "condition"),
    [
        ({"MEASUREMENT_SOURCE": "MeasurementCondition=M2 Filter=UVcut"}, "M2"),
        ({"FILTER": "UVcut"}, "M2"),
        ({"POLARIZATION": "yes"}, "M3"),
        ({"POLARIZATION": "no", "FILTER": "none"}, ""),
    ],
)
def test_measurement_conditions(keywords: dict[str, str], condition: str) -> None:
    """ISO 13655's conditions, said or implied by the filter."""
    (sample,) = read_cgats(cgats([["P1", 50, 1, 2]], LAB, keywords), "x.txt").samples
    assert sample.labs[0].mode == Mode(condition=condition)


@pytest.mark.parametrize(
    ("text", "geometry"),
    [
        ("45/0", "45:0"),
        ("0/45", "45:0"),
        ("45°a:0°", "45:0"),
        ("Reflection, 45/0, 4 mm", "45:0"),
        ("di:8", "di:8"),
        ("d/8 specular included", "di:8"),
        ("sphere, SCE", "de:8"),
        ("d/8", None),
        ("sphere specular included and excluded", None),
        ("15:0", None),
        ("", None),
    ],
)
def test_geometry_in_words(text: str, geometry: str | None) -> None:
    """The geometry that free text names; a sphere that hides what it does with gloss is none."""
    assert geometry_from(text) == geometry


GOOD = cgats([["P1", 50, 1, 2], ["P2", 50, 1, 2]], LAB)
BROKEN = {
    "cut off": (GOOD[:-20], "breaks off", 11),
    "too few samples": (GOOD.replace(b'"P2" 50 1 2\n', b""), "promises 2 samples", 11),
    "too few values": (GOOD.replace(b'"P1" 50 1 2', b'"P1" 50 1'), "7 values for 4 fields", 10),
    "too many values": (GOOD.replace(b'"P1" 50', b'"P1" 50 9'), "5 values for 4 fields", 10),
    "not a number": (GOOD.replace(b'"P1" 50', b'"P1" NaN'), "not a finite number", 10),
    "a word": (GOOD.replace(b'"P1" 50', b'"P1" high'), "not a finite number", 10),
    "no format": (b"CGATS.17\nBEGIN_DATA\n1 2\nEND_DATA\n", "before the fields", 2),
    "another file": (b"panel,ground\nP1,white\n", "neither CGATS text", 1),
    "no names": (GOOD.replace(b"SAMPLE_ID", b"PATCH"), "SAMPLE_NAME nor SAMPLE_ID", 1),
    "a field twice": (GOOD.replace(b"LAB_B", b"LAB_A"), "stands here twice", 1),
    "transmission": (GOOD.replace(b"45/0", b"transmission 0/d"), "transmittances", 1),
}


@pytest.mark.parametrize("kind", BROKEN)
def test_broken_files(kind: str) -> None:
    """What is wrong is said, with the line that it is on."""
    data, message, row = BROKEN[kind]
    with pytest.raises(FewtoneError, match=message) as caught:
        read_cgats(data, "bench.txt")
    fault = caught.value.faults[0]
    assert (fault.file, fault.row) == ("bench.txt", row)
    assert fault.fix


def test_very_many_faults_are_not_all_told() -> None:
    """A file in which everything is wrong gives the first faults and their number."""
    data = cgats([["P", "x", "y", "z"]] * 1000, LAB)
    with pytest.raises(FewtoneError) as caught:
        read_cgats(data, "x.txt")
    assert len(caught.value.faults) < 100
    assert "And 2950 more" in str(caught.value)
