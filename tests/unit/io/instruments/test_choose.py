"""Scale, wavelengths, light and range of an instrument's values."""

from __future__ import annotations

import pytest

from exports import NM, cgats
from fewtone.colorimetry import Light
from fewtone.errors import FewtoneError, UsageError
from fewtone.io.instruments.cgats import read_cgats
from fewtone.io.instruments.choose import ChosenReading, choose
from fewtone.model.shelf import Measurement

FIELDS = ["SAMPLE_ID", *(f"nm{nm}" for nm in NM)]
LAB = ["SAMPLE_ID", "LAB_L", "LAB_A", "LAB_B"]
SHELF = Measurement()
GREY = [0.2 + 0.001 * i for i in range(len(NM))]


def found(
    rows: list[list[object]],
    fields: list[str],
    keywords: dict[str, str] | None = None,
    *,
    light: Light | None = None,
    leave_out: tuple[str, ...] = (),
) -> tuple[tuple[ChosenReading, ...], tuple[str, ...]]:
    """The samples of a CGATS file, as a shelf takes them."""
    export = read_cgats(cgats(rows, fields, keywords), "bench.txt")
    return choose(export, SHELF, light=light, leave_out=leave_out)


def values(one: ChosenReading) -> list[float]:
    """Its reflectance."""
    assert one.reflectance is not None
    return [float(value) for value in one.reflectance]


def scaled(by: float) -> list[object]:
    """Grey on another scale."""
    return [by * value for value in GREY]


@pytest.mark.parametrize("by", [1.0, 100.0])
def test_percent_or_factor(by: float) -> None:
    """Where the file does not say, all of it is judged together, and told."""
    (one, dark), cautions = found([["P1", *scaled(by)], ["P2", *scaled(0.2 * by)]], FIELDS)
    assert values(one) == pytest.approx(GREY)
    assert values(dark) == pytest.approx([0.2 * value for value in GREY])
    assert any(("percent" if by > 1 else "factor") in caution for caution in cautions)


@pytest.mark.parametrize(("column", "by"), [("PCT", 100.0), ("DEC", 1.0)])
def test_a_scale_that_is_said(column: str, by: float) -> None:
    """The standard's fields say it, and a dark panel is read right beside a bright one."""
    fields = ["SAMPLE_ID", *(["SPECTRAL_NM", f"SPECTRAL_{column}"] * len(NM))]
    rows: list[list[object]] = [
        [name, *(x for nm, value in zip(NM, GREY, strict=True) for x in (nm, dim * by * value))]
        for name, dim in (("P1", 1.0), ("P2", 0.05))
    ]
    (one, dark), cautions = found(rows, fields)
    assert values(one) == pytest.approx(GREY)
    assert values(dark) == pytest.approx([0.05 * value for value in GREY])
    assert not cautions


def test_mixed_scales_are_refused() -> None:
    """One sample in percent among factors is not guessed at."""
    with pytest.raises(FewtoneError, match="Some spectra"):
        found([["P1", *GREY], ["P2", *scaled(100)]], FIELDS)


def test_percent_that_reads_like_factors_is_refused() -> None:
    """A file that says percent and never exceeds 2.5 contradicts itself."""
    fields = ["SAMPLE_ID", *(["SPECTRAL_NM", "SPECTRAL_PCT"] * 4)]
    with pytest.raises(FewtoneError, match="none of its spectra exceeds"):
        found([["P1", 400, 0.4, 500, 0.5, 600, 0.4, 700, 0.3]], fields)


def saturated() -> list[object]:
    """Grey with five neighbours at the top of the scale."""
    row: list[object] = list(GREY)
    row[10:15] = [1.0] * 5
    return row


BAD: dict[str, tuple[list[float] | None, list[object] | None, str]] = {
    "micrometres": ([0.4, 0.45, 0.5, 0.55], None, "micrometres"),
    "out of order": ([400, 420, 410, 430], None, "410 nm stands after 420 nm"),
    "twice the same": ([400, 410, 410, 430], None, "must rise"),
    "far out": ([400, 410, 420, 9000], None, "between 300 and 2500 nm"),
    "too few": ([400, 500, 600], None, "at least 4"),
    "negative": (None, [-0.2, *GREY[1:]], "between -0.05 and 10"),
    "beyond all": (None, [*GREY[:-1], 40.0], "percent|between -0.05 and 10"),
    "saturated": (None, saturated(), "saturated"),
}


@pytest.mark.parametrize("kind", BAD)
def test_bad_spectra(kind: str) -> None:
    """Refused with the sample, its line and the value."""
    wavelengths, row, message = BAD[kind]
    if wavelengths:
        fields = ["SAMPLE_ID", *(["SPECTRAL_NM", "SPECTRAL_DEC"] * len(wavelengths))]
        rows: list[list[object]] = [["P1", *(x for nm in wavelengths for x in (nm, 0.3))]]
    else:
        fields, rows = FIELDS, [["P0", *GREY], ["P1", *(row or [])]]
    with pytest.raises(FewtoneError, match=message) as caught:
        found(rows, fields)
    fault = caught.value.faults[0]
    assert fault.file == "bench.txt"
    assert fault.fix


def test_slightly_negative_and_bright_values_pass() -> None:
    """Noise about zero, and flake that is brighter than white, are readings."""
    row: list[object] = [-0.002, *GREY[1:-1], 1.8]
    (one,), _ = found([["P1", *row]], FIELDS)
    assert (values(one)[0], values(one)[-1]) == (-0.002, 1.8)


def test_lab_needs_its_light() -> None:
    """Lab alone without illuminant and observer is refused, unless they are told."""
    with pytest.raises(FewtoneError, match="does not say under which illuminant"):
        found([["P1", 50, 1, 2]], LAB)
    (one,), _ = found([["P1", 50, 1, 2]], LAB, light=Light("D50", 2))
    assert dict(one.lab) == {Light("D50", 2): (50, 1, 2)}


def test_a_light_that_contradicts_the_file() -> None:
    """What the file says cannot be overruled."""
    with pytest.raises(UsageError, match="under D50/2, not D65/10"):
        found([["P1", 50, 1, 2]], LAB, {"ILLUMINANT": "D50/2"}, light=Light("D65", 10))


def test_an_unknown_light() -> None:
    """A light without a table is refused for Lab alone, and does not matter beside a spectrum."""
    with pytest.raises(FewtoneError, match="TL84"):
        found([["P1", 50, 1, 2]], LAB, {"ILLUMINANT": "TL84/10"})
    (one,), _ = found([["P1", 50, 1, 2, *GREY]], [*LAB, *FIELDS[1:]], {"ILLUMINANT": "TL84/10"})
    assert not one.lab


@pytest.mark.parametrize("lab", [(120, 0, 0, "-"), (-3, 0, 0, "L"), (50, 250, 0, "a")])
def test_lab_out_of_range(lab: tuple[float, float, float, str]) -> None:
    """L* from 0 to 200, a* and b* within 200."""
    rows: list[list[object]] = [["P1", *lab[:3]]]
    if lab[3] == "-":
        assert found(rows, LAB, {"ILLUMINANT": "D50/2"})
    else:
        with pytest.raises(FewtoneError, match=r"L\* must lie between 0 and 200"):
            found(rows, LAB, {"ILLUMINANT": "D50/2"})


def test_a_spectrum_that_is_not_that_of_its_lab() -> None:
    """A caution where the two lie far apart; none where they belong together."""
    fields = [*LAB, *FIELDS[1:]]
    flat: list[object] = [0.2] * len(NM)
    # A grey of 20 % has L* 51.84 under any light (CIE 15).
    _, cautions = found([["P1", 51.84, 0, 0, *flat]], fields, {"ILLUMINANT": "D50/2"})
    assert not any("ΔE00 apart" in caution for caution in cautions)
    _, cautions = found([["P1", 60, 0, 0, *flat]], fields, {"ILLUMINANT": "D50/2"})
    assert any("'P1' lie" in caution for caution in cautions)


def test_neither_spectrum_nor_lab() -> None:
    """A sample with device values alone is refused."""
    with pytest.raises(FewtoneError, match="neither a spectrum nor Lab"):
        found([["P1", 50]], ["SAMPLE_ID", "RGB_R"])


def test_samples_left_out() -> None:
    """A name that is left out counts for nothing; one that is not there is wrong usage."""
    rows: list[list[object]] = [["white tile", *GREY], ["P1", *GREY]]
    (one,), _ = found(rows, FIELDS, leave_out=("white  tile",))
    assert one.name == "P1"
    with pytest.raises(UsageError, match="Did you mean 'white tile'"):
        found(rows, FIELDS, leave_out=("white tiles",))
    with pytest.raises(UsageError, match="All samples"):
        found(rows, FIELDS, leave_out=("white tile", "P1"))
