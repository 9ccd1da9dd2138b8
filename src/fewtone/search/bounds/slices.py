"""What may lie within a radius of the target, cut up by lightness into windows of tristimulus."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from fewtone.search.bounds.delta_e import de00_lower_bound, lightness_span, regions_of
from fewtone.typing import BoolArray, FloatArray, IntArray

__all__ = ["Slice", "lab_box", "may_contain", "slices_of", "within"]

# A slice's extent in L*: so many units, and at least this share of the radius.
_STEP, _STEP_SHARE = 3.0, 0.6
# Where regions extend over so much of b*, slices of half the extent are cut at these b* as well,
# and have four sides: most films lie between, and much of the box around a region is none of it.
_WIDE, _CUTS = 100.0, (-25.0, 0.0, 25.0)
# A slice's side is worked out from so many parts of its lightness.
_PARTS = 32
# More than rounding moves a side's sum.
_ROUNDING = 1e-12
# CIELAB's function: cube root above the bend, a line below.
_BEND, _STRAIGHT = (6.0 / 29.0) ** 3, (29.0 / 6.0) ** 2 / 3.0


class Slice(NamedTuple):
    """A part of what may lie within the radius.

    Parameters
    ----------
    low, high
        Ends of X, Y, Z over the white's, shape ``(3,)``.
    span
        Ends of L*, shape ``(2,)``.
    weights, least
        Its sides: weights of X, Y and Z, shape ``(n_sides, 3)``, and the least sums that any of its
        colours has, shape ``(n_sides,)``.
    """

    low: FloatArray
    high: FloatArray
    span: FloatArray
    weights: FloatArray
    least: FloatArray


def slices_of(target: FloatArray, radius: float) -> tuple[Slice, ...]:
    """Cut up what may lie within `radius` ΔE00 of the target.

    Parameters
    ----------
    target
        CIELAB, shape ``(3,)``, or of several, ``(n_targets, 3)``.
    radius
        ΔE00, which may be infinite.
    """
    return _slices(target.tobytes(), radius)


# Searches of several lattices go out to the same radius of one target.
@lru_cache(maxsize=4)
def _slices(targets: bytes, radius: float) -> tuple[Slice, ...]:
    target = np.frombuffer(targets).reshape(-1, 3)
    low, high = lightness_span(target, radius)
    low = max(low, 0.0)
    if low > high:
        return ()
    count = max(1, math.ceil((high - low) / max(_STEP, _STEP_SHARE * radius)))
    regions = regions_of(target, _spans(low, high, count), radius)
    cuts: tuple[float, ...] = ()
    if any(np.ptp(region.rows[2:]) > _WIDE for region in regions):
        regions, cuts = regions_of(target, _spans(low, high, 2 * count), radius), _CUTS
    slices = []
    for span, rows in regions:
        strip = np.searchsorted(cuts, rows[2:].mean(axis=0))
        slices += [
            _slice(span, rows[:, strip == each], 4 if cuts else 1) for each in np.unique(strip)
        ]
    return tuple(slices)


def _slice(span: FloatArray, rows: FloatArray, n_sides: int) -> Slice:
    """What lies in a span of lightness and in some rows of a* and b*.

    Its first side faces the neutral axis, each next one stands at a right angle to the one before.
    """
    # f(X) = f(Y) + a*/500, f(Z) = f(Y) - b*/200.
    roots = np.linspace((span[0] + 16.0) / 116.0, (span[1] + 16.0) / 116.0, _PARTS + 1)
    (a_1, a_2), (b_1, b_2) = rows[:2], rows[2:]
    low = _ratio(roots[0] + np.array([a_1.min() / 500.0, 0.0, -b_2.max() / 200.0]))
    high = _ratio(roots[-1] + np.array([a_2.max() / 500.0, 0.0, -b_1.min() / 200.0]))
    a, b = np.clip(0.0, a_1, a_2), np.clip(0.0, b_1, b_2)
    nearest = int(np.hypot(a, b).argmin())
    outwards = complex(a[nearest], b[nearest]) or 1.0
    sides = [_side(roots, rows, outwards * 1j**turn) for turn in range(n_sides)]
    weights, least = (np.array(each) for each in zip(*sides, strict=True))
    return Slice(low, high, span, weights, least)


def _side(roots: FloatArray, rows: FloatArray, outwards: complex) -> tuple[FloatArray, float]:
    """Weights of X, Y and Z, and the least sum: beyond it colours lie in a direction of a* and b*.

    The weights are those of the direction's slope where the rows end against it; that of Y is such
    that at both ends of the lightness the sum is the same. The least sum is that of corners of
    small boxes: of each row, over each part of the lightness.
    """
    a = rows[0] if outwards.real >= 0.0 else rows[1]
    b = rows[2] if outwards.imag >= 0.0 else rows[3]
    first = int((outwards.real * a + outwards.imag * b).argmin())
    of_x = 500.0 * outwards.real * float(_slope(_ratio(roots.mean() + a[first] / 500.0)))
    of_z = -200.0 * outwards.imag * float(_slope(_ratio(roots.mean() - b[first] / 200.0)))

    def x_and_z(lower: FloatArray, upper: FloatArray) -> FloatArray:
        x = _ratio((lower if of_x >= 0.0 else upper)[:, np.newaxis] + a / 500.0)
        z = _ratio((lower if of_z >= 0.0 else upper)[:, np.newaxis] - b / 200.0)
        return np.asarray((of_x * x + of_z * z).min(axis=1))

    ends = roots[[0, -1]]
    rise = float(np.diff(_ratio(ends))[0])
    of_y = -float(np.diff(x_and_z(ends, ends))[0]) / rise if rise > 0.0 else 0.0
    y = _ratio(roots[:-1] if of_y >= 0.0 else roots[1:])
    least = float((x_and_z(roots[:-1], roots[1:]) + of_y * y).min())
    size = max(abs(of_x), abs(of_y), abs(of_z))
    return np.array([of_x, of_y, of_z]) / size, least / size


def _spans(low: float, high: float, count: int) -> FloatArray:
    """A span cut up evenly, shape ``(count, 2)``."""
    ends = np.linspace(low, high, count + 1)
    return np.stack([ends[:-1], ends[1:]], axis=1)


def may_contain(part: Slice, low: FloatArray, high: FloatArray) -> BoolArray:
    """Which boxes may hold a colour of a slice; ends as `lab_box` takes them."""
    inside = ((high[:, :3] >= part.low) & (low[:, :3] <= part.high)).all(axis=1)
    plus, minus = np.maximum(part.weights.T, 0.0), np.minimum(part.weights.T, 0.0)
    most = high[:, :3] @ plus + low[:, :3] @ minus
    return np.asarray(inside & (most >= part.least - _ROUNDING).all(axis=1))


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
    inside = np.flatnonzero(may_contain(part, low, high))
    bound = de00_lower_bound(*lab_box(low[inside], high[inside]), target)
    near = bound <= radius[inside]
    return inside[near], bound[near]


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
