"""Units of volume and area against published conversion factors.

Sources: NIST Special Publication 811 (2008), appendix B.8, factors to seven digits as printed
there (from memory); and `scipy.constants`, which builds its factors from definitions of its own.
"""

from __future__ import annotations

from fractions import Fraction

import pytest
from scipy import constants

from fewtone.model.units import area_m2, volume_ml

# Seven printed digits: half a unit in the last place.
PRINT_ROUNDING = 5e-7
# Both sides are a few float operations from their definitions.
FLOAT_NOISE = 1e-14

NIST_M3 = {
    "floz-us": 2.957353e-05,
    "floz-imp": 2.841306e-05,
    "qt-us": 9.463529e-04,
    "l": 1.0e-03,
}
SCIPY_M3 = {
    "floz-us": constants.fluid_ounce_US,
    "floz-imp": constants.fluid_ounce_imp,
    "qt-us": constants.gallon_US / 4,
    "pt-imp": constants.gallon_imp / 8,
    "l": constants.liter,
}


@pytest.mark.parametrize(("unit", "m3"), NIST_M3.items())
def test_volumes_are_those_of_nist(unit: str, m3: float) -> None:
    """A unit of volume is what NIST SP 811 prints."""
    assert float(volume_ml(f"1 {unit}")) == pytest.approx(m3 * 1e6, rel=PRINT_ROUNDING)


@pytest.mark.parametrize(("unit", "m3"), SCIPY_M3.items())
def test_volumes_are_those_of_scipy(unit: str, m3: float) -> None:
    """A unit of volume is what scipy makes of its definition."""
    assert float(volume_ml(f"1{unit}")) == pytest.approx(m3 * 1e6, rel=FLOAT_NOISE)


def test_a_square_foot_is_that_of_nist() -> None:
    """A square foot is 9.290 304 E-02 m², exactly (NIST SP 811, B.8)."""
    assert area_m2("1 sqft") == Fraction("0.09290304")
    assert float(area_m2("1sqft")) == pytest.approx(constants.foot**2, rel=FLOAT_NOISE)


def test_gallons_are_whole_numbers_of_their_parts() -> None:
    """128 US fluid ounces are 231 cubic inches; 160 imperial ones 4.546 09 litres; exactly."""
    assert 128 * volume_ml("1 floz-us") == Fraction(231) * Fraction("2.54") ** 3
    assert volume_ml("160 floz-imp") == volume_ml("8 pt-imp") == volume_ml("4.54609 l")
    assert volume_ml("4 qt-us") == volume_ml("128 floz-us")
