"""One sweep over all recipes of a size, within a radius of the target.

Supports over grounds go down the tree of `directions` together, cell by cell. A cell goes on if
the box of its colours (`relax`) may come within the radius (`bounds`); whole supports fall out at
the root. In the leaves each ratio is a ray, on which the two planes leave a stretch of loads; the
lattice's loads in it are enclosed once more, each by itself, and what is left is to be worked out.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from fewtone.match.bounds.boxes import SAFETY, Prisms, boxes, prisms
from fewtone.match.bounds.convex import COLUMNS, Probe, Rays, Span, cielab_f, log_ratio
from fewtone.match.bounds.delta_e import Region, de00_lower_bound, lightness_span
from fewtone.match.bounds.simplex_tree import Cell, cells_of
from fewtone.match.lattice import Lattice
from fewtone.match.picks import Candidates
from fewtone.typing import BoolArray, FloatArray, IntArray

__all__ = ["Sweep"]

# Supports over grounds that go down the tree together, and how many of their cells are bounded at
# once: the first sets the memory, the second keeps intermediate arrays in the processor's cache.
_ROWS, _BLOCK, _RAYS = 16_384, 4096, 16_384
_LEAF_RATIOS, _DEPTH = 6, 5
# Steps in lightness: a cell spans at most so much L*.
_STEP = 6.0


class Found(NamedTuple):
    """Candidates, ΔE00 still to come, and the span of L* for which they were found.

    Spans tile the lightness: a candidate whose own L* lies in another span is found, or cut, there.
    """

    candidates: Candidates
    lightness: tuple[float, float]


class Sweep:
    """A sweep over recipes of equally many toners.

    Parameters
    ----------
    probe
        What evaluates log F.
    lattice
        The admissible recipes.
    supports
        The sets of clear toners to look at, shape ``(n, size)``.
    target
        CIELAB, shape ``(3,)``.
    radius
        ΔE00 within which recipes are wanted, by their sum of parts; negative: none.

    Attributes
    ----------
    whole
        How many supports over a ground were cut whole.
    """

    def __init__(
        self,
        probe: Probe,
        lattice: Lattice,
        supports: IntArray,
        target: FloatArray,
        radius: FloatArray,
    ) -> None:
        self.probe, self.lattice, self.supports = probe, lattice, supports
        self.size = supports.shape[1]
        self.target, self.radius = target, radius
        self.whole = 0

    def found(self) -> Iterator[Found]:
        """What may be within the radius."""
        rules = self.lattice.rules
        supports = self.supports
        tree = cells_of(self.size, rules.max_part, _LEAF_RATIOS, _DEPTH)
        low, high = lightness_span(self.target, float(self.radius.max()))
        bare = 116.0 * float(cielab_f(self.probe.bare_logs[:, 1].max())) - 16.0
        low, high = max(low, 0.0), min(high, bare + SAFETY)
        if low > high:
            self.whole = len(supports) * len(rules.grounds)
            return
        ends = np.linspace(low, high, max(1, int(np.ceil((high - low) / _STEP))) + 1).tolist()
        step = max(1, _ROWS // len(rules.grounds))
        for start in range(0, len(supports), step):
            part = supports[start : start + step]
            alive = np.zeros(len(part) * len(rules.grounds), dtype=np.bool_)
            for place, lightness in enumerate(itertools.pairwise(ends)):
                slab = _Slab(self, part, lightness, alive)
                own = (
                    -math.inf if place == 0 else lightness[0],
                    math.inf if place == len(ends) - 2 else lightness[1],
                )
                for candidates in slab.candidates(tree):
                    yield Found(candidates, own)
            self.whole += int((~alive).sum())

    def wanted(self, cell: Cell) -> float:
        """The largest radius that any ratio of a cell needs."""
        return float(self.radius[cell.sums].max())


class _Slab:
    """Some supports over all grounds within one span of lightness."""

    def __init__(
        self,
        sweep: Sweep,
        supports: IntArray,
        lightness: tuple[float, float],
        alive: BoolArray,
    ) -> None:
        self.sweep, self.supports, self.lightness, self.alive = sweep, supports, lightness, alive
        self.span = Span(log_ratio(lightness[0]), log_ratio(lightness[1]))
        self.n_grounds = len(sweep.lattice.rules.grounds)
        self.loads = sweep.lattice.load_values
        self.places: dict[bytes, IntArray] = {}
        self.rays = Rays(np.empty((COLUMNS, 0)), np.empty((0, 3, len(sweep.probe.absorption))))
        self.n_rays = 0
        self.regions: dict[float, Region] = {}

    def candidates(self, tree: Cell) -> Iterator[Candidates]:
        """What may be within the radius in this span."""
        rows = np.arange(len(self.supports) * self.n_grounds)
        level: list[tuple[Cell, IntArray, FloatArray | None]] = [(tree, rows, None)]
        while level:
            below: list[tuple[Cell, IntArray, FloatArray | None]] = []
            for cell, rows, guess in level:
                kept, prism = self._bounded(cell, rows, guess)
                if cell is tree:
                    self.alive[kept] = True
                if not len(kept):
                    continue
                if not cell.parts:
                    yield from self._points(cell, kept, prism)
                    continue
                first, second = cell.split or (0, 0)
                middle = [
                    2.0 / (1.0 / loads[first] + 1.0 / loads[second])
                    for loads in (prism.far, np.maximum(prism.near, 1e-3))
                ]
                starts = 0.5 * (middle[0] + middle[1])
                below += [
                    (part, kept, starts) for part in cell.parts if self.sweep.wanted(part) >= 0.0
                ]
            level = below

    def _bounded(
        self, cell: Cell, rows: IntArray, guess: FloatArray | None
    ) -> tuple[IntArray, Prisms]:
        """The rows whose cell may come within the radius, with their prisms."""
        places = np.stack([self._corner(corner, rows, guess) for corner in cell.corners])
        table, slopes = self.rays
        region = self._region(self.sweep.wanted(cell))
        kept_rows, kept_prisms = [], []
        n_toners = len(self.sweep.probe.absorption)
        channels = n_toners * np.arange(3)[:, np.newaxis]
        for start in range(0, len(rows), _BLOCK):
            block, here = rows[start : start + _BLOCK], places[:, start : start + _BLOCK]
            support, ground = np.divmod(block, self.n_grounds)
            columns = self.supports.T[:, np.newaxis, np.newaxis, support] + channels
            prism = prisms(
                self.sweep.probe,
                table[:, here],
                slopes.take(columns + 3 * n_toners * here[:, np.newaxis]),
                cell.corners,
                ground,
                self.span,
            )
            low, high = boxes(prism, self.span, self.lightness, float(self.loads[-1]))
            near = np.flatnonzero(region.may_contain(low, high))
            kept_rows.append(block[near])
            kept_prisms.append(prism.where(near))
        return np.concatenate(kept_rows), Prisms(
            *(np.concatenate(parts, axis=-1) for parts in zip(*kept_prisms, strict=True))
        )

    def _region(self, radius: float) -> Region:
        if radius not in self.regions:
            self.regions[radius] = Region(self.sweep.target, self.lightness, radius)
        return self.regions[radius]

    def _corner(self, corner: FloatArray, rows: IntArray, guess: FloatArray | None) -> IntArray:
        """Places of rows' rays at a corner, made where they are not there yet."""
        key = corner.tobytes()
        if key not in self.places:
            count = len(self.supports) * self.n_grounds
            self.places[key] = np.full(count, -1, dtype=np.int64)
        places = self.places[key]
        missing = places[rows] < 0
        if missing.any():
            self._make(corner, places, rows[missing], None if guess is None else guess[missing])
        return places[rows]

    def _make(
        self, corner: FloatArray, places: IntArray, rows: IntArray, guess: FloatArray | None
    ) -> None:
        support, ground = np.divmod(rows, self.n_grounds)
        used = np.flatnonzero(corner)
        toners = self.supports[support][:, used]
        n_toners = len(self.sweep.probe.absorption)
        first = inverse = np.arange(len(rows))
        if len(used) < len(corner):
            # Supports share the directions on their faces.
            code = ground
            for column in toners.T:
                _, code = np.unique(code * n_toners + column, return_inverse=True)
            _, first, inverse = np.unique(code, return_index=True, return_inverse=True)
        fractions = np.zeros((len(first), n_toners))
        shares = np.broadcast_to(corner[used], (len(first), len(used)))
        np.put_along_axis(fractions, toners[first], shares, axis=1)
        rays = self.sweep.probe.rays(
            fractions, ground[first], None if guess is None else guess[first], self.span
        )
        places[rows] = self.n_rays + inverse
        self._store(rays)

    def _store(self, rays: Rays) -> None:
        start, end = self.n_rays, self.n_rays + len(rays.slopes)
        room = self.rays.table.shape[1]
        if end > room:
            room = max(end, 2 * room)
            table = np.empty((COLUMNS, room))
            slopes = np.empty((room, *rays.slopes.shape[1:]))
            table[:, :start], slopes[:start] = self.rays.table[:, :start], self.rays.slopes[:start]
            self.rays = Rays(table, slopes)
        self.rays.table[:, start:end], self.rays.slopes[start:end] = rays
        self.n_rays = end

    def _points(self, cell: Cell, rows: IntArray, prism: Prisms) -> Iterator[Candidates]:
        """The lattice's points of a leaf that may be within the radius."""
        sweep, ratios = self.sweep, self.sweep.lattice.ratios(self.sweep.size)
        wanted = np.flatnonzero(sweep.radius[cell.sums] >= 0.0)
        shares, chosen = cell.shares[wanted], cell.ratios[wanted]
        region = self._region(sweep.wanted(cell))
        step = max(1, _RAYS // len(wanted))
        for start in range(0, len(rows), step):
            block = rows[start : start + step]
            rays, row, ratio = _rays_of(prism.where(slice(start, start + step)), shares, self.span)
            low, high = boxes(rays, self.span, self.lightness, float(self.loads[-1]))
            near = np.flatnonzero(region.may_contain(low, high))
            rays, row, ratio = rays.where(near), row[near], ratio[near]
            first = np.searchsorted(self.loads, rays.near[0] * (1.0 - 1e-9))
            after = np.searchsorted(self.loads, rays.far[0] * (1.0 + 1e-9), side="right")
            count = np.maximum(after - first, 0)
            last = np.cumsum(count)
            load = np.arange(int(count.sum())) + np.repeat(first - last + count, count)
            ray = np.repeat(np.arange(len(row)), count)
            low, high = _point_boxes(rays, ray, self.loads[load])
            radius = sweep.radius[cell.sums[wanted[ratio[ray]]]]
            near = self._within(low, high, region, radius)
            ray, load = ray[near], load[near]
            support, ground = np.divmod(block[row[ray]], self.n_grounds)
            yield Candidates(
                self.supports[support], ratios[chosen[ratio[ray]]], load, ground, np.empty(0)
            )

    def _within(
        self, low: FloatArray, high: FloatArray, region: Region, radius: FloatArray
    ) -> IntArray:
        """Places of the boxes that may come within their radius: a quick look, then a close one."""
        near = np.flatnonzero(region.may_contain(low, high))
        bound = de00_lower_bound(low[:, near], high[:, near], self.sweep.target)
        return near[bound <= radius[near]]


def _rays_of(prism: Prisms, shares: FloatArray, span: Span) -> tuple[Prisms, IntArray, IntArray]:
    """Every ratio of every cell as a cell of one corner, with its cell and its ratio."""
    count = prism.near.shape[1]
    row, ratio = (place.ravel() for place in np.indices((count, len(shares))))

    def blended(values: FloatArray) -> FloatArray:
        """Values at the corners, weighted by the ratios' shares: ``(..., n_rays)``."""
        return np.asarray(np.einsum("...mn,rm->...nr", values, shares, optimize=True)).reshape(
            *values.shape[:-2], -1
        )

    near, far = 1.0 / blended(1.0 / prism.near), 1.0 / blended(1.0 / prism.far)
    near_upper = blended(prism.near_upper / prism.near) * near
    far_upper = blended(prism.far_upper / prism.far) * far
    constant = np.repeat(prism.constant, len(shares), axis=-1)
    slopes = blended(prism.slopes)
    # Each tangent plane has its say along the ray; where Y's chord leaves the span, so does Y.
    enters = ((constant[:, 1] - span.light) / np.maximum(slopes[:, 1], 1e-9)).max(axis=0)
    stretch = np.maximum(far - near, 1e-12)
    fall = np.maximum(near_upper[1] - far_upper[1], 1e-12)
    leaves = near + (near_upper[1] - span.dark) / fall * stretch
    step = far_upper - near_upper
    end = np.where((far_upper[1] < span.dark) & (far > near), np.minimum(leaves, far), far)
    start = np.clip(enters, near, np.maximum(end, near))
    rays = Prisms(
        np.where(enters > end, enters, start)[np.newaxis],
        end[np.newaxis],
        (near_upper + (start - near) / stretch * step)[:, np.newaxis],
        (near_upper + np.clip((end - near) / stretch, 0.0, 1.0) * step)[:, np.newaxis],
        constant,
        slopes[:, :, np.newaxis],
    )
    return rays, row, ratio


def _point_boxes(rays: Prisms, ray: IntArray, load: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Boxes of the colours at single loads on rays."""
    lower = (rays.constant[..., ray] - load * rays.slopes[:, :, 0, ray]).max(axis=0)
    near, far = rays.near[0, ray], rays.far[0, ray]
    along = np.clip((load - near) / np.maximum(far - near, 1e-12), 0.0, 1.0)
    near_upper, far_upper = rays.near_upper[:, 0, ray], rays.far_upper[:, 0, ray]
    floor, ceiling = cielab_f(lower), cielab_f(near_upper + along * (far_upper - near_upper))
    low = np.stack(
        [
            116.0 * floor[1] - 16.0,
            500.0 * (floor[0] - ceiling[1]),
            200.0 * (floor[1] - ceiling[2]),
        ]
    )
    high = np.stack(
        [
            116.0 * ceiling[1] - 16.0,
            500.0 * (ceiling[0] - floor[1]),
            200.0 * (ceiling[1] - floor[2]),
        ]
    )
    return low - SAFETY, high + SAFETY
