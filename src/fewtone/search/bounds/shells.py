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
            loads, which lies above log F. A corner that never gets so dark has 1/T_q = 0; that is
            sound if its amounts are not below 0.

The loads that there are make two more: 1/most <= 1/t <= 1/least. A ray with max n · d > min h · d
holds nothing wanted; a simplex of rays holds nothing if one n · d is above one h · d at all of its
corners. What is left of a support spans a smaller simplex of rays, which has planes of its own:
nearer ones, as chords are shorter and tangents closer.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from fewtone.search.bounds.exponentials import FLOOR, Exponentials
from fewtone.typing import BoolArray, FloatArray, IntArray

__all__ = ["Corners", "Shells", "Window", "window_of"]

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


class Window(NamedTuple):
    """What F may be, widened by the error of the sums.

    Parameters
    ----------
    least, most
        Ends of F, shape ``(3,)``.
    lo, hi
        Ends of log F, shape ``(3,)``.
    """

    least: FloatArray
    most: FloatArray
    lo: FloatArray
    hi: FloatArray


def window_of(sums: Exponentials, low: FloatArray, high: FloatArray) -> Window:
    """The window of the sums that holds every film whose F is from `low` to `high`, ``(3,)``."""
    off = sums.error
    least = (low - off * (low + FLOOR)) * (1.0 - sums.rounding)
    most = (high + off * (high + FLOOR)) * (1.0 + sums.rounding)
    lo = np.log(np.maximum(least, 1e-300)) - sums.rounding - _ROUNDING
    return Window(least, most, lo, np.log(np.maximum(most, 1e-300)) + sums.rounding + _ROUNDING)


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

    def stretches(self, fractions: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Least and largest 1/t [1] on the rays of ratios, shape ``(n, n_ratios)`` each.

        Parameters
        ----------
        fractions
            Of the toners in each ratio [1], shape ``(m, n_ratios)``.
        """
        ends, single = [], fractions.astype(np.float32)
        for planes, best in ((self.far, np.maximum), (self.near, np.minimum)):
            along = planes.astype(np.float32).reshape(-1, len(fractions)) @ single
            ends.append(best.reduce(along.reshape(*planes.shape[:2], fractions.shape[1]), axis=1))
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
    """

    far: FloatArray
    near: FloatArray
    open: tuple[FloatArray, ...]

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
        n_toners, n_grounds = len(sums.absorption), len(sums.matrix)
        indices = np.indices((n_toners, n_grounds, len(self._grid))).reshape(3, -1)
        toner, ground, load = indices
        tau = self._grid[load, np.newaxis] * sums.absorption[toner]
        logs, falls = sums.tangents(tau, ground)
        shape = (n_toners, n_grounds, len(self._grid), 3)
        self._logs = logs.reshape(shape)
        self._falls = falls.reshape(*shape, n_toners)
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
        return Corners(far, near, tuple(rows[~rows.all(axis=1)] for rows in pairs))

    def first(self, corners: Corners, toners: IntArray, ground: IntArray) -> Planes:
        """Planes of supports ``(n, m)`` over grounds ``(n,)`` from the corners alone.

        Parameters
        ----------
        corners
            As `corners` gives them.
        toners
            Positions of each support's toners, shape ``(n, m)``.
        ground
            Position of each support's ground, shape ``(n,)``.
        """
        far, near, _ = corners
        count, size = toners.shape
        planes = far[toners, ground[:, np.newaxis]].transpose(0, 2, 1)
        most = np.full((count, 1, size), 1.0 / self.loads[-1])
        at = (
            toners[:, :, np.newaxis, np.newaxis],
            ground[:, np.newaxis, np.newaxis, np.newaxis],
        )
        channels = np.arange(3)[:, np.newaxis]
        others = toners[:, np.newaxis, np.newaxis]
        tangents = near[at[0], at[1], channels, others].reshape(count, -1, size)
        least = np.full((count, 1, size), 1.0 / self.loads[0])
        return Planes(
            np.concatenate([planes, most], axis=1), np.concatenate([tangents, least], axis=1)
        )

    def tangents(
        self,
        planes: Planes,
        toners: IntArray,
        ground: IntArray,
        fractions: FloatArray,
        window: Window,
    ) -> FloatArray:
        """Near planes ``(n, 3, m)`` from tangents between the planes on the ray of these fractions.

        Parameters
        ----------
        planes
            What is known so far.
        toners
            Positions of each support's toners, shape ``(n, m)``.
        ground
            Position of each support's ground, shape ``(n,)``.
        fractions
            Of the toners of each support [1], shape ``(n, m)``.
        window
            The window that films must hit.
        """
        across = fractions[:, :, np.newaxis]
        low = self._clipped((planes.far @ across).max(axis=1))
        high = self._clipped((planes.near @ across).min(axis=1))
        amounts = 2.0 / (low + high) * fractions
        curves = self.sums.absorption[toners].transpose(1, 0, 2)
        tau = amounts[:, :1] * curves[0]
        for part, curve in zip(amounts.T[1:], curves[1:], strict=True):
            tau += part[:, np.newaxis] * curve
        logs, falls = self.sums.tangents(tau.astype(np.float32), ground)
        falls = np.take_along_axis(falls, toners[:, np.newaxis], axis=2).astype(float)
        along = (falls * amounts[:, np.newaxis]).sum(axis=2)
        return self._near(falls, logs, along, window.hi)

    def closer(
        self,
        planes: Planes,
        toners: IntArray,
        ground: IntArray,
        ends: tuple[FloatArray, FloatArray],
        window: Window,
    ) -> Planes:
        """Planes of simplices that hold all fractions between two ends, ``(n, m)`` each.

        Of the simplex of fractions no less than the least and the one of those no more than the
        most, its mirror image, the smaller is taken. Corners of the second may have amounts below
        0: the sums are defined, fall and are log-convex there too.

        Parameters
        ----------
        planes
            What is known so far.
        toners
            Positions of each support's toners, shape ``(n, m)``.
        ground
            Position of each support's ground, shape ``(n,)``.
        ends
            Least and greatest fractions [1], shape ``(n, m)`` each.
        window
            The window that films must hit.
        """
        count, size = toners.shape
        least, most = np.maximum(ends[0] - _MARGIN, 0.0), ends[1] + _MARGIN
        upright = 1.0 - least.sum(axis=1) <= most.sum(axis=1) - 1.0
        origin = np.where(upright[:, np.newaxis], least, most)
        # Barycentric coordinates are (fractions - origin)/edge.
        edge = 1.0 - origin.sum(axis=1)
        corners = origin[:, np.newaxis] + edge[:, np.newaxis, np.newaxis] * np.eye(size)
        across = corners.transpose(0, 2, 1)
        low = self._clipped((planes.far @ across).max(axis=1))
        high = self._clipped((planes.near @ across).min(axis=1))
        far = 1.0 / np.minimum(low, high)
        near = np.minimum(1.0 / np.maximum(low, high), 0.999 * far)
        curve = (corners @ self.sums.absorption[toners]).reshape(count * size, -1)
        grounds = np.repeat(ground, size)
        logs = [
            self._log(load.reshape(-1, 1) * curve, grounds).reshape(count, size, 3)
            for load in (near, far)
        ]
        crossing = _crossing(
            near[..., np.newaxis], far[..., np.newaxis], logs[0], logs[1], window.lo
        )
        # Less of a corner that has amounts below 0 need not be lighter: it must get dark itself.
        loose = (corners < 0.0).any(axis=2)[..., np.newaxis] & (crossing == 0.0)
        crossing = np.where(loose.any(axis=1)[:, np.newaxis], 0.0, crossing)
        share = origin / edge[:, np.newaxis]
        new_far = crossing.transpose(0, 2, 1) / edge[:, np.newaxis, np.newaxis]
        new_far -= (crossing * share[..., np.newaxis]).sum(axis=1)[..., np.newaxis]
        both = Planes(np.concatenate([planes.far, new_far], axis=1), planes.near)
        middle = np.maximum(corners.mean(axis=1), 0.0)
        return Planes(new_far, self.tangents(both, toners, ground, middle, window))

    def _clipped(self, pace: FloatArray) -> FloatArray:
        """1/t within what toners by themselves are looked at."""
        return np.clip(pace, 1.0 / self._grid[-1], 1.0 / self._grid[1])

    def _log(self, tau: FloatArray, ground: IntArray) -> FloatArray:
        """Log F; not finite where 32 bits do not hold F, far below 0."""
        with np.errstate(over="ignore", invalid="ignore"):
            return np.asarray(np.log(self.sums.values(tau.astype(np.float32), ground)))

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


def _crossing(
    before: FloatArray, after: FloatArray, first: FloatArray, last: FloatArray, lo: FloatArray
) -> FloatArray:
    """1/T where the chord from `first` at `before` to `last` at `after` falls to lo.

    0 if the last is above lo still; that of `before` if the first is not.
    """
    with np.errstate(invalid="ignore"):
        share = np.clip((first - lo) / np.maximum(first - last, 1e-12), 0.0, 1.0)
    load = before + share * (after - before)
    # Far below 0 the sums may exceed what 32 bits hold.
    reached = (last <= lo) & np.isfinite(first)
    return np.where(reached, 1.0 / np.maximum(load, 1.0 / _NEVER), 0.0)
