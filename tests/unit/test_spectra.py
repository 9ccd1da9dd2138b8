"""Wavelength grids and resampling."""

from __future__ import annotations

import numpy as np
import pytest

from fewtone.spectra import learning_grid, resampling


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
