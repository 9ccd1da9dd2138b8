"""Wavelength grids and resampling."""

from __future__ import annotations

import numpy as np
import pytest

from fewtone.errors import FewtoneError
from fewtone.spectra import learning_grid, resampling, resampling_onto


@pytest.mark.parametrize("step", [5.0, 10.0, 20.0])
def test_coarse_readings_keep_their_wavelengths(step: float) -> None:
    """Readings 5 nm apart or more are not touched."""
    read = np.arange(380.0, 741.0, step)
    assert np.array_equal(learning_grid(read), read)
    assert np.array_equal(resampling(read), np.eye(read.size))


def test_fine_readings_come_to_tens() -> None:
    """1 nm readings come to multiples of 10 nm; a straight line stays what it is inside."""
    read = np.arange(393.0, 708.0)
    grid = learning_grid(read)
    assert np.array_equal(grid, np.arange(400.0, 701.0, 10.0))
    line = 0.2 + 0.001 * read
    inside = slice(1, -1)
    assert (line @ resampling(read))[inside] == pytest.approx((0.2 + 0.001 * grid)[inside])


def test_readings_beyond_colour_are_left_out() -> None:
    """What no observer sees does not count: 300 to 1000 nm by 10 comes down to 360 to 780."""
    read = np.arange(300.0, 1001.0, 10.0)
    grid = learning_grid(read)
    assert (grid[0], grid[-1]) == (360.0, 780.0)
    values = np.arange(read.size, dtype=float)
    assert np.array_equal(values @ resampling(read), values[(read >= 360.0) & (read <= 780.0)])


def test_weights_sum_to_one() -> None:
    """A flat spectrum stays flat, uneven wavelengths or not."""
    read = np.sort(np.random.default_rng(3).uniform(385.0, 730.0, 200))
    assert resampling(read).sum(axis=0) == pytest.approx(np.ones(learning_grid(read).size))


def test_wavelengths_that_were_read_are_kept() -> None:
    """Readings at 5 nm or wider keep their values wherever the given wavelengths were read."""
    read = np.arange(360.0, 741.0, 5.0)
    grid = np.arange(400.0, 701.0, 10.0)
    values = np.random.default_rng(5).uniform(0, 1, read.size)
    assert np.array_equal(values @ resampling_onto(read, grid), values[8:69:2])


def test_coarse_readings_are_interpolated_by_cubics() -> None:
    """A cubic read at 20 nm comes out exactly at 10 nm, the ends too."""
    read = np.arange(400.0, 701.0, 20.0)
    grid = np.arange(400.0, 701.0, 10.0)
    cubic = np.polynomial.Polynomial([0.3, 0.1, -0.2, 0.15])
    expected = cubic((grid - 550.0) / 150.0)
    assert cubic((read - 550.0) / 150.0) @ resampling_onto(read, grid) == pytest.approx(expected)


def test_fine_readings_are_averaged_onto_given_wavelengths() -> None:
    """A triangle of 10 nm at 1 nm keeps straight lines and damps a ripple of 10 nm to nothing."""
    read = np.arange(380.0, 731.0)
    grid = np.arange(400.0, 701.0, 10.0)
    line = 0.2 + 0.001 * read
    assert line @ resampling_onto(read, grid) == pytest.approx(0.2 + 0.001 * grid)
    ripple = np.cos(2.0 * np.pi * read / 10.0)
    assert np.abs(ripple @ resampling_onto(read, grid)).max() < 1e-12


def test_nothing_is_extrapolated() -> None:
    """Wavelengths that were not reached are refused, with both ranges."""
    with pytest.raises(FewtoneError, match="420 to 680 nm do not reach from 400 to 700"):
        resampling_onto(np.arange(420.0, 681.0, 10.0), np.arange(400.0, 701.0, 10.0))
