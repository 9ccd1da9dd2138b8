"""What colours a whole cell of recipes may have.

A cell is a support over a ground, restricted to a simplex of blends and to a span of lightness.
Each of its corners is a direction d_j in the space of amounts (see `convex`). What may lie within
the span of lightness is enclosed between two planes:

far plane    through the corners' loads at which log Y leaves the span. {log Y <= dark end} is
             convex and amounts beyond it only darken, so whatever lies beyond the plane is too
             dark. If a corner does not get that dark, the plane of the largest load is taken.
near plane   where the tangent plane of log Y, which lies below log Y, enters the span, or the
             plane of the least load if that is nearer to the far one.

A point between them on the ray of some blend is Σ β_j q_j(t) with β in the simplex and q_j(t)
on corner j's ray between its near and far load. With f = log F convex,

    f(x) <= Σ β_j [(1 - t) f(near_j) + t f(far_j)]

and a tangent plane T(x) <= f(x) is linear in β and in t. So every f_X - k·f_Y is bounded by its
bounds at the 2m corners of that prism, one linear function for X against one for Y: the largest
over the tangent planes of the least over corners. k is the ratio in which X and Y fall with the
load: it takes the load out of the difference, and the span of lightness puts it back.

a* = 500 (g(f_X) - g(f_Y)) with g increasing and convex. Over f_Y in the span, f_X = k·f_Y + φ gives
a difference of two convex functions of f_Y, bounded by a tangent of one and a chord of the other;
the span is the part of it that the cell's own bounds of f_Y leave.
"""

from __future__ import annotations

import functools
from typing import NamedTuple

import numpy as np

from fewtone.match.bounds.convex import (
    CAPPED,
    CONSTANT,
    DARK,
    FAR,
    FAR_LOGS,
    NEAR,
    NEAR_LOGS,
    Probe,
    Span,
    cielab_f,
    cielab_f_derivative,
)
from fewtone.typing import BoolArray, FloatArray, IntArray

__all__ = ["SAFETY", "Prisms", "boxes", "prisms"]

# Widens every box by more than all rounding and the optics table's 1e-9 can amount to.
SAFETY = 1e-5
# Bounds that cross by no more than this have met.
_ROUNDING = 1e-7


class Prisms(NamedTuple):
    """What bounds log F over some cells: n cells of m corners, the cells last.

    Parameters
    ----------
    near, far
        Loads at the corners of the two planes, shape ``(m, n)``.
    near_upper, far_upper
        log F at most there, shape ``(3, m, n)``.
    constant, slopes
        Tangent planes, one for each corner of the cell: log F >= constant - load · slopes along
        corner j, shapes ``(m, 3, n)`` and ``(m, 3, m, n)``.
    """

    near: FloatArray
    far: FloatArray
    near_upper: FloatArray
    far_upper: FloatArray
    constant: FloatArray
    slopes: FloatArray

    def where(self, chosen: BoolArray | IntArray | slice) -> Prisms:
        """Some of them."""
        return Prisms(*(part[..., chosen] for part in self))


def prisms(
    probe: Probe,
    table: FloatArray,
    slopes: FloatArray,
    corners: FloatArray,
    ground: IntArray,
    span: Span,
) -> Prisms:
    """Enclose cells.

    Parameters
    ----------
    probe
        What evaluates log F.
    table
        Columns of ``Rays.table`` of the corners, shape ``(columns, m, n)``.
    slopes
        Their slopes in the support's toners, toners first, shape ``(m, m, 3, n)``.
    corners
        The cell's corners as fractions of the support's toners, shape ``(m, m)``.
    ground
        Positions of the grounds, shape ``(n,)``.
    span
        The span of log Y.
    """
    size, count = table.shape[1:]
    constant = table[CONSTANT].transpose(1, 0, 2)
    along = (corners @ slopes.reshape(size, -1)).reshape(size, size, 3, count)
    along = along.transpose(1, 2, 0, 3)

    capped = table[CAPPED].max(axis=0) > 0.0
    far = np.where(capped, probe.most_load, table[DARK])
    # The mean of tangent planes lies below log Y too, and favours no corner.
    enters = (_sum(constant[:, 1]) / size - span.light) / np.maximum(_sum(along[:, 1]) / size, 1e-9)
    tangent_nearer = (enters / far).min(axis=0) > (probe.least_load / far).min(axis=0)
    near = np.where(tangent_nearer, enters, probe.least_load)

    near_load, far_load = table[NEAR], table[FAR]
    near_logs, far_logs = table[NEAR_LOGS], table[FAR_LOGS]
    stretch = 1.0 / (far_load - near_load)
    step = far_logs - near_logs
    far_upper = near_logs + (far - near_load) * stretch * step
    # Amounts beyond the far load only darken.
    np.copyto(far_upper, far_logs, where=far > far_load)
    near_upper = near_logs + np.minimum((near - near_load) * stretch, 1.0) * step
    # Before the near load the chord starts at the bare ground: a chord is no bound beyond its ends.
    # Far loads lie there too, where a weak toner's bracket is past the largest load.
    bare = probe.bare_logs.T[:, np.newaxis, ground]
    for upper, load in ((near_upper, near), (far_upper, far)):
        share = load / near_load
        np.copyto(upper, bare + share * (near_logs - bare), where=share < 1.0)
    beyond = near > far_load
    if beyond.any():
        np.copyto(near_upper, far_logs, where=beyond)
    return Prisms(near, far, near_upper, far_upper, constant, along)


class _Luminance(NamedTuple):
    """Spans of log Y, one for each cell, with g at their ends and its slope at the dark one."""

    least: FloatArray
    width: FloatArray
    least_root: FloatArray
    most_root: FloatArray
    slope: FloatArray

    @classmethod
    def of(cls, least: FloatArray, most: FloatArray) -> _Luminance:
        return cls(least, most - least, cielab_f(least), cielab_f(most), cielab_f_derivative(least))


def boxes(
    prism: Prisms, span: Span, lightness: tuple[float, float], most_load: float
) -> tuple[FloatArray, FloatArray]:
    """Boxes of CIELAB that hold every colour of the cells within the span of lightness.

    Parameters
    ----------
    prism
        The cells.
    span, lightness
        The span as log Y and as L*.
    most_load
        The largest load there is.

    Returns
    -------
    Low and high corners, shape ``(3, n)``. Where no recipe of the cell lies within the span, the
    low corner of L* is above the high one.
    """
    size = len(prism.near)
    corners = [
        (loads[j], upper[:, j], prism.constant - loads[j] * prism.slopes[:, :, j])
        for loads, upper in ((prism.near, prism.near_upper), (prism.far, prism.far_upper))
        for j in range(size)
    ]
    least = np.maximum(span.dark, _least([lower[:, 1] for _, _, lower in corners]).max(axis=0))
    most = np.minimum(span.light, _most([upper[1] for _, upper, _ in corners]))
    low, high = np.empty((3, prism.near.shape[1])), np.empty((3, prism.near.shape[1]))
    empty = least > most + _ROUNDING
    luminance = _Luminance.of(least, np.maximum(least, most))
    low[0] = np.maximum(116.0 * luminance.least_root - 16.0, lightness[0])
    high[0] = np.minimum(116.0 * luminance.most_root - 16.0, lightness[1])
    beyond = prism.near > np.minimum(prism.far, most_load) * (1.0 + _ROUNDING)
    empty |= beyond.all(axis=0)
    falls = _sum([prism.slopes[:, :, j].sum(axis=0) for j in range(size)])
    for channel, axis, scale in ((0, 1, 500.0), (2, 2, -200.0)):
        ratio = np.minimum(falls[channel] / np.maximum(falls[1], 1e-9), 10.0)
        lower_difference = _most(
            list(_least([lower[:, channel] - ratio * upper[1] for _, upper, lower in corners]))
        )
        upper_difference = _least(
            list(_most([upper[channel] - ratio * lower[:, 1] for _, upper, lower in corners]))
        )
        empty |= lower_difference > upper_difference + _ROUNDING
        least_step = _least_step(ratio, lower_difference, luminance)
        most_step = _most_step(ratio, upper_difference, luminance)
        ends = (scale * least_step, scale * most_step)
        low[axis], high[axis] = ends if scale > 0.0 else ends[::-1]
    low -= SAFETY
    high += SAFETY
    low[0, empty], high[0, empty] = 1.0, 0.0
    return low, high


def _least(values: list[FloatArray]) -> FloatArray:
    # A reduction over a short leading axis takes numpy far longer than these.
    return np.asarray(functools.reduce(np.minimum, values))


def _sum(values: FloatArray | list[FloatArray]) -> FloatArray:
    return np.asarray(functools.reduce(np.add, values))


def _most(values: list[FloatArray]) -> FloatArray:
    return np.asarray(functools.reduce(np.maximum, values))


def _least_step(ratio: FloatArray, offset: FloatArray, luminance: _Luminance) -> FloatArray:
    """Least g(k·y + φ) - g(y) over y in a span: tangent of the first, chord of the second."""
    start = ratio * luminance.least + offset
    first = cielab_f(start)
    reached = first + luminance.width * ratio * cielab_f_derivative(start)
    return np.asarray(np.minimum(first - luminance.least_root, reached - luminance.most_root))


def _most_step(ratio: FloatArray, offset: FloatArray, luminance: _Luminance) -> FloatArray:
    """Largest g(k·y + φ) - g(y) over y in a span: chord of the first, tangent of the second."""
    start = ratio * luminance.least + offset
    reached = cielab_f(start + ratio * luminance.width) - luminance.width * luminance.slope
    return np.asarray(np.maximum(cielab_f(start), reached) - luminance.least_root)
