"""The picks and the trade-off, kept while candidates stream past; memory stays flat.

The *key* of a recipe is (number of toners, sum of parts, position of the letdown, coats, ΔE00,
position of the ground, recipe line). Its first four are whole numbers of small range: together
they are the recipe's *rank*. Within a rank the key's order is (ΔE00, ground, line), so the least
of each rank is all that needs to be kept:

simplest   within tolerance, least key: the first rank whose least ΔE00 is within tolerance.
closest    least key among those within 0.05 of the least ΔE00 there is: the first rank whose
           least ΔE00 is.
trade-off  for each (number of toners, sum of parts) the least ΔE00, ties by key: the first of its
           ranks that has it; kept only if no simpler one is as close.

A colour's other ways to be sprayed have the same ΔE00 and a larger rank: for these three only its
simplest way counts. The fourth has an order of its own:

evenest    within tolerance, least unevenness, then more coats, then key.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from fewtone.match.lattice import Lattice
from fewtone.model.recipe import Recipe
from fewtone.typing import BoolArray, FloatArray, IntArray

__all__ = ["CLOSE", "Candidates", "Picks"]

# Below what an instrument repeats: recipes this near to the closest count as equally close.
CLOSE = 0.05
# More than rounding to 1e-6 moves a ΔE00.
_ROUNDING = 1e-6


class Candidates(NamedTuple):
    """Evaluated points of the lattice, all with equally many toners.

    support, parts ``(n, size)``; load, ground (positions) and de00 ``(n,)``.
    """

    support: IntArray
    parts: IntArray
    load: IntArray
    ground: IntArray
    de00: FloatArray

    def where(self, chosen: BoolArray | IntArray | slice) -> Candidates:
        """Some of them."""
        return Candidates(
            self.support[chosen],
            self.parts[chosen],
            self.load[chosen],
            self.ground[chosen],
            self.de00[chosen] if len(self.de00) else self.de00,
        )


@dataclass(slots=True, eq=False)
class Picks:
    """Keeps the best of what has streamed past; `offer` feeds it.

    Parameters
    ----------
    lattice
        The admissible recipes.
    least, ground, support, parts
        Least ΔE00 of each rank, and where on the lattice it is.
    """

    lattice: Lattice
    least: FloatArray
    ground: IntArray
    support: IntArray
    parts: IntArray
    even_order: tuple[float, int, int, float, int, str] | None = None
    evenest: Recipe | None = None

    @classmethod
    def empty(cls, lattice: Lattice) -> Picks:
        """Nothing seen yet."""
        ranks, most = _ranks(lattice), lattice.sizes[-1]
        return cls(
            lattice,
            np.full(ranks, np.inf),
            np.zeros(ranks, dtype=np.int64),
            np.zeros((ranks, most), dtype=np.int64),
            np.zeros((ranks, most), dtype=np.int64),
        )

    def rank(self, size: int, parts_sum: IntArray, way: IntArray) -> IntArray:
        """Rank of recipes of `size` toners; way is (letdown position, coats), ``(n, 2)``."""
        rules = self.lattice.rules
        span = rules.coats[1] - rules.coats[0] + 1
        group = size * _sums(self.lattice) + parts_sum
        return (group * len(rules.medium_parts) + way[:, 0]) * span + way[:, 1] - rules.coats[0]

    def offer(self, found: Candidates) -> None:
        """Take candidates into account for simplest, closest and the trade-off."""
        ways = np.array([load.simplest for load in self.lattice.loads])
        size, sums = found.parts.shape[1], found.parts.sum(axis=1)
        rank = self.rank(size, sums, ways[found.load])
        promising = np.flatnonzero(found.de00 <= self.least[rank])
        order = promising[
            np.lexsort((found.ground[promising], found.de00[promising], rank[promising]))
        ]
        place, start = np.unique(rank[order], return_index=True)
        first = order[start]
        head = order[np.repeat(start, np.diff(start, append=len(order)))]
        level = (found.de00[order] == found.de00[head]) & (
            found.ground[order] == found.ground[head]
        )
        # Equal in ΔE00 and ground, to each other or to the one before: the recipe line decides.
        same = found.de00[first] == self.least[place]
        again = same & (found.ground[first] == self.ground[place])
        tied = level & (order != head)
        tied |= np.isin(head, first[again]) & level
        better = ~again & (~same | (found.ground[first] < self.ground[place]))
        for here, row in zip(place[better].tolist(), first[better].tolist(), strict=True):
            self._put(here, found, row)
        for row in order[tied].tolist():
            here = int(rank[row])
            if (found.de00[row], found.ground[row]) == (self.least[here], self.ground[here]):
                way = self.lattice.loads[found.load[row]].simplest
                line = str(self._recipe(found.support[row], found.parts[row], way, here))
                if line < str(self._holder(here)):
                    self._put(here, found, row)

    def _put(self, rank: int, found: Candidates, row: int) -> None:
        size = found.parts.shape[1]
        self.least[rank], self.ground[rank] = found.de00[row], found.ground[row]
        self.support[rank, :size], self.parts[rank, :size] = found.support[row], found.parts[row]

    def _holder(self, rank: int) -> Recipe:
        """The recipe that holds a rank."""
        rules = self.lattice.rules
        span = rules.coats[1] - rules.coats[0] + 1
        rest, coats = divmod(rank, span)
        group, position = divmod(rest, len(rules.medium_parts))
        size = group // _sums(self.lattice)
        way = (position, coats + rules.coats[0])
        return self._recipe(self.support[rank, :size], self.parts[rank, :size], way, rank)

    def _recipe(
        self, support: IntArray, parts: IntArray, way: tuple[int, int], rank: int
    ) -> Recipe:
        return self.lattice.recipe(support, parts, way, int(self.ground[rank]))

    def offer_even(self, found: Candidates, unevenness: FloatArray) -> None:
        """Take candidates within tolerance into account for evenest."""
        if not len(found.de00):
            return
        ways = np.array([load.most_coats for load in self.lattice.loads])[found.load]
        rank = self.rank(found.parts.shape[1], found.parts.sum(axis=1), ways)
        columns = (unevenness, -ways[:, 1], rank, found.de00, found.ground)
        order = np.lexsort(columns[::-1])
        first = order[0]
        for row in order:
            if any(column[row] != column[first] for column in columns):
                break
            head = (
                float(unevenness[row]),
                int(-ways[row, 1]),
                int(rank[row]),
                float(found.de00[row]),
                int(found.ground[row]),
            )
            if self.even_order is not None and self.even_order[:5] < head:
                break
            place = self.lattice.loads[found.load[row]].most_coats
            recipe = self.lattice.recipe(
                found.support[row], found.parts[row], place, int(found.ground[row])
            )
            full = (*head, str(recipe))
            if self.even_order is None or full < self.even_order:
                self.even_order, self.evenest = full, recipe

    def may_be_evenest(self, found: Candidates) -> BoolArray:
        """Whether a candidate is within tolerance and no other pick's order rules it out."""
        within = np.asarray(found.de00 <= self.lattice.rules.tolerance)
        if self.even_order is None or self.even_order[0] > 0.0:
            return within
        # Unevenness cannot fall below 0.00: only more coats, or a lesser key, gain now.
        ways = np.array([load.most_coats for load in self.lattice.loads])[found.load]
        rank = self.rank(found.parts.shape[1], found.parts.sum(axis=1), ways)
        order = (-ways[:, 1], rank)
        best = self.even_order[1:3]
        gains = (order[0] < best[0]) | ((order[0] == best[0]) & (order[1] <= best[1]))
        return np.asarray(within & gains)

    def needed(self) -> FloatArray:
        """The ΔE00 within which recipes of a class may still change an answer.

        Classes are (number of toners, sum of parts), as rows and columns.

        Simplest     within tolerance, up to the class of the simplest so far.
        Evenest      within tolerance, unless it is already as even and as many-coated as can be:
                     then up to its class.
        Closest      within `CLOSE` of the least ΔE00 up to the class of the closest so far; beyond
                     that only nearer ones than the nearest, which the trade-off needs anyway.
        Trade-off    as near as the nearest of this and all simpler classes.
        """
        rules = self.lattice.rules
        groups = self.least.reshape(-1, self._ranks_per_group).min(axis=1)
        nearest = np.minimum.accumulate(groups)
        place = np.arange(len(groups))
        needed = np.where(
            place <= self._group_within(round(float(groups.min()) + CLOSE, 6)),
            groups.min() + CLOSE,
            nearest,
        )
        needed = np.maximum(needed, nearest)
        last = self._group_within(rules.tolerance)
        if self.even_order is not None:
            done = self.even_order[0] == 0.0 and -self.even_order[1] == rules.coats[1]
            last = max(last, self.even_order[2] // self._ranks_per_group) if done else len(groups)
        needed = np.where(place <= last, np.maximum(needed, rules.tolerance), needed)
        # ΔE00 is rounded before it is compared.
        return (needed + _ROUNDING).reshape(-1, _sums(self.lattice))

    def _group_within(self, limit: float) -> int:
        """The first class with a recipe within a limit; one past the last if there is none."""
        within = np.flatnonzero(self.least <= limit)
        return int(within[0]) // self._ranks_per_group if len(within) else len(self.least)

    @property
    def simplest(self) -> Recipe | None:
        """Within tolerance, least key; None if nothing is within tolerance."""
        return self._first_within(self.lattice.rules.tolerance)

    @property
    def closest(self) -> Recipe:
        """Least key among those within `CLOSE` of the least ΔE00."""
        recipe = self._first_within(round(float(self.least.min()) + CLOSE, 6))
        if recipe is None:
            raise ValueError("no candidate was offered")
        return recipe

    @property
    def trade_off(self) -> tuple[Recipe, ...]:
        """For each number of toners and sum of parts the closest, while it gains on simpler ones.

        Simplest first; all of it, also beyond the rules' `top`.
        """
        kept: list[Recipe] = []
        nearest = np.inf
        groups = self.least.reshape(-1, self._ranks_per_group)
        for group in np.flatnonzero(groups.min(axis=1) < np.inf):
            first = int(np.argmin(groups[group]))  # the least rank of those that tie
            if groups[group, first] < nearest:
                nearest = groups[group, first]
                kept.append(self._holder(int(group) * self._ranks_per_group + first))
        return tuple(kept)

    @property
    def _ranks_per_group(self) -> int:
        rules = self.lattice.rules
        return len(rules.medium_parts) * (rules.coats[1] - rules.coats[0] + 1)

    def _first_within(self, limit: float) -> Recipe | None:
        within = np.flatnonzero(self.least <= limit)
        return self._holder(int(within[0])) if len(within) else None


def _sums(lattice: Lattice) -> int:
    """How many sums of parts there may be, 0 among them."""
    return lattice.rules.max_part * lattice.sizes[-1] + 1


def _ranks(lattice: Lattice) -> int:
    rules = lattice.rules
    groups = (lattice.sizes[-1] + 1) * _sums(lattice)
    return groups * len(rules.medium_parts) * (rules.coats[1] - rules.coats[0] + 1)
