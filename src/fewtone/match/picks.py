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
from typing import NamedTuple, TypeAlias

import numpy as np

from fewtone.match.lattice import Lattice
from fewtone.model.recipe import Recipe
from fewtone.typing import BoolArray, FloatArray, IntArray

__all__ = ["CLOSE", "Candidates", "Picks"]

# Below what an instrument repeats: recipes this near to the closest count as equally close.
CLOSE = 0.05


class Candidates(NamedTuple):
    """Evaluated points of the lattice, all with equally many toners.

    support, parts ``(n, size)``; load, ground (positions) and de00 ``(n,)``.
    """

    support: IntArray
    parts: IntArray
    load: IntArray
    ground: IntArray
    de00: FloatArray

    def where(self, chosen: BoolArray | IntArray) -> Candidates:
        """Some of them."""
        return Candidates(
            self.support[chosen],
            self.parts[chosen],
            self.load[chosen],
            self.ground[chosen],
            self.de00[chosen],
        )


# What stands after the rank in the key, with the recipe itself.
_Holder: TypeAlias = tuple[float, int, str, Recipe]


@dataclass(slots=True, eq=False)
class Picks:
    """Keeps the best of what has streamed past; `offer` feeds it."""

    lattice: Lattice
    least: FloatArray  # least ΔE00 of each rank
    holders: dict[int, _Holder]  # by rank
    even_order: tuple[float, int, int, float, int, str] | None = None
    evenest: Recipe | None = None

    @classmethod
    def empty(cls, lattice: Lattice) -> Picks:
        """Nothing seen yet."""
        return cls(lattice, np.full(_ranks(lattice), np.inf), {})

    def rank(self, size: int, parts_sum: IntArray, way: IntArray) -> IntArray:
        """Rank of recipes of `size` toners; way is (letdown position, coats), ``(n, 2)``."""
        rules = self.lattice.rules
        span = rules.coats[1] - rules.coats[0] + 1
        group = size * _sums(self.lattice) + parts_sum
        return (group * len(rules.medium_parts) + way[:, 0]) * span + way[:, 1] - rules.coats[0]

    def offer(self, found: Candidates) -> None:
        """Take candidates into account for simplest, closest and the trade-off."""
        if not len(found.de00):
            return
        ways = np.array([load.simplest for load in self.lattice.loads])
        size, sums = found.parts.shape[1], found.parts.sum(axis=1)
        rank = self.rank(size, sums, ways[found.load])
        promising = np.flatnonzero(found.de00 <= self.least[rank])
        order = promising[
            np.lexsort((found.ground[promising], found.de00[promising], rank[promising]))
        ]
        sorted_rank, starts = np.unique(rank[order], return_index=True)
        for place, start in zip(sorted_rank.tolist(), starts.tolist(), strict=True):
            first = order[start]
            best: _Holder | None = self.holders.get(place)
            # Equal in ΔE00 and ground: the recipe line decides.
            for row in order[start:]:
                if (
                    rank[row] != place
                    or found.de00[row] != found.de00[first]
                    or found.ground[row] != found.ground[first]
                ):
                    break
                best = self._better(best, found, int(row))
            if best is not None:
                self.holders[place] = best
                self.least[place] = best[0]

    def _better(self, best: _Holder | None, found: Candidates, row: int) -> _Holder:
        order = (float(found.de00[row]), int(found.ground[row]))
        if best is not None and best[:2] < order:
            return best
        way = self.lattice.loads[found.load[row]].simplest
        recipe = self.lattice.recipe(found.support[row], found.parts[row], way, order[1])
        holder = (*order, str(recipe), recipe)
        return holder if best is None or holder[:3] < best[:3] else best

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

        Simplest first, no more than the rules' `top`.
        """
        kept: list[Recipe] = []
        nearest = np.inf
        groups = self.least.reshape(-1, self._ranks_per_group)
        for group in np.flatnonzero(groups.min(axis=1) < np.inf):
            first = int(np.argmin(groups[group]))  # the least rank of those that tie
            if groups[group, first] < nearest:
                nearest = groups[group, first]
                kept.append(self.holders[int(group) * self._ranks_per_group + first][3])
        return tuple(kept[: self.lattice.rules.top])

    @property
    def _ranks_per_group(self) -> int:
        rules = self.lattice.rules
        return len(rules.medium_parts) * (rules.coats[1] - rules.coats[0] + 1)

    def _first_within(self, limit: float) -> Recipe | None:
        within = np.flatnonzero(self.least <= limit)
        return self.holders[int(within[0])][3] if len(within) else None


def _sums(lattice: Lattice) -> int:
    """How many sums of parts there may be, 0 among them."""
    return lattice.rules.max_part * lattice.sizes[-1] + 1


def _ranks(lattice: Lattice) -> int:
    rules = lattice.rules
    groups = (lattice.sizes[-1] + 1) * _sums(lattice)
    return groups * len(rules.medium_parts) * (rules.coats[1] - rules.coats[0] + 1)
