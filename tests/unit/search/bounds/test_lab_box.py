"""The box of CIELAB around ends of X, Y, Z and their differences."""

from __future__ import annotations

import numpy as np
import pytest

from fewtone.search.bounds.slices import _ratio, lab_box
from fewtone.typing import FloatArray

POINTS = 200
ROUNDING = 1e-9


def root(ratio: FloatArray) -> FloatArray:
    """CIELAB's function of X, Y or Z over the white's, by CIE 15:2018, 8.2.1."""
    edge = 6.0 / 29.0
    return np.where(ratio > edge**3, np.cbrt(ratio), ratio / (3.0 * edge**2) + 4.0 / 29.0)


def lab(ratio: FloatArray) -> FloatArray:
    """CIELAB of X, Y and Z over the white's."""
    x, y, z = np.moveaxis(root(ratio), -1, 0)
    return np.stack([116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)], axis=-1)


@pytest.mark.parametrize("size", [1e-4, 0.01, 0.1])
@pytest.mark.parametrize("middle", [0.003, 0.02, 0.4])
def test_all_of_it_lies_inside(size: float, middle: float) -> None:
    """Points of boxes on both sides of where the cube root begins; no end is far from them."""
    rng = np.random.default_rng(5)
    for _ in range(30):
        centre = middle * rng.uniform(0.5, 1.5, 3)
        spread = size * rng.uniform(0.2, 1.0, 3)
        points = np.maximum(centre + spread * rng.uniform(-1.0, 1.0, (POINTS, 3)), 0.0)
        apart = points[:, :2] - points[:, 1:]
        five = np.hstack([points, apart])
        low, high = five.min(axis=0)[np.newaxis], five.max(axis=0)[np.newaxis]
        true = lab(points).T
        boxes = [lab_box(low[:, :n], high[:, :n]) for n in (3, 5)]
        for least, most in boxes:
            assert (least <= true + ROUNDING).all()
            assert (true <= most + ROUNDING).all()
        assert (boxes[0][0] <= boxes[1][0] + ROUNDING).all()
        assert (boxes[1][1] <= boxes[0][1] + ROUNDING).all()


def test_roots_are_turned_back() -> None:
    """From where the function is straight to beyond the white; none is darker than black."""
    ratio = np.linspace(0.0, 1.2, 2401)
    assert _ratio(root(ratio)) == pytest.approx(ratio, abs=ROUNDING)
    assert (_ratio(np.array([-1.0, 0.0, 4.0 / 29.0])) == 0.0).all()


@pytest.mark.parametrize("middle", [0.004, 0.3])
def test_what_is_off_together_is_known_better(middle: float) -> None:
    """X, Y and Z that go up together leave a* and b* to their differences: the slope there."""
    together = np.linspace(0.9, 1.1, POINTS)[:, np.newaxis] * middle
    points = together * np.array([1.0, 1.001, 1.002])
    five = np.hstack([points, points[:, :2] - points[:, 1:]])
    low, high = five.min(axis=0)[np.newaxis], five.max(axis=0)[np.newaxis]
    true = lab(points)
    least, most = lab_box(low, high)
    wide = np.ptp(lab_box(low[:, :3], high[:, :3]), axis=0)[:, 0]
    narrow = (most - least)[:, 0]
    assert (narrow[1:] < 0.1 * wide[1:]).all()
    # Ends of a product of two intervals: no further than a third beyond what is met.
    assert (least[1:, 0] >= true[:, 1:].min(axis=0) * 1.35).all()
    assert (most[1:, 0] <= true[:, 1:].max(axis=0) * 0.65).all()
