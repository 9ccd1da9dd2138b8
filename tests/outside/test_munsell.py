"""Munsell notation against the standard's own formula and the renotation table."""

from __future__ import annotations

import colour
import numpy as np
import pytest

from fewtone.colorimetry.munsell import MUNSELL_LIGHT, lab_from_munsell
from fewtone.errors import UsageError
from fewtone.io.targets import read_target
from fewtone.model.shelf import Measurement


@pytest.mark.parametrize("value", [2.0, 3.5, 5.0, 7.0, 9.0])
def test_greys_follow_the_standard_s_polynomial(value: float) -> None:
    """ASTM D1535: Y = 1.1914 V - 0.22533 V² + 0.23352 V³ - 0.020484 V⁴ + 0.00081939 V⁵.

    The quintic of ASTM D1535-08, Y = 100 being the perfect diffuser; colour-science has the same
    coefficients in `luminance_ASTMD1535`.
    """
    terms = (1.1914, -0.22533, 0.23352, -0.020484, 0.00081939)
    luminance = sum(term * value**power for power, term in enumerate(terms, start=1))
    lightness, a, b = lab_from_munsell(f"N {value:g}").tolist()
    # Three digits of its coefficients.
    assert lightness == pytest.approx(116.0 * np.cbrt(luminance / 100.0) - 16.0, abs=0.05)
    assert (a, b) == pytest.approx((0.0, 0.0), abs=0.05)  # C is given to five digits of x, y


def test_chips_are_those_of_the_renotation_table() -> None:
    """Tabulated x, y, Y of a hundred chips, through colour-science's own conversions to CIELAB."""
    table = list(colour.MUNSELL_COLOURS["real"])
    chosen = np.random.default_rng(1).choice(len(table), 100, replace=False)
    white = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["C"]
    for row in chosen:
        (hue, value, chroma), (x, y, luminance) = table[row]
        if not (1 <= value <= 9 and y > 0):
            continue
        # The table has Y on magnesium oxide, 0.975 of a perfect diffuser (ASTM D1535).
        xyz = colour.xyY_to_XYZ([x, y, 0.975 * luminance / 100.0])
        wanted = colour.XYZ_to_Lab(xyz, white)
        found = lab_from_munsell(f"{hue} {value:g}/{chroma:g}")
        # Y by the polynomial rather than by the table, which differ in the fourth digit.
        assert found == pytest.approx(wanted, abs=0.15)


@pytest.mark.parametrize(
    "text",
    ["", "blue", "5BG", "5BG 3", "5XX 3/4", "5R 4/40", "5R 0/4", "5BG 11/4", "11R 4/4 x", "N 12"],
)
def test_what_is_no_munsell_colour_is_refused(text: str) -> None:
    """With what a notation looks like, or how far the data reach."""
    with pytest.raises(UsageError, match="Munsell"):
        lab_from_munsell(text)


def test_a_notation_is_a_target_with_its_caution() -> None:
    """In C/2 as it is defined; in another light it is carried there, and that is told."""
    shelf = Measurement()
    target = read_target("munsell 5bg 3/4", shelf)
    assert target.light == MUNSELL_LIGHT
    assert target.lab == pytest.approx(tuple(lab_from_munsell("5BG 3/4")))
    assert len(target.cautions) == 1
    carried = read_target("Munsell N5", shelf, light=shelf.light)
    assert carried.light == shelf.light
    # A grey stays nearly grey: at 200 cd/m² the eye has settled to 94 %.
    assert carried.lab[1:] == pytest.approx((0.0, 0.0), abs=0.3)
    assert len(carried.cautions) == 2
