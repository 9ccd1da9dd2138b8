"""Lower bounds of ΔE00 hold, wherever the formula is at its worst."""

from __future__ import annotations

import math

import numpy as np
import pytest

from fewtone.colorimetry import delta_e_2000
from fewtone.search.bounds.delta_e import (
    _SLOPE_OF_T,
    _turns,
    de00_lower_bound,
    lightness_span,
    regions_of,
)
from fewtone.typing import FloatArray

ROUNDING = 1e-9  # of sums of a few doubles
POINT = 1e-7  # a box of no size is bracketed through a handful of functions, not evaluated

KINDS = ("anywhere", "near the target", "opposite hue", "near neutral", "blue")


def boxes_and_target(
    kind: str, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Centres and half sizes of 400 boxes, and a target, of some kind."""
    target = np.array([rng.uniform(0, 100), *rng.normal(0, rng.choice([1, 20, 60]), 2)])
    if kind == "blue":
        target = np.array([50.0, 100.0, -100.0]) + rng.normal(0, 10, 3)
    centre = np.column_stack([rng.uniform(0, 100, 400), rng.normal(0, 40, (400, 2))])
    if kind == "near the target":
        centre = target + rng.normal(0, 4, (400, 3))
    elif kind == "opposite hue":
        centre[:, 1:] = -target[1:] * rng.uniform(0.1, 2, (400, 1)) + rng.normal(0, 0.1, (400, 2))
    elif kind == "near neutral":
        centre[:, 1:] = rng.normal(0, 0.5, (400, 2))
    half = 10 ** rng.uniform(-4, 1.5) * rng.random((400, 3))
    return centre, half, target


@pytest.mark.parametrize("kind", KINDS)
def test_no_colour_of_a_box_is_nearer_than_its_bound(kind: str) -> None:
    """Corners and inner points of random boxes are never nearer than the bound says."""
    rng = np.random.default_rng(KINDS.index(kind))
    for _ in range(60):
        centre, half, target = boxes_and_target(kind, rng)
        bound = de00_lower_bound((centre - half).T, (centre + half).T, target)
        for inner in range(8):
            place = rng.uniform(-1, 1, centre.shape)
            if inner % 2:
                place = np.sign(place)
            assert (delta_e_2000(centre + place * half, target) >= bound - ROUNDING).all()


def test_a_box_from_a_hue_nearby_to_beyond_opposite_is_near() -> None:
    """Hues of one box lie a little way off and past half a turn; the little way is what counts."""
    target = np.array([50.0, 9.0, -0.6])
    low, high = np.array([50.0, -30.0, 1.5]), np.array([50.0, 19.0, 1.7])
    turn = math.atan2(low[2], low[1]) - math.atan2(target[2], target[1])
    assert turn > math.pi
    edge = np.column_stack([np.full(500, 50.0), np.linspace(-30.0, 19.0, 500), np.full(500, 1.5)])
    bound = de00_lower_bound(low[:, np.newaxis], high[:, np.newaxis], target)
    assert 0.0 < bound[0] <= delta_e_2000(edge, target).min()


def test_a_box_without_size_is_its_colour() -> None:
    """For a single colour the bound is its ΔE00, except where hues are opposite to a hair."""
    rng = np.random.default_rng(3)
    target = np.array([45.0, 20.0, -30.0])
    lab = target + rng.normal(0, 12, (3000, 3))
    bound = de00_lower_bound(lab.T, lab.T, target)
    assert np.abs(bound - delta_e_2000(lab, target)).max() < POINT


def test_the_largest_hue_weight_is_below_the_constant() -> None:
    """The factor T of S_H never exceeds 1.573, which the bounds take for its largest."""
    hue = np.linspace(0, 2 * math.pi, 200_001)
    weight = (
        1
        - 0.17 * np.cos(hue - math.radians(30))
        + 0.24 * np.cos(2 * hue)
        + 0.32 * np.cos(3 * hue + math.radians(6))
        - 0.20 * np.cos(4 * hue - math.radians(63))
    )
    assert 1.5724 < weight.max() < 1.573


def test_the_steepest_hue_weight_is_the_sum_of_its_terms_slopes() -> None:
    """By hand, the slopes of T's terms being amplitude times frequency: 2.41, a sum of 4."""
    assert pytest.approx(0.17 + 0.48 + 0.96 + 0.80, rel=1e-12) == _SLOPE_OF_T


@pytest.mark.parametrize("lightness", [0.0, 3.0, 50.0, 97.0])
@pytest.mark.parametrize("radius", [0.5, 1.0, 15.0])
def test_lightness_alone_sets_the_span(lightness: float, radius: float) -> None:
    """At the ends of the span a grey of the target's chroma is just the radius away."""
    target = np.array([lightness, 0.0, 0.0])
    low, high = lightness_span(target, radius)
    for end in (low, high):
        distance = float(delta_e_2000(np.array([end, 0.0, 0.0]), target))
        assert distance == pytest.approx(radius, abs=1e-6)


@pytest.mark.parametrize("radius", [0.2, 1.0, 12.0, 15.25])
def test_a_region_misses_no_colour_within_its_radius(radius: float) -> None:
    """Whatever lies within the radius in the span of lightness lies in one of its rows."""
    rng = np.random.default_rng(7)
    for target in ([40.0, 20.0, 10.0], [50.0, 100.0, -100.0], [30.0, 0.0, 0.0]):
        aim = np.array(target)
        span = np.array([[aim[0] - radius, aim[0] + radius], [-50.0, -45.0]])
        (region,) = regions_of(aim, span, radius)
        lab = aim + rng.uniform(-1, 1, (40_000, 3)) * radius * [1.0, 8.0, 8.0]
        within = delta_e_2000(lab, aim) <= radius
        assert within.sum() > 20
        a_1, a_2, b_1, b_2 = region.rows[..., np.newaxis]
        _, a, b = lab[within].T
        assert ((a_1 <= a) & (a <= a_2) & (b_1 <= b) & (b <= b_2)).any(axis=0).all()
        assert not ((a_1 <= aim[1] + 150.0) & (aim[1] + 150.0 <= a_2)).any()


def test_a_region_around_grey_ends_where_chroma_alone_is_the_radius() -> None:
    """From grey ΔE00 is C/(1 + 0.0225 C): 40 at C = 400, to all four sides, where cells are fine.

    By hand from S_C = 1 + 0.045 C̄ (G. Sharma et al., 2005); so vivid, G is 0.
    """
    (region,) = regions_of(np.array([50.0, 0.0, 0.0]), np.array([[49.5, 50.5]]), 40.0)
    a_1, a_2, b_1, b_2 = region.rows
    for beyond in (a_2.max() - 400.0, b_2.max() - 400.0, -a_1.min() - 400.0, -b_1.min() - 400.0):
        assert 0.0 <= beyond <= 2.0  # a cell


def test_turns_hold_whatever_the_target_s_own_hue() -> None:
    """A target's hue is known but for a slack: no turn from any of its hues is beyond the ends."""
    rng = np.random.default_rng(17)
    middle = rng.normal(0.0, 30.0, (2, 500))
    half = rng.uniform(0.0, 0.9, (2, 500)) * np.abs(middle).max(axis=0)
    half *= np.abs(middle) > half  # none around the neutral axis
    hue, slack = rng.uniform(-math.pi, math.pi, 500), rng.uniform(0.0, 0.3, 500)
    low, high = middle - half, middle + half
    least, most = _turns(low[0], high[0], low[1], high[1], hue, slack)
    met = []
    for inner in np.linspace(-1.0, 1.0, 5):
        for a, b in np.sign(rng.uniform(-1.0, 1.0, (40, 2))):
            point = middle + half * np.array([[a], [b]])
            turn = np.arctan2(point[1], point[0]) - (hue + inner * slack)
            around = 2.0 * math.pi * np.round((turn - 0.5 * (least + most)) / (2.0 * math.pi))
            met.append(turn - around)
    assert (np.min(met, axis=0) >= least - ROUNDING).all()
    assert (np.max(met, axis=0) <= most + ROUNDING).all()
    # The corners are met, and so are the hues at both ends of the slack.
    assert np.min(met, axis=0) == pytest.approx(least)
    assert np.max(met, axis=0) == pytest.approx(most)
