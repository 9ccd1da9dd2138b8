"""A walk from a recipe to nearer ones, to have a good recipe early.

It proves nothing: what it finds is one recipe that the rules allow. The search starts from it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from fewtone.model.recipe import Recipe
from fewtone.recipes.evaluate import Evaluator, largest_difference
from fewtone.recipes.lattice import Lattice
from fewtone.recipes.rules import Rules
from fewtone.typing import FloatArray, IntArray

__all__ = ["Descent", "Reached"]

_MOST_STEPS = 40


class Reached(NamedTuple):
    """Where a walk ends.

    Parameters
    ----------
    de00
        ΔE00 to the target.
    parts
        Of each toner, shape ``(n_toners,)``.
    load, ground
        Positions of the load and of the ground.
    """

    de00: float
    parts: IntArray
    load: int
    ground: int


class Descent:
    """Walks from a recipe to better ones, first in film and ground, then in the blend."""

    def __init__(self, evaluators: Sequence[Evaluator], rules: Rules) -> None:
        self.rules, self.evaluators = rules, evaluators
        self.loads = Lattice.of(rules, evaluators[0].curves.strength).load_values
        self.films = np.indices((len(self.loads), len(rules.grounds))).reshape(2, -1)

    def from_recipe(self, start: Recipe) -> Reached:
        """Where the walk from a recipe ends."""
        parts = np.zeros(len(self.rules.toners), dtype=np.int64)
        for name, part in start.blend.items():
            parts[self.rules.toners.index(name)] = int(part)
        best = self._best_film(parts)
        for _ in range(_MOST_STEPS):
            nearby = self._best_blend(best)
            if nearby.de00 >= best.de00:
                break
            best = min(nearby, self._best_film(nearby.parts), key=lambda reached: reached.de00)
        return best

    def _best_film(self, parts: IntArray) -> Reached:
        load, ground = self.films
        rows = np.repeat(parts[np.newaxis], len(load), axis=0)
        de00 = self._differences(rows, load, ground)
        best = int(np.argmin(de00))
        return Reached(float(de00[best]), parts, int(load[best]), int(ground[best]))

    def _best_blend(self, start: Reached) -> Reached:
        blends = self._neighbours(start.parts)
        loads = np.unique(np.clip(start.load + np.array([-1, 0, 1]), 0, len(self.loads) - 1))
        rows, load = np.repeat(blends, len(loads), axis=0), np.tile(loads, len(blends))
        de00 = self._differences(rows, load, np.full(len(rows), start.ground))
        best = int(np.argmin(de00))
        return Reached(float(de00[best]), rows[best], int(load[best]), start.ground)

    def _neighbours(self, parts: IntArray) -> IntArray:
        """Blends one step away: a part more or less, a part moved, a toner exchanged."""
        count = len(parts)
        unit = np.eye(count, dtype=np.int64)
        moves = (unit[:, np.newaxis] - unit[np.newaxis]).reshape(-1, count)
        used = np.flatnonzero(parts)
        exchanges = parts + (parts[used, np.newaxis, np.newaxis]) * (
            unit[np.newaxis] - unit[used][:, np.newaxis]
        )
        fine = 2 * parts
        rows = np.concatenate(
            [
                parts[np.newaxis],
                *(base + step for base in (parts, fine) for step in (unit, -unit, moves)),
                exchanges.reshape(-1, count),
            ]
        )
        toners = (rows > 0).sum(axis=1)
        kept = [self.rules.toners.index(name) for name in self.rules.keep]
        allowed = (
            (rows >= 0).all(axis=1)
            & (rows.max(axis=1) <= self.rules.max_part)
            & (toners >= 1)
            & (toners <= self.rules.max_toners)
            & (rows[:, kept] > 0).all(axis=1)
        )
        allowed[0] = True
        return np.asarray(rows[allowed])

    def _differences(self, parts: IntArray, load: IntArray, ground: IntArray) -> FloatArray:
        every = np.tile(np.arange(parts.shape[1]), (len(parts), 1))
        fractions = self.evaluators[0].fractions(every, parts)
        return largest_difference(self.evaluators, fractions, self.loads[load], ground)
