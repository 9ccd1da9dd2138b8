"""Tristimulus weights: what the rule promises, and what it refuses."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from fewtone.colorimetry import Light, weights, white_point, xyz
from fewtone.errors import FewtoneError

Array = NDArray[np.float64]

ROUNDING = 1e-10  # sums of a few hundred float64 terms up to 100
DAYLIGHT = Light("D65", 10)
THREE_BANDS = Light("F11", 10)  # its narrow bands leave the most negative weights to fold
GRIDS = {
    "handheld": np.arange(400.0, 701.0, 10.0),
    "bench": np.arange(360.0, 781.0, 5.0),
    "coarse": np.arange(360.0, 741.0, 20.0),
    "beyond the table": np.arange(340.0, 851.0, 10.0),
    "uneven": 385.0 + np.cumsum(np.random.default_rng(4).uniform(2.0, 24.0, 28)),
}

grids = pytest.mark.parametrize("grid", GRIDS.values(), ids=GRIDS.keys())
lights = pytest.mark.parametrize("light", [DAYLIGHT, THREE_BANDS, Light("A", 2)], ids=str)


@grids
@lights
def test_white_is_exact_and_no_weight_is_negative(grid: Array, light: Light) -> None:
    """A perfect white reads the full-range white point, and more light never reads darker."""
    found = weights(grid, light)
    assert found.shape == (grid.size, 3)
    assert (found >= 0.0).all()
    assert found.sum(axis=0) == pytest.approx(white_point(light), abs=ROUNDING)


@grids
@lights
def test_straight_spectra_are_exact(grid: Array, light: Light) -> None:
    """A spectrum that rises in a straight line and is held at the ends sums as at every nm."""
    nanometres = np.arange(360.0, 781.0)
    expected = np.clip(nanometres, grid[0], grid[-1]) @ weights(nanometres, light)
    assert xyz(grid, grid, light) == pytest.approx(expected, rel=1e-12)


def test_cubic_spectra_are_exact_within_the_grid() -> None:
    """A cubic over the whole table's range sums as at every nanometre, where nothing is folded."""
    nanometres, grid = np.arange(360.0, 781.0), GRIDS["bench"]
    light = Light("D50", 2)

    def cubic(wavelength_nm: Array) -> Array:
        step = (wavelength_nm - 560.0) / 200.0
        return 0.5 + 0.2 * step - 0.1 * step**2 + 0.15 * step**3

    expected = cubic(nanometres) @ weights(nanometres, light)
    folding = 1e-5  # the few folded weights keep lines, not cubics
    assert xyz(cubic(grid), grid, light) == pytest.approx(expected, abs=folding)


def test_reflectance_may_have_any_leading_axes() -> None:
    """Stacks of spectra give stacks of X, Y, Z."""
    grid = GRIDS["handheld"]
    stack = np.random.default_rng(2).uniform(0.0, 1.0, (4, 5, grid.size))
    found = xyz(stack, grid, DAYLIGHT)
    assert found.shape == (4, 5, 3)
    assert found[2, 3] == pytest.approx(xyz(stack[2, 3], grid, DAYLIGHT), abs=ROUNDING)


def test_weights_are_found_once_and_read_only() -> None:
    """The same grid, as a list or an array, gives the same array, which cannot be written to."""
    found = weights(GRIDS["handheld"], DAYLIGHT)
    assert weights(list(range(400, 701, 10)), DAYLIGHT) is found
    with pytest.raises(ValueError, match="read-only"):
        found[0, 0] = 1.0


@pytest.mark.parametrize(
    ("grid", "message"),
    [
        (np.arange(430.0, 701.0, 10.0), "from 430 to 700 nm is not enough"),
        (np.arange(400.0, 671.0, 10.0), "from 400 to 670 nm is not enough"),
        (np.arange(0.4, 0.701, 0.01), "from 0.4 to 0.7 nm is not enough"),
        (np.arange(400.0, 701.0, 30.0), "gap from 400 to 430 nm is too wide: 25 nm"),
        (np.delete(np.arange(400.0, 701.0, 10.0), [4, 5]), "gap from 430 to 460 nm"),
        (np.arange(700.0, 399.0, -10.0), "must rise: 700 nm is followed by 690 nm"),
        ([400.0, 410.0, 410.0, 700.0], "must rise: 410 nm is followed by 410 nm"),
        ([400.0, np.nan, 700.0], "one row of at least two numbers"),
        ([[400.0, 700.0]], "one row of at least two numbers"),
        (550.0, "one row of at least two numbers"),
        ([], "one row of at least two numbers"),
    ],
)
def test_grids_that_say_too_little_are_refused(grid: Array, message: str) -> None:
    """The message says what is wrong with the wavelengths and what is allowed."""
    with pytest.raises(FewtoneError, match=message):
        weights(grid, DAYLIGHT)
