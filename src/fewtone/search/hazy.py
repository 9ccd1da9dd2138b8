"""One sweep over all recipes with a toner that scatters, within a radius of the target.

Where light scatters, neither need a film darken as it thickens nor need logarithms be convex, and
no plane is for such films (`fewtone.search.sweep`). Instead ends of X, Y and Z of every film are
read off tables (`fewtone.search.bounds.haze`): first over groups of loads of a blend over a ground,
then over the films of groups that may hold a colour within the radius, one by one. What is left is
worked out.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from fewtone.recipes.keys import Candidates
from fewtone.recipes.lattice import Lattice
from fewtone.search.bounds.delta_e import de00_lower_bound
from fewtone.search.bounds.haze import HazeRanges, HazeTable
from fewtone.search.bounds.slices import Slice, lab_box, may_contain, slices_of
from fewtone.search.sweep import BOUNDS, wanted_kinds
from fewtone.typing import BoolArray, FloatArray, IntArray

__all__ = ["HazySweep"]

# Groups, and films, whose ends are read off at once: they then stay within the processor's cache.
_GROUPS, _FILMS = 4096, 8192
_LOADS, _COLOURS = BOUNDS.index("loads"), BOUNDS.index("colours")


class HazySweep:
    """A sweep over recipes of equally many toners, some of which scatter.

    Parameters
    ----------
    ranges
        The tables.
    lattice, supports, target, radius, kinds
        As `fewtone.search.sweep.Sweep` takes them.

    Attributes
    ----------
    cut
        How many colours each of `BOUNDS` cut, by kind, shape ``(n_bounds, n_kinds)``.
    """

    def __init__(
        self,
        ranges: HazeRanges,
        lattice: Lattice,
        supports: IntArray,
        target: FloatArray,
        radius: FloatArray,
        kinds: IntArray | None = None,
    ) -> None:
        self.ranges, self.supports, self.target, self.radius = ranges, supports, target, radius
        self.ratios, self.kinds = wanted_kinds(lattice, supports.shape[1], radius, kinds)
        self.n_loads = len(lattice.loads)
        self.cut = np.zeros((len(BOUNDS), len(radius)), dtype=np.int64)

    def candidates(self) -> Iterator[Candidates]:
        """What may be within the radius."""
        radius = float(self.radius.max())
        slices = slices_of(self.target, radius)
        blends = len(self.supports) * len(self.ratios)
        step = max(1, _GROUPS // len(self.ranges.starts))
        for block in self.ranges.blocks:
            table = self.ranges.table(block)
            for start in range(0, blends, step):
                blend_numbers = np.arange(start, min(blends, start + step))
                yield from self._blends(table, slices, *np.divmod(blend_numbers, len(self.ratios)))

    def _blends(
        self, table: HazeTable, slices: tuple[Slice, ...], support: IntArray, ratio: IntArray
    ) -> Iterator[Candidates]:
        """What may be within the radius of some blends over the table's grounds."""
        ranges = self.ranges
        toners, parts = self.supports[support], self.ratios[ratio]
        shares = parts / parts.sum(axis=1, keepdims=True)
        row, depth = ranges.first_cells(
            (
                (shares[:, np.newaxis] @ ranges.absorption[toners])[:, 0],
                (shares[:, np.newaxis] @ ranges.scattering[toners])[:, 0],
            )
        )
        first = ranges.log_loads[ranges.starts]
        n_groups, n_grounds = len(first), len(table.grounds)
        cells = ranges.cells(
            row[:, np.newaxis], depth[:, np.newaxis], first[:, np.newaxis]
        ).reshape(-1, row.shape[1])
        low, high = (end.reshape(-1, 5) for end in table.over_groups(cells))
        near = np.flatnonzero(_touched(slices, low, high))
        group, ground = np.divmod(near, n_grounds)
        blend, group = np.divmod(group, n_groups)
        count = np.diff(ranges.starts, append=self.n_loads)
        self.cut[_LOADS] += n_grounds * self._counted(self.kinds[ratio])
        left = count[group]
        # Groups become films.
        load = np.arange(left.sum()) - np.repeat(np.cumsum(left) - left, left)
        load += np.repeat(ranges.starts[group], left)
        blend, ground = np.repeat(blend, left), np.repeat(ground, left)
        kinds = self.kinds[ratio[blend], load]
        self.cut[_LOADS] -= self._counted(kinds)
        wanted = self.radius[kinds] >= 0.0
        load, blend, ground, kinds = load[wanted], blend[wanted], ground[wanted], kinds[wanted]
        for start in range(0, len(load), _FILMS):
            some = slice(start, start + _FILMS)
            blends, film, over = blend[some], load[some], ground[some]
            cells = ranges.cells(row[blends], depth[blends], ranges.log_loads[film][:, np.newaxis])
            low, high = table.over_films(cells, over)
            near, kind = np.flatnonzero(_touched(slices, low, high)), kinds[some]
            bound = de00_lower_bound(*lab_box(low[near], high[near]), self.target)
            closer = bound <= self.radius[kind[near]]
            near, bound = near[closer], bound[closer]
            self.cut[_COLOURS] += self._counted(kind) - self._counted(kind[near])
            yield Candidates(
                toners[blends[near]],
                parts[blends[near]],
                film[near],
                table.grounds[over[near]],
                bound,
            )

    def _counted(self, kinds: IntArray) -> IntArray:
        return np.bincount(kinds.reshape(-1), minlength=len(self.radius))


def _touched(slices: tuple[Slice, ...], low: FloatArray, high: FloatArray) -> BoolArray:
    """Which boxes, ends as `lab_box` takes them, may hold a colour of any of the slices."""
    return np.asarray(np.any([may_contain(part, low, high) for part in slices], axis=0))
