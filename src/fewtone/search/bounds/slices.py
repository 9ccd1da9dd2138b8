"""What may lie within a radius of the target, cut up by lightness into windows of tristimulus."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from fewtone.search.bounds.delta_e import Region, de00_lower_bound, lightness_span, regions_of
from fewtone.typing import FloatArray, IntArray

__all__ = ["Slice", "lab_box", "may_contain", "slices_of", "within"]

# A slice's extent in L*: so many units, and at least this share of the radius.
_STEP, _STEP_SHARE = 3.0, 0.4
# Where regions extend over so much of b*, slices of half the extent are cut at these b* as well:
# most films lie between, and much of the box around such a region is none of it.
_WIDE, _CUTS = 100.0, (-25.0, 0.0, 25.0)
# Of more colours than this it is first asked where they lie, which takes a table.
_MANY = 2048
# CIELAB's function: cube root above the bend, a line below.
_BEND, _STRAIGHT = (6.0 / 29.0) ** 3, (29.0 / 6.0) ** 2 / 3.0


class Slice(NamedTuple):
    """A part of what may lie within the radius.

    Parameters
    ----------
    low, high
        Ends of X, Y, Z over the white's, shape ``(3,)``.
    region
        Ends of a* and b*.
    """

    low: FloatArray
    high: FloatArray
    region: Region


def slices_of(
    target: FloatArray, radius: float, lightest: float, strips: bool = False
) -> tuple[Slice, ...]:
    """Cut up what may lie within `radius` ΔE00 of the target.

    Parameters
    ----------
    target
        CIELAB, shape ``(3,)``, or of several, ``(n_targets, 3)``.
    radius
        ΔE00, which may be infinite.
    lightest
        Y over the white's that no film exceeds.
    strips
        Whether wide slices are cut up along b* as well.
    """
    top = 116.0 * float(_root(np.array(lightest))) - 16.0 + 1e-6
    low, high = _span(target.tobytes(), radius)
    low, high = max(low, 0.0), min(high, top)
    return _slices(target.tobytes(), radius, low, high, strips) if low <= high else ()


@lru_cache(maxsize=4)
def _span(targets: bytes, radius: float) -> tuple[float, float]:
    return lightness_span(np.frombuffer(targets).reshape(-1, 3), radius)


# Searches of several lattices go out to the same radius of one target, whatever their grounds.
@lru_cache(maxsize=4)
def _slices(
    targets: bytes, radius: float, low: float, high: float, strips: bool
) -> tuple[Slice, ...]:
    target = np.frombuffer(targets).reshape(-1, 3)
    count = max(1, math.ceil((high - low) / max(_STEP, _STEP_SHARE * radius)))
    regions = regions_of(target, _spans(low, high, count), radius)
    cuts: tuple[float, ...] = ()
    if strips and any(region.high[1] - region.low[1] > _WIDE for region in regions):
        regions, cuts = regions_of(target, _spans(low, high, 2 * count), radius), _CUTS
    slices = []
    for region in regions:
        # f(X) = f(Y) + a*/500, f(Z) = f(Y) - b*/200.
        least, most = (region.span + 16.0) / 116.0
        for (a_1, b_1), (a_2, b_2) in region.strips(cuts):
            low_roots = least + np.array([a_1 / 500.0, 0.0, -b_2 / 200.0])
            high_roots = most + np.array([a_2 / 500.0, 0.0, -b_1 / 200.0])
            slices.append(Slice(_ratio(low_roots), _ratio(high_roots), region))
    return tuple(slices)


def _spans(low: float, high: float, count: int) -> FloatArray:
    """A span cut up evenly, shape ``(count, 2)``."""
    ends = np.linspace(low, high, count + 1)
    return np.stack([ends[:-1], ends[1:]], axis=1)


def may_contain(part: Slice, low: FloatArray, high: FloatArray) -> IntArray:
    """Places of the boxes that may hold a colour of it; ends as `lab_box` takes them."""
    inside = (high[:, :3] >= part.low) & (low[:, :3] <= part.high)
    inside_rows = np.flatnonzero(inside.all(axis=1))
    return inside_rows[part.region.may_contain(*lab_box(low[inside_rows], high[inside_rows]))]


def within(
    part: Slice, low: FloatArray, high: FloatArray, target: FloatArray, radius: FloatArray
) -> tuple[IntArray, FloatArray]:
    """Places of colours of a slice that may come within their radius, and their least ΔE00.

    Parameters
    ----------
    part
        The slice.
    low, high
        Ends of X, Y and Z over the white's as `lab_box` takes them.
    target
        CIELAB, shape ``(3,)``, or of several, ``(n_targets, 3)``.
    radius
        ΔE00 of each colour, shape ``(n,)``.
    """
    box_low, box_high = lab_box(low, high)
    kept = np.arange(len(radius))
    if len(kept) > _MANY:
        kept = np.flatnonzero(part.region.may_contain(box_low, box_high))
    bound = de00_lower_bound(box_low[:, kept], box_high[:, kept], target)
    near = bound <= radius[kept]
    return kept[near], bound[near]


def lab_box(low: FloatArray, high: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The box of CIELAB, corners ``(3, n)``, around ends of X, Y and Z over the white's.

    Ends have the shape ``(n, 3)``, or ``(n, 5)`` with those of X - Y and Y - Z: what X, Y and Z are
    off by, they are mostly off by together, so a* and b* are known better by these. Between X and Y
    the slope of CIELAB's function falls: f(X) - f(Y) is X - Y times a slope between those at the
    largest and the least of them.

    Parameters
    ----------
    low, high
        Ends of X, Y and Z over the white's, shape ``(n, 3)`` or ``(n, 5)`` each.
    """
    floor, ceiling = _root(np.maximum(low[:, :3], 0.0).T), _root(high[:, :3].T)
    least, most = floor[:2] - ceiling[1:], ceiling[:2] - floor[1:]
    if low.shape[1] > 3:
        flat = _slope(np.maximum(high[:, :2], high[:, 1:3]).T)
        steep = _slope(np.minimum(low[:, :2], low[:, 1:3]).T)
        down, up = low[:, 3:].T, high[:, 3:].T
        least = np.maximum(least, down * np.where(down >= 0.0, flat, steep))
        most = np.minimum(most, up * np.where(up >= 0.0, steep, flat))
    factor = np.array([[500.0], [200.0]])
    return (
        np.concatenate([116.0 * floor[1:2] - 16.0, factor * least]),
        np.concatenate([116.0 * ceiling[1:2] - 16.0, factor * most]),
    )


def _slope(values: FloatArray) -> FloatArray:
    """The slope of CIELAB's function, which falls."""
    return np.where(values > _BEND, np.cbrt(np.maximum(values, _BEND)) ** -2 / 3.0, _STRAIGHT)


def _root(values: FloatArray) -> FloatArray:
    """CIELAB's function of a value over the white's."""
    return np.where(values > _BEND, np.cbrt(values), _STRAIGHT * values + 4.0 / 29.0)


def _ratio(roots: FloatArray) -> FloatArray:
    """The inverse of CIELAB's function, at least 0."""
    line = (roots - 4.0 / 29.0) / _STRAIGHT
    return np.maximum(np.where(roots > 6.0 / 29.0, roots**3, line), 0.0)
