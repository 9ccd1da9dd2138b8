"""Planes that enclose the blends whose tristimulus values lie within a window.

Let x be the amounts of a support's toners (load times fraction) over a ground, and wanted is
lo <= log F(x) <= hi for F = X, Y and Z, sums of exponentials (`exponentials`) of which log F is
convex and falls in every amount. On the ray of fractions d, x = t d:

near plane  a tangent of log F lies below it: log F(x) >= u - g · (x - x₀). Where it is above hi, so
            is log F. Wanted x keep g · x >= u + g · x₀ - hi, written h · x >= 1: 1/t <= h · d.
far plane   {log F <= lo} is convex and holds all that has more of every toner than one of its
            points. If it holds T_q d_q on the rays of some corners q, it holds all x >= 0 of the
            form Σ y_q d_q, y >= 0, with Σ y_q/T_q >= 1. Wanted x between those rays keep
            Σ y_q/T_q <= 1, written n · x <= 1: 1/t >= n · d. T_q comes from a chord between two
            loads, which lies above log F. A corner that never gets so dark has 1/T_q = 0.
side        Wanted is as well that P(x) >= N(x), what adds to the sum of a side of the slice and
            what takes away from it (`windows`): sums of exponentials, too. Between the rays of
            corners, one far and one near plane enclose wanted x in the hull of where they meet
            those rays. An affine function not below log P there is not below it anywhere in the
            hull, log P being convex; a tangent lies below log N. Wanted x keep b + a · x >= 0 for
            the difference of the two: another far plane if b > 0, a near one if b < 0.

The loads that there are make two more: 1/most <= 1/t <= 1/least. A ray with max n · d > min h · d
holds nothing wanted; a simplex of rays holds nothing if one n · d is above one h · d at all of its
corners. What is left of a support spans a smaller simplex of rays, which has planes of its own:
nearer ones, as chords are shorter and tangents closer.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from fewtone.search.bounds.exponentials import Exponentials
from fewtone.search.bounds.windows import Window
from fewtone.typing import BoolArray, FloatArray, IntArray

__all__ = ["Corners", "Planes", "Shells"]

# Loads at which every toner by itself is looked at: from a part of the least to a multiple of the
# largest, since a weak toner that never gets dark enough by itself bounds what it does with others.
_GRID, _BEFORE, _BEYOND = 40, 0.5, 6.0
# 1/t of a plane that keeps everything, or nothing.
_NEVER = 1e12
# Widens logarithms by more than rounding moves them.
_ROUNDING = 1e-9
# Windows whose corners are kept: those of a target's slices, which sizes share.
_KEPT = 16
# How far a smaller simplex keeps off the ratios that it is to hold.
_MARGIN = 0.002
# Cells whose planes meet all ratios at once: what they make then stays within the cache.
_CELLS = 16
# In 32 bits the sum of three products is off by less than this share of the largest factor.
_SINGLE = 4e-7


class Planes(NamedTuple):
    """Planes of n supports of m toners: far ``(n, planes, m)`` and near ``(n, planes, m)``."""

    far: FloatArray
    near: FloatArray

    def where(self, chosen: BoolArray | IntArray) -> Planes:
        """Those of some supports.

        Parameters
        ----------
        chosen
            Which, as a mask of shape ``(n,)`` or as positions of shape ``(n_chosen,)``.
        """
        return Planes(self.far[chosen], self.near[chosen])

    def beside(self, more: Planes) -> Planes:
        """These and others of the same supports."""
        return Planes(
            np.concatenate([self.far, more.far], axis=1),
            np.concatenate([self.near, more.near], axis=1),
        )

    def stretches(self, fractions: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Least and largest 1/t [1] on the rays of ratios, shape ``(n, n_ratios)`` each.

        Parameters
        ----------
        fractions
            Of the toners in each ratio [1], shape ``(m, n_ratios)``.
        """
        single = fractions.astype(np.float32)
        ends: list[FloatArray] = []
        for planes, best in ((self.far, np.maximum), (self.near, np.minimum)):
            end: FloatArray = np.empty((len(planes), fractions.shape[1]), dtype=np.float32)
            for start in range(0, len(planes), _CELLS):
                some = planes[start : start + _CELLS].astype(np.float32)
                along = some.reshape(-1, len(fractions)) @ single
                along = along.reshape(*some.shape[:2], -1)
                best.reduce(along, axis=1, out=end[start : start + _CELLS])
            ends.append(end)
        return ends[0], ends[1]


class Corners(NamedTuple):
    """What each toner by itself says about a window.

    Parameters
    ----------
    far
        1/T of the far planes, shape ``(n_toners, n_grounds, 3)``.
    near
        h of the near planes, shape ``(n_toners, n_grounds, 3, n_toners)``.
    open
        For each ground, of pairs of a far and a near plane, 1 at the toners where the far one is
        not nearer, 0 elsewhere, 32 bits, shape ``(n_pairs, n_toners)``.
    adds
        Logarithms of what adds to sides' sums, ``(n_grounds, n_toners, n_loads, n_sides)``.
    """

    far: FloatArray
    near: FloatArray
    open: tuple[FloatArray, ...]
    adds: FloatArray

    def supports(self, members: FloatArray) -> BoolArray:
        """Which supports may hold something wanted over each ground, ``(n_grounds, n)``.

        A near plane holds everywhere, whichever toner it is of: a support holds nothing if, for
        some pair of planes, the far one is nearer on the rays of all of its toners.

        Parameters
        ----------
        members
            1 at each support's toners, 0 elsewhere, 32 bits, shape ``(n, n_toners)``.
        """
        return np.array([(members @ rows.T > 0.5).all(axis=1) for rows in self.open])


class Shells:
    """Makes planes for one shelf.

    Parameters
    ----------
    sums
        The films.
    loads
        The lattice's loads, ascending.
    """

    def __init__(self, sums: Exponentials, loads: FloatArray) -> None:
        self.sums, self.loads = sums, loads
        least, most = float(loads[0]), float(loads[-1])
        self._grid = np.concatenate([[0.0], np.geomspace(_BEFORE * least, _BEYOND * most, _GRID)])
        # Films of each toner at each load; the terms know no ground.
        tau = self._grid[:, np.newaxis] * sums.absorption[:, np.newaxis]
        self._terms = sums.terms(tau.reshape(-1, tau.shape[2]))
        shape = (len(sums.matrix), *tau.shape[:2], 3)
        values = self._terms @ sums.matrix + sums.constant
        falls = (self._terms @ sums.derivative_matrix).reshape(*values.shape, -1)
        falls /= values[..., np.newaxis]
        self._logs = np.log(values).reshape(shape).swapaxes(0, 1)
        self._falls = falls.reshape(*shape, -1).swapaxes(0, 1)
        self._corners: dict[bytes, Corners] = {}

    def corners(self, window: Window) -> Corners:
        """What each toner by itself says about a window; kept for the last windows."""
        key = window.lo.tobytes() + window.hi.tobytes()
        if key not in self._corners:
            if len(self._corners) == _KEPT:
                del self._corners[next(iter(self._corners))]
            self._corners[key] = self._corners_of(window)
        return self._corners[key]

    def _corners_of(self, window: Window) -> Corners:
        grid, logs = self._grid, self._logs
        dark = np.minimum((logs > window.lo).sum(axis=2), len(grid) - 1)
        light = np.maximum(dark - 1, 0)
        far = _crossing(grid[light], grid[dark], _at(logs, light), _at(logs, dark), window.lo)
        nearest = np.abs(logs - window.hi).argmin(axis=2)
        falls = np.take_along_axis(self._falls, nearest[:, :, np.newaxis, :, np.newaxis], axis=2)
        falls = falls[:, :, 0]
        diagonal = np.arange(len(falls))
        along = falls[diagonal, :, :, diagonal]
        near = self._near(falls, _at(logs, nearest), along * grid[nearest], window.hi)
        # Of every far plane and every near plane the toners at which the far one is not nearer.
        _, n_grounds, _, n_toners = near.shape
        least = np.full((1, *near.shape[1:]), 1.0 / self.loads[0])
        most = np.full((*far.shape[:2], 1), 1.0 / self.loads[-1])
        before = np.concatenate([near, least]).transpose(1, 0, 2, 3)
        before = before.reshape(n_grounds, 1, -1, n_toners)
        after = np.concatenate([far, most], axis=2).transpose(1, 2, 0)[:, :, np.newaxis]
        held = after <= before * (1.0 + _ROUNDING)
        pairs: FloatArray = held.reshape(n_grounds, -1, n_toners).astype(np.float32)
        adding, _ = window.sides
        adds = self._terms @ window.sums.matrix[..., adding] + window.sums.constant[adding]
        adds = np.log(adds).reshape(n_grounds, n_toners, len(grid), -1)
        return Corners(far, near, tuple(rows[~rows.all(axis=1)] for rows in pairs), adds)

    def first(self, corners: Corners, toners: IntArray, ground: IntArray, window: Window) -> Planes:
        """Planes of supports ``(n, m)`` over grounds ``(n,)``: toners' own, and from their middles.

        Parameters
        ----------
        corners
            As `corners` gives them.
        toners
            Positions of each support's toners, shape ``(n, m)``.
        ground
            Position of each support's ground, shape ``(n,)``.
        window
            The window that films must hit.
        """
        count, size = toners.shape
        over, channels = ground[:, np.newaxis], np.arange(3)[:, np.newaxis]
        most = np.full((count, 1, size), 1.0 / self.loads[-1])
        far = np.concatenate([corners.far[toners, over].transpose(0, 2, 1), most], axis=1)
        at = toners[:, :, np.newaxis, np.newaxis], ground[:, np.newaxis, np.newaxis, np.newaxis]
        tangents = corners.near[at[0], at[1], channels, toners[:, np.newaxis, np.newaxis]]
        least = np.full((count, 1, size), 1.0 / self.loads[0])
        near = np.concatenate([tangents.reshape(count, -1, size), least], axis=1)
        planes, grid = Planes(far, near), self._grid

        def adds(loads: FloatArray) -> FloatArray:
            # By chords between loads of the grid, and from the last one on by what it is there.
            after = np.clip(np.searchsorted(grid, loads), 1, len(grid) - 1)
            share = np.minimum((loads - grid[after - 1]) / (grid[after] - grid[after - 1]), 1.0)
            share = share[..., np.newaxis]
            first, last = (corners.adds[over, toners, place] for place in (after - 1, after))
            return np.asarray(first + share * (last - first))

        none = np.zeros((count, size))
        return planes.beside(self._from_middle(planes, none, adds, toners, ground, window))

    def closer(
        self,
        planes: Planes,
        toners: IntArray,
        ground: IntArray,
        least: FloatArray,
        window: Window,
    ) -> Planes:
        """Planes of simplices that hold all fractions no less than the least, ``(n, m)``.

        Parameters
        ----------
        planes
            What is known so far.
        toners
            Positions of each support's toners, shape ``(n, m)``.
        ground
            Position of each support's ground, shape ``(n,)``.
        least
            Least fractions [1], shape ``(n, m)``.
        window
            The window that films must hit.
        """
        least = np.maximum(least - _MARGIN, 0.0)
        grounds = np.repeat(ground, toners.shape[1])
        curves = self.sums.absorption[toners].transpose(0, 2, 1)
        curve = _at_corners(curves, least).transpose(0, 2, 1)

        def logs(loads: FloatArray) -> FloatArray:
            tau: FloatArray = (loads[..., np.newaxis] * curve).astype(np.float32)
            values = window.sums.values(tau.reshape(len(grounds), -1), grounds)
            return np.asarray(np.log(values)).reshape(*toners.shape, -1)

        low, high = self._within(*(_at_corners(each, least) for each in planes))
        far = 1.0 / np.minimum(low, high)
        near = np.minimum(1.0 / np.maximum(low, high), 0.999 * far)
        first, last = logs(near)[..., :3], logs(far)[..., :3]
        crossing = _crossing(near[..., np.newaxis], far[..., np.newaxis], first, last, window.lo)
        new = Planes(_over_toners(crossing, least), planes.near[:, :0])
        return new.beside(
            self._from_middle(
                planes.beside(new),
                least,
                lambda loads: logs(loads)[..., window.sides[0]] + self.sums.rounding,
                toners,
                ground,
                window,
            )
        )

    def _from_middle(
        self,
        planes: Planes,
        least: FloatArray,
        adds: Callable[[FloatArray], FloatArray],
        toners: IntArray,
        ground: IntArray,
        window: Window,
    ) -> Planes:
        """Near planes from tangents between the planes on the middle ray of simplices; the sides.

        `adds` gives upper bounds of log P on the corners' rays at loads ``(n, m)``, of each side.
        """
        off, (_, taking) = self.sums.rounding, window.sides
        far, near = (_at_corners(each, least) for each in planes)
        low, high = self._within(far.mean(axis=2), near.mean(axis=2))
        middle = least + (1.0 - least.sum(axis=1, keepdims=True)) / least.shape[1]
        amounts = (2.0 / (low + high))[:, np.newaxis] * middle
        curves = self.sums.absorption[toners].transpose(1, 0, 2)
        tau = amounts[:, :1] * curves[0]
        for part, curve in zip(amounts.T[1:], curves[1:], strict=True):
            tau += part[:, np.newaxis] * curve
        logs, falls = window.sums.tangents(tau.astype(np.float32), ground)
        falls = np.take_along_axis(falls, toners[:, np.newaxis], axis=2).astype(float)
        along = (falls * amounts[:, np.newaxis]).sum(axis=2)
        tangents = self._near(falls[:, :3], logs[:, :3], along[:, :3], window.hi)
        # The affine function of each side, and the tangent of what takes away from its sum.
        near = np.concatenate([near, _at_corners(tangents, least)], axis=1)
        first, last = self._hull(far, near)
        at_first, at_last = adds(first), adds(last)
        first, last = first[..., np.newaxis], last[..., np.newaxis]
        base = ((at_first * last - at_last * first) / (last - first)).max(axis=1, keepdims=True)
        rises = np.maximum((at_first - base) / first, (at_last - base) / last)
        slope = _over_toners(rises, least)
        slope += falls[:, taking] * (1.0 + 2.0 * off)
        lowest = logs[:, taking] - off + along[:, taking] * (1.0 - 2.0 * off)
        excess = (base[:, 0] - lowest + _ROUNDING)[..., np.newaxis]
        clear = np.abs(excess) > _ROUNDING
        plane = -slope / np.where(clear, excess, 1.0)
        margin = _SINGLE * np.abs(plane).max(axis=2, keepdims=True)
        far_sides = np.where(clear & (excess > 0.0), plane - margin, -_NEVER)
        near_sides = np.where(clear & (excess < 0.0), plane + margin, _NEVER)
        return Planes(far_sides, np.concatenate([tangents, near_sides], axis=1))

    def _within(self, low: FloatArray, high: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Least and largest 1/t [1] of planes ``(n, planes, …)``, within the loads of the grid."""
        ends = 1.0 / self._grid[-1], 1.0 / self._grid[1]
        return np.clip(low.max(axis=1), *ends), np.clip(high.min(axis=1), *ends)

    def _hull(self, far: FloatArray, near: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Loads on the rays of corners, ``(n, m)`` each, whose hull holds all that is wanted.

        Of all planes that meet every one of the rays, ``(n, planes, m)``, the nearest in the mean:
        there is one of the least load, and one of the largest.
        """
        ends = []
        for along, sign in ((near, -1.0), (far, 1.0)):
            meets = along.min(axis=2) > 0.5 / self.loads[-1]
            best = np.where(meets, sign * along.sum(axis=2), -np.inf).argmax(axis=1)
            ends.append(1.0 / along[np.arange(len(along)), best])
        first, last = ends
        return np.minimum(first, 0.999 * last), last

    def _near(
        self, falls: FloatArray, logs: FloatArray, along: FloatArray, hi: FloatArray
    ) -> FloatArray:
        """The near plane h of g · x >= u + g · x₀ - hi; one that keeps all if that is not positive.

        Falls g and logarithms u are right to `rounding`, relative and absolute; amounts of recipes
        and of x₀ are not below 0.
        """
        off = self.sums.rounding
        reach = (logs - off + along * (1.0 - 2.0 * off) - hi) * (1.0 - 2.0 * off)
        clear = reach > _ROUNDING
        plane = falls / np.where(clear, reach, 1.0)[..., np.newaxis]
        return np.where(clear[..., np.newaxis], plane, _NEVER)


def _at(values: FloatArray, position: IntArray) -> FloatArray:
    """Values ``(toners, grounds, loads, 3)`` at one load for each of the others."""
    return np.asarray(np.take_along_axis(values, position[:, :, np.newaxis], axis=2)[:, :, 0])


def _at_corners(values: FloatArray, least: FloatArray) -> FloatArray:
    """Linear functions, ``(n, c, m)``, at corners of simplices of fractions, ``(n, c, m)``.

    Fractions are no less than the least, ``(n, m)``: a corner has all that is left of one toner.
    """
    edge = 1.0 - least.sum(axis=1)[:, np.newaxis, np.newaxis]
    return np.asarray(edge * values + values @ least[..., np.newaxis])


def _over_toners(along: FloatArray, least: FloatArray) -> FloatArray:
    """Linear functions by their values at corners, ``(n, m, c)``: the inverse, ``(n, c, m)``."""
    edge = 1.0 - least.sum(axis=1)[:, np.newaxis, np.newaxis]
    shares = least[:, np.newaxis] @ along
    return np.asarray(((along - shares) / edge).transpose(0, 2, 1))


def _crossing(
    before: FloatArray, after: FloatArray, first: FloatArray, last: FloatArray, lo: FloatArray
) -> FloatArray:
    """1/T where the chord from `first` at `before` to `last` at `after` falls to lo.

    0 if the last is above lo still; that of `before` if the first is not.
    """
    share = np.clip((first - lo) / np.maximum(first - last, 1e-12), 0.0, 1.0)
    load = before + share * (after - before)
    return np.where(last <= lo, 1.0 / np.maximum(load, 1.0 / _NEVER), 0.0)
