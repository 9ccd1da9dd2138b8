"""One sweep over all recipes of a size, within a radius of the target.

What may lie within the radius is cut up by lightness; each slice is a window of tristimulus values.
Supports over grounds, in blocks, are held against one slice after the other: planes (`shells`) cut
whole supports, then ratios, then leave each ratio a stretch of loads. The colours that are left
come from sums of exponentials (`exponentials`) with a certified error; those whose window, whose
place in a* and b* or whose least ΔE00 (`delta_e`) is too far fall out. The rest is worked out.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from fewtone.recipes.keys import Candidates
from fewtone.recipes.lattice import Lattice
from fewtone.search.bounds.exponentials import FLOOR
from fewtone.search.bounds.shells import Corners, Planes, Shells
from fewtone.search.bounds.slices import Slice, slices_of, within
from fewtone.search.bounds.windows import Window, window_of
from fewtone.typing import BoolArray, FloatArray, IntArray

__all__ = ["BOUNDS", "Sweep", "sums_of", "wanted_kinds"]

# What cuts a colour, in the order in which it is asked; what passes all is worked out.
BOUNDS = ("whole supports", "ratios", "loads", "colours")
# How far a colour that is worked out came, as `BOUNDS` after the second count from 0.
_WORKED_OUT = len(BOUNDS) - 2
# Supports over grounds held against the slices together, and colours at once.
_BLOCK, _COLOURS = 4096, 1024
# Of no more ratios than this the simplex around them is not worth planes of its own.
_FEW = 24
# Ends of stretches are compared in 32 bits.
_CLOSE = 1.0 + 4e-6


class Sweep:
    """A sweep over recipes of equally many toners.

    Parameters
    ----------
    shells
        What makes planes.
    lattice
        The admissible recipes.
    supports
        The sets of toners to look at, shape ``(n, size)``.
    target
        CIELAB, shape ``(3,)``, or of several, ``(n_targets, 3)``: their distance is the largest.
    radius
        ΔE00 within which recipes are wanted, by their kind; negative: none. It may be lowered
        while candidates come.
    kinds
        The kind of each ratio at each load, shape ``(n_ratios, n_loads)``, nothing being counted
        then; its sum of parts if None.

    Attributes
    ----------
    cut
        How many colours each of `BOUNDS` cut, by kind, shape ``(n_bounds, n_kinds)``. A
        colour counts for the bound that it came to farthest in any slice.
    """

    def __init__(
        self,
        shells: Shells,
        lattice: Lattice,
        supports: IntArray,
        target: FloatArray,
        radius: FloatArray,
        kinds: IntArray | None = None,
    ) -> None:
        self.shells, self.lattice, self.supports = shells, lattice, supports
        self.target, self.radius = target, radius
        self.counted = kinds is None
        self.ratios, self.kinds = wanted_kinds(lattice, supports.shape[1], radius, kinds)
        fractions = self.ratios / self.ratios.sum(axis=1, keepdims=True)
        self.fractions = np.ascontiguousarray(fractions.T)
        self.cut = np.zeros((len(BOUNDS), len(radius)), dtype=np.int64)

    def candidates(self) -> Iterator[Candidates]:
        """What may be within the radius."""
        radius = float(self.radius.max())
        slices = slices_of(self.target, radius)
        windows = [window_of(self.shells.sums, part) for part in slices]
        corners = [self.shells.corners(window) for window in windows]
        n_grounds, n_toners = len(self.lattice.rules.grounds), len(self.lattice.rules.toners)
        step = max(1, _BLOCK // n_grounds)
        for start in range(0, len(self.supports), step):
            supports = self.supports[start : start + step]
            block = _Block(
                self,
                np.tile(supports, (n_grounds, 1)),
                np.repeat(np.arange(n_grounds), len(supports)),
            )
            members: FloatArray = np.zeros((len(supports), n_toners), dtype=np.float32)
            np.put_along_axis(members, supports, 1.0, axis=1)
            for part, window, corner in zip(slices, windows, corners, strict=True):
                cells = np.flatnonzero(corner.supports(members))
                if len(cells):
                    yield from block.candidates(part, window, corner, cells)
            if self.counted:
                self.cut += block.cut()


def sums_of(lattice: Lattice, size: int) -> IntArray:
    """The sum of parts of each ratio at each load, shape ``(n_ratios, n_loads)``.

    Parameters
    ----------
    lattice
        All ratios and loads.
    size
        How many toners the ratios have.
    """
    sums = lattice.ratios(size).sum(axis=1, keepdims=True)
    return np.broadcast_to(sums, (len(sums), len(lattice.loads)))


def wanted_kinds(
    lattice: Lattice, size: int, radius: FloatArray, kinds: IntArray | None
) -> tuple[IntArray, IntArray]:
    """Ratios that are wanted at some load, and the kind of each at each.

    Parameters
    ----------
    lattice
        All ratios and loads.
    size
        How many toners the ratios have.
    radius
        ΔE00 within which colours are wanted by their kind, shape ``(n_kinds,)``; negative for none.
    kinds
        Of each ratio at each load, shape ``(n_ratios, n_loads)``; their sums of parts if None.
    """
    ratios = lattice.ratios(size)
    if kinds is None:
        kinds = sums_of(lattice, size)
    wanted = (radius[kinds] >= 0.0).any(axis=1)
    return ratios[wanted], kinds[wanted]


class _Cells(NamedTuple):
    """Simplices of fractions: which support, its toners ``(n, m)``, its ground, planes."""

    support: IntArray
    toners: IntArray
    ground: IntArray
    planes: Planes

    def where(self, chosen: BoolArray | IntArray) -> _Cells:
        """Some of them."""
        return _Cells(
            self.support[chosen],
            self.toners[chosen],
            self.ground[chosen],
            self.planes.where(chosen),
        )


class _LoadIntervals(NamedTuple):
    """Where a cell may contain the colour: index of the ratio, and an interval of 1/load."""

    ratio: IntArray
    low: FloatArray
    high: FloatArray

    def where(self, chosen: BoolArray | IntArray) -> _LoadIntervals:
        """Some of them."""
        return _LoadIntervals(self.ratio[chosen], self.low[chosen], self.high[chosen])


class _Block:
    """Some supports over grounds, held against one slice after the other."""

    def __init__(self, sweep: Sweep, toners: IntArray, ground: IntArray) -> None:
        self.sweep, self.toners, self.ground = sweep, toners, ground
        self.loads = sweep.lattice.load_values
        # Which supports, which of their ratios, and how far each colour of those came.
        self.came = np.zeros(len(toners), dtype=np.bool_)
        shape = (len(toners), len(sweep.ratios)) if sweep.counted else (0, 0)
        self.row_of = np.full(shape, -1, dtype=np.int64)
        self.ratio = np.zeros(0, dtype=np.int64)
        self.stage = np.zeros((0, len(self.loads)), dtype=np.int8)

    def candidates(
        self, part: Slice, window: Window, corners: Corners, cells: IntArray
    ) -> Iterator[Candidates]:
        """What may be within the radius in this slice, of some supports over grounds."""
        support, intervals = self._load_intervals(window, corners, cells)
        if not len(support):
            return
        first, count = self._stretch(intervals)
        last = np.cumsum(count)
        load = np.arange(int(last[-1])) + np.repeat(first - last + count, count)
        row = np.repeat(np.arange(len(support)), count)
        wanted = self.sweep.radius[self.sweep.kinds[intervals.ratio[row], load]] >= 0.0
        row, load = row[wanted], load[wanted]
        if self.sweep.counted:
            blend = self._remember(support, intervals.ratio)
            self._mark(blend[row], load, 1)
        curves, amounts = self._curves(support, intervals.ratio), self.loads.astype(np.float32)
        none: FloatArray = np.zeros((0, 3), dtype=np.float32)
        left: list[tuple[IntArray, IntArray, FloatArray]] = [(row[:0], load[:0], none)]
        for start in range(0, len(row), _COLOURS):
            batch, film = row[start : start + _COLOURS], load[start : start + _COLOURS]
            tau = curves[batch] * amounts[film, np.newaxis]
            values = self.sweep.shells.sums.values(tau, self.ground[support[batch]])
            inside = (values >= window.least) & (values <= window.most)
            near = np.flatnonzero(inside[:, 0] & inside[:, 1] & inside[:, 2])
            left.append((batch[near], film[near], values[near]))
        row, load, values = (np.concatenate(parts) for parts in zip(*left, strict=True))
        radius = self.sweep.radius[self.sweep.kinds[intervals.ratio[row], load]]
        value, sums = values.astype(np.float64), self.sweep.shells.sums
        off = sums.error * (value + FLOOR) * 1.001 + sums.rounding * value
        near, bound = within(part, value - off, value + off, self.sweep.target, radius)
        if self.sweep.counted:
            # What another slice found already is worked out.
            new = self.stage[blend[row[near]], load[near]] < _WORKED_OUT
            near, bound = near[new], bound[new]
            self._mark(blend[row[near]], load[near], _WORKED_OUT)
        row, load = row[near], load[near]
        yield Candidates(
            self.toners[support[row]],
            self.sweep.ratios[intervals.ratio[row]],
            load,
            self.ground[support[row]],
            bound,
        )

    def cut(self) -> IntArray:
        """How many colours each bound cut, by kind, which is one for all loads of a ratio."""
        kinds, n_loads = self.sweep.kinds[:, 0], len(self.loads)
        counts = np.zeros_like(self.sweep.cut)
        never = int((~self.came).sum())
        left = (self.row_of[self.came] < 0).sum(axis=0)
        np.add.at(counts[0], kinds, never * n_loads)
        np.add.at(counts[1], kinds, left * n_loads)
        for stage in (0, 1):
            here = (self.stage[: len(self.ratio)] == stage).sum(axis=1)
            np.add.at(counts[2 + stage], kinds[self.ratio], here)
        return counts

    def _load_intervals(
        self, window: Window, corners: Corners, supports: IntArray
    ) -> tuple[IntArray, _LoadIntervals]:
        """Intervals of loads that planes leave to ratios, with their supports."""
        shells, fractions = self.sweep.shells, self.sweep.fractions
        toners, ground = self.toners[supports], self.ground[supports]
        planes = shells.first(corners, toners, ground, window)
        cells = _Cells(supports, toners, ground, planes)
        low, high = cells.planes.stretches(fractions)
        cell, ratio = np.nonzero(low <= high * _CLOSE)
        intervals = _LoadIntervals(
            ratio, low[cell, ratio].astype(float), high[cell, ratio].astype(float)
        )
        start = np.flatnonzero(np.diff(cell, prepend=-1))
        count = np.diff(start, append=len(cell))
        cells, many = cells.where(cell[start]), count > _FEW
        support, inside = np.repeat(cells.support, count), np.repeat(many, count)
        if many.any():
            few = (support[~inside], *intervals.where(~inside))
            left = self._closer(cells.where(many), intervals.where(inside), count[many], window)
            support, ratio, low, high = (
                np.concatenate(both) for both in zip(few, left, strict=True)
            )
            intervals = _LoadIntervals(ratio, low, high)
        some = np.flatnonzero(self._stretch(intervals)[1] > 0)
        # Ground by ground, as sums of exponentials are quickest.
        some = some[np.argsort(support[some], kind="stable")]
        return support[some], intervals.where(some)

    def _closer(
        self, cells: _Cells, intervals: _LoadIntervals, count: IntArray, window: Window
    ) -> tuple[IntArray, IntArray, FloatArray, FloatArray]:
        """Supports, and the intervals that planes of their own leave to the ratios of cells."""
        fractions = self.sweep.fractions[:, intervals.ratio]
        planes = self.sweep.shells.closer(
            cells.planes, cells.toners, cells.ground, _least(fractions, count), window
        )
        low, high = intervals.low, intervals.high
        for end, best, parts in ((low, np.maximum, planes.far), (high, np.minimum, planes.near)):
            for plane in parts.transpose(1, 2, 0):
                along = np.repeat(plane[0], count) * fractions[0]
                for part, fraction in zip(plane[1:], fractions[1:], strict=True):
                    along += np.repeat(part, count) * fraction
                best(end, along, out=end)
        left = low <= high * _CLOSE
        return np.repeat(cells.support, count)[left], *intervals.where(left)

    def _stretch(self, intervals: _LoadIntervals) -> tuple[IntArray, IntArray]:
        """The first load of each interval, and how many it holds."""
        first = np.searchsorted(self.loads, 1.0 / (intervals.high * _CLOSE))
        after = np.searchsorted(self.loads, _CLOSE / intervals.low, side="right")
        return first, np.maximum(after - first, 0)

    def _curves(self, support: IntArray, ratio: IntArray) -> FloatArray:
        """Absorption of ratios at a load of 1, 32 bits, shape ``(n, n_wavelengths)``."""
        absorption = self.sweep.shells.sums.absorption.astype(np.float32)
        fractions: FloatArray = np.zeros((len(ratio), len(absorption)), dtype=np.float32)
        shares = self.sweep.fractions.T.astype(np.float32)[ratio]
        np.put_along_axis(fractions, self.toners[support], shares, axis=1)
        return fractions @ absorption

    def _remember(self, support: IntArray, ratio: IntArray) -> IntArray:
        """Rows of ratios in `stage`, made where there are none yet."""
        self.came[support] = True
        blend = self.row_of[support, ratio]
        new = np.flatnonzero(blend < 0)
        blend[new] = len(self.ratio) + np.arange(len(new))
        self.row_of[support[new], ratio[new]] = blend[new]
        self.ratio = np.concatenate([self.ratio, ratio[new]])
        if len(self.ratio) > len(self.stage):
            rows = max(len(self.ratio), 2 * len(self.stage))
            grown = np.zeros((rows, len(self.loads)), dtype=np.int8)
            grown[: len(self.stage)] = self.stage
            self.stage = grown
        return blend

    def _mark(self, blend: IntArray, load: IntArray, stage: int) -> None:
        self.stage[blend, load] = np.maximum(self.stage[blend, load], stage)


def _least(fractions: FloatArray, count: IntArray) -> FloatArray:
    """Least fraction of each toner over each cell's ratios, ``(n, m)``."""
    return np.minimum.reduceat(fractions, np.cumsum(count) - count, axis=1).T
