"""The picks and the trade-off, kept while candidates stream past; memory stays flat.

Recipes are ordered by their key (`fewtone.recipes.keys`). Within a rank the key's order is (ΔE00,
ground, line), so by ΔE00 the least of each rank is all that needs to be kept:

closest    least key among those within 0.05 of the least ΔE00 there is: the first rank whose
           least ΔE00 is.

Where learning knows how sure it is, chances of passing decide all else among recipes within
tolerance (`fewtone.match.passing`). Where it does not, or nothing is within tolerance, ΔE00 does:

simplest   within tolerance, least key: the first rank whose least ΔE00 is within tolerance.
trade-off  for each class (number of toners, sum of parts) the least ΔE00, ties by key: the first of
           its ranks that has it; kept only if no simpler one is as close.

A colour's other ways to be sprayed have the same ΔE00 and a larger rank: for these its simplest way
alone counts.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fewtone.match.passing import Passing
from fewtone.model.recipe import Recipe
from fewtone.model.shelf import ShelfSettings
from fewtone.recipes.evaluate import ROUNDING, Evaluator
from fewtone.recipes.keys import Candidates, Ranks
from fewtone.recipes.lattice import Lattice
from fewtone.typing import FloatArray, IntArray

__all__ = ["CLOSE", "Picks"]

# Below what an instrument repeats: recipes this near to the closest count as equally close.
CLOSE = 0.05


@dataclass(slots=True, eq=False)
class Picks:
    """Keeps the best of what has streamed past; `offer` feeds it.

    Parameters
    ----------
    lattice
        The admissible recipes.
    ranks
        Their ranks.
    least, ground, support, parts
        Least ΔE00 of each rank, and where on the lattice it is.
    passing
        Recipes within tolerance by their chance; None where learning carries no uncertainty.
    within
        ΔE00 beyond which recipes are of no interest.
    """

    lattice: Lattice
    ranks: Ranks
    least: FloatArray
    ground: IntArray
    support: IntArray
    parts: IntArray
    passing: Passing | None = None
    within: float = np.inf

    @classmethod
    def empty(
        cls,
        lattice: Lattice,
        evaluator: Evaluator | None = None,
        settings: ShelfSettings | None = None,
        within: float = np.inf,
    ) -> Picks:
        """Nothing seen yet.

        Parameters
        ----------
        lattice
            The admissible recipes.
        evaluator, settings
            By which chances of passing are worked out; by ΔE00 alone if either is None.
        within
            ΔE00 beyond which recipes are of no interest.
        """
        ranks, most = Ranks(lattice), lattice.sizes[-1]
        passing = None
        if evaluator and settings and evaluator.curves.uncertainty:
            passing = Passing(lattice, evaluator, settings)
        return cls(
            lattice,
            ranks,
            np.full(ranks.count, np.inf),
            np.zeros(ranks.count, dtype=np.int64),
            np.zeros((ranks.count, most), dtype=np.int64),
            np.zeros((ranks.count, most), dtype=np.int64),
            passing,
            within,
        )

    def offer(self, candidates: Candidates) -> None:
        """Take candidates into account."""
        if self.passing is not None:
            self.passing.offer(candidates)
        ways = np.array([load.simplest for load in self.lattice.loads])
        size, sums = candidates.parts.shape[1], candidates.parts.sum(axis=1)
        rank = self.ranks.of(size, sums, ways[candidates.load])
        promising = np.flatnonzero(candidates.de00 <= self.least[rank])
        order = promising[
            np.lexsort((candidates.ground[promising], candidates.de00[promising], rank[promising]))
        ]
        ranks_met, start = np.unique(rank[order], return_index=True)
        first = order[start]
        head = order[np.repeat(start, np.diff(start, append=len(order)))]
        level = (candidates.de00[order] == candidates.de00[head]) & (
            candidates.ground[order] == candidates.ground[head]
        )
        # Equal in ΔE00 and ground, to each other or to the one before: the recipe line decides.
        same = candidates.de00[first] == self.least[ranks_met]
        again = same & (candidates.ground[first] == self.ground[ranks_met])
        tied = level & (order != head)
        tied |= np.isin(head, first[again]) & level
        better = ~again & (~same | (candidates.ground[first] < self.ground[ranks_met]))
        for here, row in zip(ranks_met[better].tolist(), first[better].tolist(), strict=True):
            self._put(here, candidates, row)
        for row in order[tied].tolist():
            here = int(rank[row])
            if (candidates.de00[row], candidates.ground[row]) == (
                self.least[here],
                self.ground[here],
            ):
                way = self.lattice.loads[candidates.load[row]].simplest
                line = str(self._recipe(candidates.support[row], candidates.parts[row], way, here))
                if line < str(self._holder(here)):
                    self._put(here, candidates, row)

    def _put(self, rank: int, candidates: Candidates, row: int) -> None:
        size = candidates.parts.shape[1]
        self.least[rank], self.ground[rank] = candidates.de00[row], candidates.ground[row]
        self.support[rank, :size], self.parts[rank, :size] = (
            candidates.support[row],
            candidates.parts[row],
        )

    def _holder(self, rank: int) -> Recipe:
        """The recipe that holds a rank."""
        size, way = self.ranks.size_of(rank), self.ranks.way_of(rank)
        return self._recipe(self.support[rank, :size], self.parts[rank, :size], way, rank)

    def _recipe(
        self, support: IntArray, parts: IntArray, way: tuple[int, int], rank: int
    ) -> Recipe:
        return self.lattice.recipe(support, parts, way, int(self.ground[rank]))

    def needed(self) -> FloatArray:
        """The ΔE00 within which recipes of a class may still change an answer.

        Classes are (number of toners, sum of parts), as rows and columns.

        Closest      within `CLOSE` of the least ΔE00 up to the class of the closest so far; beyond
                     that only nearer ones than the nearest.
        By chance    within tolerance, unless one passes as good as certainly: then up to its class.
        By ΔE00      simplest: within tolerance, up to the class of the simplest so far; trade-off:
                     as near as the nearest of this and all simpler classes.

        Returns
        -------
        ΔE00, shape ``(n_sizes + 1, n_sums)``.
        """
        rules = self.lattice.rules
        groups = self.least.reshape(-1, self.ranks.per_class).min(axis=1)
        position, least = np.arange(len(groups)), groups.min()
        close = position <= self._class_within(round(float(least) + CLOSE, 6))
        needed = np.where(close, least + CLOSE, least)
        if self.passing is not None and self.passing.front:
            last = self.passing.last_class()
            within = position <= (len(groups) if last is None else last)
        else:
            needed = np.maximum(needed, np.minimum.accumulate(groups))
            within = position <= self._class_within(rules.tolerance)
        needed = np.where(within, np.maximum(needed, rules.tolerance), needed)
        # ΔE00 is rounded before it is compared.
        needed = np.minimum(needed, self.within + CLOSE) + ROUNDING
        return np.asarray(needed.reshape(-1, self.ranks.sums))

    def _class_within(self, limit: float) -> int:
        """The first class with a recipe within a limit; one past the last if there is none."""
        within = np.flatnonzero(self.least <= limit)
        return self.ranks.class_of(int(within[0])) if len(within) else len(self.least)

    @property
    def simplest(self) -> Recipe | None:
        """Least key within tolerance of a chance that is good enough; None if there is none."""
        if self.passing is not None:
            return self.passing.simplest
        return self._first_within(self.lattice.rules.tolerance)

    @property
    def surest(self) -> Recipe | None:
        """The greatest chance within tolerance; None if there is none, or no chance is known."""
        return None if self.passing is None else self.passing.surest

    @property
    def closest(self) -> Recipe:
        """Least key among those within `CLOSE` of the least ΔE00.

        Raises
        ------
        ValueError
            No candidate was offered.
        """
        recipe = self._first_within(round(float(self.least.min()) + CLOSE, 6))
        if recipe is None:
            raise ValueError("no candidate was offered")
        return recipe

    @property
    def trade_off(self) -> tuple[Recipe, ...]:
        """For each class the best, while it gains on simpler ones: by chance, else by ΔE00.

        Simplest first; all of it, also beyond the rules' `top`.
        """
        if self.passing is not None and self.passing.front:
            return self.passing.trade_off
        kept: list[Recipe] = []
        nearest = np.inf
        groups = self.least.reshape(-1, self.ranks.per_class)
        for group in np.flatnonzero(groups.min(axis=1) < np.inf):
            first = int(np.argmin(groups[group]))  # the least rank of those that tie
            if groups[group, first] < nearest:
                nearest = groups[group, first]
                kept.append(self._holder(int(group) * self.ranks.per_class + first))
        return tuple(kept)

    def _first_within(self, limit: float) -> Recipe | None:
        within = np.flatnonzero(self.least <= limit)
        return self._holder(int(within[0])) if len(within) else None
