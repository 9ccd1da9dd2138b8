"""What ΔE00 cannot fall below over a box of CIELAB.

CIEDE2000 is ΔE² = l² + u² + v² + R_T·u·v with l = ΔL'/S_L, u = ΔC'/S_C, v = ΔH'/S_H (G. Sharma,
W. Wu and E. N. Dalal, Color Res. Appl. 30, 21, 2005).

Lightness alone
    R_T = -R_C·sin 2Δθ with 0 <= R_C < 2 and 0 <= sin 2Δθ <= sin 60°, so -√3 < R_T <= 0 and
    u² + v² + R_T·u·v >= (1 - √3/2)(u² + v²) >= 0. Hence ΔE00 >= |l|. S_L depends on the mean
    lightness by at most 0.015 a unit, so on L by at most 0.0075: |l| rises with |ΔL| up to
    |ΔL| = 133. The L* within a radius of the target are one interval, and over an interval of L*
    the least |l| is at the end nearest to the target.

Chroma and hue
    Over a box every ingredient is bracketed by itself:
    * G falls as the mean chroma rises, so a' = (1 + G)a lies in an interval, and so do C' and,
      because G depends on both colours, the target's own C' and hue.
    * u rises with C' and falls with the target's C': its ends are known.
    * |v| = 2 √(C'₁C'₂) |sin(Δh/2)| / S_H. √C'/(1 + 0.0075 T (C' + C'₂)) rises and then falls, so
      its least is at an end. |sin| is least at the least turn. T is within 2.41 times the half
      width of the mean hues of its value at their middle (the sum of the slopes of its terms), and
      never above 1.573.
    * -R_T is largest at the mean hue nearest to 275° and at the largest chroma.
    Since R_T <= 0 the mixed term only takes away where u·v > 0; there, with ρ = -R_T at most, the
    least of u² + v² - ρ·u·v over brackets of |u| and |v| lets the smaller of the two rise towards
    ρ/2 times the larger: the function is convex, so that is its least. Where u·v <= 0 it adds
    what the least ρ gives. Where hues may be opposite, where the
    formula jumps, both mean hues are allowed for and the sign of v is left open; where the box
    holds the neutral axis, every hue is. Nothing here assumes that ΔE00 is smooth.
"""

from __future__ import annotations

import math
from functools import reduce
from typing import NamedTuple, TypeVar

import numpy as np

from fewtone.typing import BoolArray, FloatArray, IntArray

__all__ = ["Region", "de00_lower_bound", "lightness_span", "regions_of"]

_Lightness = TypeVar("_Lightness", float, FloatArray)

_LARGEST_T = 1.573
_SLOPE_OF_T = 0.17 + 2 * 0.24 + 3 * 0.32 + 4 * 0.20
_TURN = 2.0 * math.pi
_BLUE, _BLUE_WIDTH, _ACROSS = math.radians(275.0), math.radians(25.0), math.radians(80.0)
_LIGHTNESS_LIMIT = 133.0
# The grids of a region: a coarse one over a* and b* wider than any surface colour's zooms in, a
# fine one is kept, cut up along the border towards cells of so many units.
_COARSE, _FINE, _FINEST, _ZOOMS, _WIDEST, _SHARP = 16, 32, 512, 6, 1000.0, 1.0
# What zooming leaves is no longer worth zooming at if it is more than such a share.
_SETTLED = 0.8
# Widens the square of the radius by more than rounding moves a sum of squares.
_ROUNDING = 1e-12


def lightness_span(target: FloatArray, radius: float) -> tuple[float, float]:
    """The least and largest L* that may lie within `radius` ΔE00 of the target.

    Of several targets, shape ``(n_targets, 3)``, of all of them; empty, the least above the
    largest, where there is no such L*.
    """
    aims = np.atleast_2d(target)[:, 0].tolist()
    return (
        max(_lightness_end(aim, radius, -_LIGHTNESS_LIMIT) for aim in aims),
        min(_lightness_end(aim, radius, _LIGHTNESS_LIMIT) for aim in aims),
    )


def _lightness_end(lightness: float, radius: float, reach: float) -> float:
    """The L* farthest to one side of an aim whose ΔL′/S_L is within the radius; never nearer."""
    near, far = 0.0, reach
    if abs(_lightness_term(lightness + far, lightness)) <= radius:
        return lightness + far
    for _ in range(60):
        middle = 0.5 * (near + far)
        if abs(_lightness_term(lightness + middle, lightness)) <= radius:
            near = middle
        else:
            far = middle
    return lightness + far


def de00_lower_bound(low: FloatArray, high: FloatArray, target: FloatArray) -> FloatArray:
    """A lower bound of ΔE00 to the target over boxes of CIELAB.

    Parameters
    ----------
    low, high
        Corners of the boxes, shape ``(3, n)`` each.
    target
        CIELAB, shape ``(3,)``; of several, shape ``(n_targets, 3)``, the largest ΔE00 is bounded.

    Returns
    -------
    The bound, shape ``(n,)``; exact up to rounding for a box that is one colour.
    """
    squares = (
        _least_lightness(low[0], high[0], float(aim[0])) ** 2 + _least_rest(low[1:], high[1:], aim)
        for aim in np.atleast_2d(target)
    )
    return np.asarray(np.sqrt(reduce(np.maximum, squares)))


def _least_lightness(low: FloatArray, high: FloatArray, aim: float) -> FloatArray:
    """The least |ΔL′/S_L| of spans of L*, which is at the end nearest to the aim."""
    return np.asarray(np.abs(_lightness_term(np.clip(aim, low, high), aim)))


def _least_rest(low: FloatArray, high: FloatArray, target: FloatArray) -> FloatArray:
    """The least u² + v² + R_T·u·v over boxes of a* and b*, corners ``(2, n)``, never below 0."""
    aim_a, aim_b = float(target[1]), float(target[2])
    a_1, a_2, b_1, b_2 = low[0], high[0], low[1], high[1]

    a_least, b_least = (np.maximum(np.maximum(x, -y), 0.0) for x, y in ((a_1, a_2), (b_1, b_2)))
    a_most, b_most = np.maximum(-a_1, a_2), np.maximum(-b_1, b_2)
    aim_chroma = math.hypot(aim_a, aim_b)
    stretch_1 = 1.5 - 0.5 * _share(0.5 * (np.sqrt(a_most**2 + b_most**2) + aim_chroma))
    stretch_2 = 1.5 - 0.5 * _share(0.5 * (np.sqrt(a_least**2 + b_least**2) + aim_chroma))
    left = a_1 * np.where(a_1 >= 0.0, stretch_1, stretch_2)
    right = a_2 * np.where(a_2 >= 0.0, stretch_2, stretch_1)
    chroma_1 = np.sqrt((a_least * stretch_1) ** 2 + b_least**2)
    chroma_2 = np.sqrt((a_most * stretch_2) ** 2 + b_most**2)
    aim_1 = np.sqrt((aim_a * stretch_1) ** 2 + aim_b**2)
    aim_2 = np.sqrt((aim_a * stretch_2) ** 2 + aim_b**2)
    u_1 = (chroma_1 - aim_2) / (1.0 + 0.0225 * (chroma_1 + aim_2))
    u_2 = (chroma_2 - aim_1) / (1.0 + 0.0225 * (chroma_2 + aim_1))
    u = np.maximum(np.maximum(u_1, -u_2), 0.0)

    hue_1, hue_2 = (np.arctan2(aim_b, aim_a * stretch) for stretch in (stretch_1, stretch_2))
    aim_hue, slack = 0.5 * (hue_1 + hue_2), 0.5 * np.abs(hue_1 - hue_2)
    turn_1, turn_2 = _turns(left, right, b_1, b_2, aim_hue, slack)
    around = (a_least == 0.0) & (b_least == 0.0)
    opposite = around | (turn_1 <= -math.pi) | (turn_2 >= math.pi)
    turn = np.maximum(np.maximum(turn_1, -turn_2), 0.0)
    other_way = _TURN - np.maximum(np.abs(turn_1), np.abs(turn_2))
    turn = np.where(opposite, np.maximum(np.minimum(turn, other_way), 0.0), turn)
    turn = np.where(around, 0.0, turn)

    # The mean hue is halfway between the two; turns hold the slack of the target's already.
    centre, half = aim_hue + 0.25 * (turn_1 + turn_2), 0.25 * (turn_2 - turn_1)
    # Beyond opposite the mean hue is the other one between the two.
    other = np.where(opposite, centre + math.pi, centre)
    weight_1, weight_2 = _hue_weight(centre), _hue_weight(other)
    heavy = np.maximum(weight_1, weight_2) + _SLOPE_OF_T * half
    heavy = np.where(around, _LARGEST_T, np.minimum(heavy, _LARGEST_T))
    slight = np.minimum(weight_1, weight_2) - _SLOPE_OF_T * half
    slight = np.where(around, 0.0, np.maximum(slight, 0.0))
    ends = (np.sqrt(c) / (1.0 + 0.0075 * heavy * (c + aim_2)) for c in (chroma_1, chroma_2))
    v = 2.0 * np.sqrt(aim_1) * np.minimum(*ends) * np.sin(0.5 * turn)
    widest = np.where(opposite, math.pi, np.maximum(-turn_1, turn_2))
    v_most = 2.0 * np.sqrt(aim_2 * chroma_2) * np.sin(0.5 * widest)
    v_most /= 1.0 + 0.0075 * slight * (chroma_1 + aim_1)
    u_most = np.maximum(-u_1, u_2)

    off_1, off_2 = _from_blue(centre), _from_blue(other)
    nearest_blue = np.maximum(np.minimum(off_1, off_2) - half, 0.0)
    # The formula does not go round the circle: across 0° from blue there is no rotation.
    farthest_blue = np.maximum(off_1, off_2) + half
    lost = around | (farthest_blue > _ACROSS)
    most = _rotation(np.where(around, 0.0, nearest_blue), 0.5 * (chroma_2 + aim_2))
    least = _rotation(np.where(lost, _TURN, farthest_blue), 0.5 * (chroma_1 + aim_1))
    same_sign = ((u_2 > 0.0) & (opposite | (turn_2 > 0.0))) | (
        (u_1 < 0.0) & (opposite | (turn_1 < 0.0))
    )
    larger, smaller = np.maximum(u, v), np.minimum(u, v)
    rising = np.minimum(0.5 * most * larger, np.where(u >= v, v_most, u_most))
    rising = np.maximum(smaller, rising)
    square = np.where(
        same_sign,
        larger**2 + rising**2 - most * larger * rising,
        larger**2 + smaller**2 + least * larger * smaller,
    )
    return np.asarray(np.maximum(square, 0.0))


class Region(NamedTuple):
    """Where in a* and b* colours of a span of lightness may lie within a radius of the targets.

    Parameters
    ----------
    span
        Ends of L*, shape ``(2,)``.
    rows
        Ends of a*, then of b*, of each of its rows along a*, shape ``(4, n_rows)``.
    """

    span: FloatArray
    rows: FloatArray


def regions_of(target: FloatArray, spans: FloatArray, radius: float) -> list[Region]:
    """The regions of spans of lightness, those that hold a colour.

    All of them stand on one grid over a* and b*: what is left of the radius beside the difference
    in lightness says which of its cells are open to each. The grid is finer along their borders,
    which decide: around a target far out of reach, what is in reach lies just outside.

    Parameters
    ----------
    target
        CIELAB, shape ``(3,)``, or of several, ``(n_targets, 3)``.
    spans
        Least and largest L* of each, shape ``(n, 2)``.
    radius
        ΔE00 around the targets.
    """
    aims = np.atleast_2d(target)
    ends = spans[:, 0], spans[:, 1]
    lightness = np.array([_least_lightness(*ends, float(aim[0])) for aim in aims])
    left = radius**2 * (1.0 + _ROUNDING) - lightness**2
    spans, left = spans[(left >= 0.0).all(axis=0)], left[:, (left >= 0.0).all(axis=0)]
    if not len(spans):
        return []
    low, high = np.full(2, -_WIDEST), np.full(2, _WIDEST)
    for _ in range(_ZOOMS):
        size = (high - low) / _COARSE
        cells = _least_rests(aims, low, size, _cells(_COARSE)).reshape(-1, _COARSE, _COARSE)
        open_cells = np.argwhere((cells <= left.max(axis=1)[:, np.newaxis, np.newaxis]).all(axis=0))
        if not len(open_cells):
            return []
        first, after = open_cells.min(axis=0), open_cells.max(axis=0) + 1
        low, high = low + size * first, low + size * after
        if (after - first > _SETTLED * _COARSE).all():
            break
    size = (high - low) / _FINE
    squares = _least_rests(aims, low, size, _cells(_FINE)).reshape(-1, _FINE, _FINE)
    finer = int(np.clip(np.ceil(size.max() / _SHARP), 1, _FINEST // _FINE))
    if finer > 1:
        border = np.argwhere(np.any([_border(part) for part in _open(squares, left)], axis=0))
        squares = squares.repeat(finer, axis=1).repeat(finer, axis=2)
        fine = (finer * border[:, np.newaxis] + _cells(finer)).reshape(-1, 2)
        size = size / finer
        squares[:, fine[:, 0], fine[:, 1]] = _least_rests(aims, low, size, fine)
    return [
        Region(span, _rows(low, size, touched))
        for span, touched in zip(spans, _open(squares, left), strict=True)
        if touched.any()
    ]


def _rows(corner: FloatArray, size: FloatArray, touched: BoolArray) -> FloatArray:
    """Ends of a*, then of b*, of each row of touched cells along a*, shape ``(4, n_rows)``."""
    rows = np.flatnonzero(touched.any(axis=0))
    inside = touched[:, rows]
    ends = [inside.argmax(axis=0), len(inside) - inside[::-1].argmax(axis=0), rows, rows + 1]
    both = np.repeat([corner, size], 2, axis=1)[..., np.newaxis]
    return np.asarray(both[0] + both[1] * ends)


def _least_rests(
    aims: FloatArray, corner: FloatArray, size: FloatArray, cells: IntArray
) -> FloatArray:
    """`_least_rest` of cells ``(n, 2)`` of a grid, shape ``(n_aims, n)``."""
    low = (corner + size * cells).T
    return np.array([_least_rest(low, low + size[:, np.newaxis], aim) for aim in aims])


def _open(squares: FloatArray, left: FloatArray) -> list[BoolArray]:
    """Which cells ``(n_aims, …)`` are open to each of the spans, ``(n_aims, n_spans)``."""
    return [np.asarray((squares <= most[:, np.newaxis, np.newaxis]).all(axis=0)) for most in left.T]


def _cells(count: int) -> IntArray:
    """Places of a square grid, shape ``(count², 2)``."""
    return np.indices((count, count)).reshape(2, -1).T


def _border(touched: BoolArray) -> BoolArray:
    """Which touched cells have an untouched neighbour; those at the rim have none beyond it."""
    wide = np.pad(touched, 1, mode="edge")
    inner = touched.copy()
    for shift_a, shift_b in np.ndindex(3, 3):
        inner &= wide[shift_a : shift_a + len(touched), shift_b : shift_b + len(touched)]
    return touched & ~inner


def _turns(
    left: FloatArray,
    right: FloatArray,
    low: FloatArray,
    high: FloatArray,
    aim_hue: FloatArray,
    slack: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Least and largest turn in hue from the target, give or take `slack`, to a box of (a', b')."""
    middle_a, middle_b = 0.5 * (left + right), 0.5 * (low + high)
    least, most = np.zeros_like(left), np.zeros_like(left)
    for corner_a in (left, right):
        for corner_b in (low, high):
            around = np.arctan2(
                middle_a * corner_b - middle_b * corner_a,
                middle_a * corner_a + middle_b * corner_b,
            )
            np.minimum(least, around, out=least)
            np.maximum(most, around, out=most)
    turn = np.arctan2(middle_b, middle_a) - aim_hue
    turn -= _TURN * np.round(turn / _TURN)
    return turn + least - slack, turn + most + slack


def _lightness_term(lightness: _Lightness, aim: float) -> _Lightness:
    """ΔL′/(k_L S_L) of CIEDE2000, S_L = 1 + 0.015 (L̄ - 50)²/√(20 + (L̄ - 50)²)."""
    square = (0.5 * (lightness + aim) - 50.0) ** 2
    weighted: _Lightness = (lightness - aim) / (1.0 + 0.015 * square / (20.0 + square) ** 0.5)
    return weighted


def _from_blue(hue: FloatArray) -> FloatArray:
    """How far a hue is from 275° [rad], at most π."""
    off = hue - _BLUE
    return np.asarray(np.abs(off - _TURN * np.round(off / _TURN)))


def _rotation(from_blue: FloatArray, chroma: FloatArray) -> FloatArray:
    """ρ = -R_T at a mean hue so far from 275° and a mean chroma."""
    bump = np.exp(-((from_blue / _BLUE_WIDTH) ** 2))
    return np.asarray(2.0 * _share(chroma) * np.sin(math.pi / 3.0 * bump))


def _hue_weight(hue: FloatArray) -> FloatArray:
    """T of CIEDE2000 at a mean hue [rad]."""
    return np.asarray(
        1.0
        - 0.17 * np.cos(hue - math.radians(30.0))
        + 0.24 * np.cos(2.0 * hue)
        + 0.32 * np.cos(3.0 * hue + math.radians(6.0))
        - 0.20 * np.cos(4.0 * hue - math.radians(63.0))
    )


def _share(chroma: FloatArray) -> FloatArray:
    """√(C⁷/(C⁷ + 25⁷)) of CIEDE2000 at a chroma."""
    square = chroma * chroma
    seventh = square * square * square * chroma
    return np.asarray(np.sqrt(seventh / (seventh + 25.0**7)))
