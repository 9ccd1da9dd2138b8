"""Slices of lightness hold all that is within a radius, and no more lightness than there is."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from fewtone.colorimetry import delta_e_2000
from fewtone.search.bounds.slices import lab_box, slices_of
from fewtone.typing import FloatArray


def luminance(lightness: float) -> float:
    """Y over the white's, by CIE 15:2018, 8.2.1."""
    root = (lightness + 16.0) / 116.0
    return root**3 if root > 6.0 / 29.0 else lightness * 27.0 / 24389.0


@pytest.mark.parametrize(
    ("target", "radius"),
    [
        *itertools.product([(55.0, 20.0, -30.0), (6.0, 5.0, 2.0), (2.0, 48.0, 17.0)], [0.5, 6.0]),
        ((50.0, 100.0, -100.0), 16.0),
    ],
)
def test_what_is_within_the_radius_lies_in_a_slice(
    target: tuple[float, float, float], radius: float
) -> None:
    """Its X, Y and Z, by the inverse of CIELAB, lie within the ends; Y's ends are those of L*.

    They are on one side of a plane that has what is neutral on its other side, where that is far.
    """
    aim = np.array(target)
    rng = np.random.default_rng(11)
    near = aim + rng.uniform(-1.0, 1.0, (20_000, 3)) * radius * [1.3, 4.0, 4.0]
    near = near[(near[:, 0] > 0.0) & (delta_e_2000(near, aim) <= radius)]
    assert len(near) > 50
    middle = (near[:, 0] + 16.0) / 116.0
    roots = np.stack([middle + near[:, 1] / 500.0, middle, middle - near[:, 2] / 200.0], axis=1)
    edge = 6.0 / 29.0
    xyz = np.where(roots > edge, roots**3, 3.0 * edge**2 * (roots - 4.0 / 29.0))
    held = np.zeros(len(near), dtype=np.bool_)
    slices = slices_of(aim, radius)
    # Far from the neutral axis a slice is cut along b* as well.
    assert (len({tuple(part.span) for part in slices}) < len(slices)) == (radius > 10.0)
    for part in slices:
        inside = ((xyz >= part.low - 1e-12) & (xyz <= part.high + 1e-12)).all(axis=1)
        held |= inside & (xyz @ part.weights.T >= part.least - 1e-12).all(axis=1)
        neutral = np.linspace(part.low[1], part.high[1], 20)[:, np.newaxis] * np.ones(3)
        if np.hypot(*aim[1:]) > 20.0 and radius < 10.0:
            assert (neutral @ part.weights[0] < part.least[0]).all()
        for y, lightness in zip((part.low[1], part.high[1]), part.span, strict=True):
            assert y == pytest.approx(luminance(float(lightness)), rel=1e-9)
    # Where X or Z would be below 0 there is no colour.
    assert held[(xyz >= 0.0).all(axis=1)].all()


def lab_of(xyz: FloatArray) -> FloatArray:
    """CIELAB of X, Y and Z over the white's, by CIE 15:2018, 8.2.1.1."""
    edge = 6.0 / 29.0
    root = np.where(xyz > edge**3, np.cbrt(xyz), xyz / (3.0 * edge**2) + 4.0 / 29.0)
    x, y, z = root.T
    return np.stack([116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)])


def test_a_box_is_no_wider_than_what_it_holds() -> None:
    """Around one colour it is that colour; around all between two ends it holds each of them."""
    rng = np.random.default_rng(12)
    xyz = np.concatenate([rng.uniform(0.0, 1.2, (300, 3)), rng.uniform(0.0, 0.01, (300, 3))])
    for end in lab_box(xyz, xyz):
        np.testing.assert_allclose(end, lab_of(xyz), atol=1e-9)
    ends = np.stack([xyz, xyz * rng.uniform(0.7, 1.4, xyz.shape)])
    low, high = ends.min(axis=0), ends.max(axis=0)
    for share in rng.uniform(0.0, 1.0, (50, 1, 3)):
        lab = lab_of(low + share * (high - low))
        least, most = lab_box(low, high)
        assert ((least <= lab + 1e-9) & (lab <= most + 1e-9)).all()
