"""Recipes within tolerance by their chance of passing, kept while candidates stream past.

Chances are whole hundredths. A recipe matters only if its chance is above that of every recipe of
lesser key: another with a chance as good and a lesser key takes its place as surest (ties by key),
as simplest (least key of a chance that is good enough) and in the trade-off (kept only if no
simpler one is as good). What matters is therefore one *front*, along which key and chance rise
together; it never holds more than 101 recipes, and all three answers are read off it:

surest     its last.
simplest   its first with at least nine tenths of the surest's chance.
trade-off  the last of each class (number of toners, sum of parts).

Unlike the colour, the chance knows letdown and coats apart: of a load every way to spray it counts.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from fewtone.model.recipe import Recipe
from fewtone.model.shelf import ShelfSettings
from fewtone.prediction.pass_probability import PassProbability
from fewtone.recipes.evaluate import Evaluator
from fewtone.recipes.keys import Candidates, Ranks
from fewtone.recipes.lattice import Lattice
from fewtone.typing import BoolArray, FloatArray, IntArray

__all__ = ["Passer", "Passing"]

CERTAIN = 100
# The simplest has at least so much of the surest's chance. Calibrated in the simulated booth: whole
# jobs took .53 panels beyond the floor with 3/4, .44 with .85, .39 with .9 and .46 with .95 (160
# jobs, ± .10 each): from .9 on toners buy no panels any more.
_SHARE = (9, 10)
# Ways whose chances are worked out before the front is looked at anew.
_BLOCK = 512


class Passer(NamedTuple):
    """One recipe of the front; its first four fields are its key.

    Parameters
    ----------
    rank, de00, ground, line
        Position by simplicity, ΔE00 to the target, position of the ground, and the recipe's text.
    percent
        Chance to pass, in whole percent.
    recipe
        The recipe.
    """

    rank: int
    de00: float
    ground: int
    line: str
    percent: int
    recipe: Recipe

    @property
    def key(self) -> tuple[int, float, int, str]:
        """The total order."""
        return self[:4]


class Passing:
    """The front of what has streamed past.

    Parameters
    ----------
    lattice
        The admissible recipes.
    evaluator
        The one target and the learnt shelf, whose curves have an uncertainty.
    settings
        How hand, pour and instrument vary.
    """

    def __init__(self, lattice: Lattice, evaluator: Evaluator, settings: ShelfSettings) -> None:
        self._lattice, self._ranks, self._evaluator = lattice, Ranks(lattice), evaluator
        self._chance = PassProbability(
            evaluator.curves, settings, evaluator.targets[0], lattice.rules.tolerance
        )
        self._loads = lattice.load_values
        self._letdowns = np.array([float(m) for m in lattice.rules.medium_parts])
        self._n_ways = np.array([len(load.ways) for load in lattice.loads])
        self._first_way = np.cumsum(self._n_ways) - self._n_ways
        self._ways = np.array([way for load in lattice.loads for way in load.ways])
        self.front: list[Passer] = []

    def offer(self, candidates: Candidates) -> None:
        """Take candidates into account; those beyond tolerance have no say."""
        candidates = candidates.where(
            np.flatnonzero(candidates.de00 <= self._lattice.rules.tolerance)
        )
        count = self._n_ways[candidates.load]
        row = np.repeat(np.arange(len(count)), count)
        after = np.cumsum(count)
        way = np.arange(len(row)) - np.repeat(after - count, count)
        way = self._ways[self._first_way[candidates.load[row]] + way]
        rank = self._ranks.of(candidates.parts.shape[1], candidates.parts[row].sum(axis=1), way)
        order = np.lexsort((candidates.ground[row], candidates.de00[row], rank))
        for start in range(0, len(order), _BLOCK):
            block = order[start : start + _BLOCK]
            block = block[self._beaten(rank[block]) < CERTAIN]
            if len(block):
                self._take(candidates, row[block], way[block], rank[block])

    def last_class(self) -> int | None:
        """The class after which no recipe can change the front; None if there is none yet."""
        if self.front and self.front[-1].percent == CERTAIN:
            return self._ranks.class_of(self.front[-1].rank)
        return None

    @property
    def surest(self) -> Recipe | None:
        """The greatest chance, ties by key; None if nothing is within tolerance."""
        return self.front[-1].recipe if self.front else None

    @property
    def simplest(self) -> Recipe | None:
        """Least key of those whose chance is at least nine tenths of the surest's."""
        part, whole = _SHARE
        enough = (
            p.recipe for p in self.front if whole * p.percent >= part * self.front[-1].percent
        )
        return next(enough, None)

    @property
    def trade_off(self) -> tuple[Recipe, ...]:
        """For each class the greatest chance, while it gains on simpler ones; simplest first."""
        best = {self._ranks.class_of(passer.rank): passer.recipe for passer in self.front}
        return tuple(best.values())

    def _beaten(self, rank: IntArray) -> IntArray:
        """The greatest percent on the front of lesser rank; -1 where there is none."""
        percents = np.array([-1, *(passer.percent for passer in self.front)])
        return percents[np.searchsorted([passer.rank for passer in self.front], rank)]

    def _take(self, candidates: Candidates, row: IntArray, way: IntArray, rank: IntArray) -> None:
        """Work chances out, rows in the order of their keys but for the line, and merge them in."""
        rows, film = np.unique(row, return_inverse=True)
        films = candidates.where(rows)
        doses = self._evaluator.fractions(films.support, films.parts)
        doses *= self._loads[films.load][:, np.newaxis]
        spread = self._chance.spread(doses, self._evaluator.grounds[films.ground])
        coats, letdown = way[:, 1].astype(np.float64), self._letdowns[way[:, 0]]
        chance = self._chance.of(spread, film, coats, letdown)
        percent = np.rint(100.0 * chance).astype(np.int64)
        key = (rank, candidates.de00[row], candidates.ground[row])
        beaten = np.maximum(self._beaten(rank), _greatest_before(percent, key))
        new = [
            self._passer(candidates, int(row[i]), way[i], int(rank[i]), int(percent[i]))
            for i in np.flatnonzero(percent > beaten)
        ]
        if new:
            self._merge(new)

    def _passer(
        self, candidates: Candidates, row: int, way: IntArray, rank: int, percent: int
    ) -> Passer:
        ground = int(candidates.ground[row])
        sprayed = (int(way[0]), int(way[1]))
        recipe = self._lattice.recipe(
            candidates.support[row], candidates.parts[row], sprayed, ground
        )
        return Passer(rank, float(candidates.de00[row]), ground, str(recipe), percent, recipe)

    def _merge(self, new: list[Passer]) -> None:
        front: list[Passer] = []
        for passer in sorted([*self.front, *new], key=lambda passer: passer.key):
            if not front or passer.percent > front[-1].percent:
                front.append(passer)
        self.front = front


def _greatest_before(percent: IntArray, key: tuple[IntArray, FloatArray, IntArray]) -> IntArray:
    """The greatest percent of rows of lesser key, rows being in the key's order; -1 if none."""
    starts: BoolArray = np.ones(len(percent), dtype=np.bool_)
    starts[1:] = np.any([column[1:] != column[:-1] for column in key], axis=0)
    so_far = np.concatenate([[-1], np.maximum.accumulate(percent)])
    first = np.maximum.accumulate(np.where(starts, np.arange(len(percent)), 0))
    return so_far[first]
