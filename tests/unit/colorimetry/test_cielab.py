"""CIELAB: fixed points, the straight part near black, slopes."""

from __future__ import annotations

import numpy as np
import pytest

from fewtone.colorimetry import Light, lab_from_xyz, lab_jacobian, white_point, xyz_from_lab

WHITE = white_point(Light("D65", 10))
ROUNDING = 1e-12


def test_white_and_black() -> None:
    """The white is 100, 0, 0 and black is 0, 0, 0, exactly."""
    assert lab_from_xyz(WHITE, WHITE).tolist() == [100.0, 0.0, 0.0]
    assert lab_from_xyz(np.zeros(3), WHITE) == pytest.approx(np.zeros(3), abs=1e-14)


def test_near_black_is_a_straight_line() -> None:
    """Below the bend L* is 903.3 Y/Y_n (CIE 15:2018, 8.2.1), below zero too."""
    ratio = np.array([-0.01, 0.0, 0.002, 0.0088])
    found = lab_from_xyz(ratio[:, np.newaxis] * WHITE, WHITE)
    assert found[:, 0] == pytest.approx(24389.0 / 27.0 * ratio, abs=ROUNDING)
    assert found[:, 1:] == pytest.approx(np.zeros((4, 2)), abs=ROUNDING)


def test_bend_joins_smoothly() -> None:
    """At the bend values and slopes of both parts meet."""
    bend = (6.0 / 29.0) ** 3
    beside = np.array([bend * (1.0 - 1e-9), bend * (1.0 + 1e-9)])[:, np.newaxis] * WHITE
    below, above = lab_from_xyz(beside, WHITE)
    slope_below, slope_above = lab_jacobian(beside, WHITE)
    assert below == pytest.approx(above, abs=1e-7)
    assert slope_below == pytest.approx(slope_above, rel=1e-7, abs=ROUNDING)


def test_one_white_for_each_colour() -> None:
    """Whites may differ along a leading axis."""
    whites = np.stack([WHITE, white_point(Light("A", 2))])
    assert lab_from_xyz(whites, whites) == pytest.approx(
        np.array([[100.0, 0.0, 0.0]] * 2), abs=ROUNDING
    )


def test_empty_stacks_pass() -> None:
    """No colours in, no colours out."""
    assert lab_from_xyz(np.empty((0, 3)), WHITE).shape == (0, 3)
    assert xyz_from_lab(np.empty((0, 3)), WHITE).shape == (0, 3)
    assert lab_jacobian(np.empty((0, 3)), WHITE).shape == (0, 3, 3)
