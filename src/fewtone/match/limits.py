"""Which rule stands in the way when nothing is within tolerance.

Each rule is loosened by itself: a coat fewer and two more, a stronger and a weaker letdown, every
ground, every toner, larger parts, one more toner. A descent from the best recipes that the rules
allow then looks for a better one that the loosened rule allows. What it finds is a recipe, so a
limit is named on evidence: with this rule loosened, that recipe is nearer by a clear margin. A
descent may overlook one; then the shelf is named, as it is when there is none.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from decimal import Decimal

import numpy as np

from fewtone.match.evaluate import Evaluator, evaluator_of
from fewtone.match.lattice import Lattice
from fewtone.match.rules import Rules
from fewtone.model.recipe import Recipe, exact_number
from fewtone.typing import FloatArray, IntArray

__all__ = ["limits_of"]

# A loosened rule is named when it takes away this share of the miss, and at least this ΔE00: less
# would hardly be seen on a panel.
_CLEAR_SHARE, _CLEAR_GAIN = 0.1, 0.2
_MOST_STEPS = 40


def limits_of(
    evaluator: Evaluator, rules: Rules, starts: Sequence[Recipe], least: float
) -> tuple[str, ...]:
    """Name the rules that stand in the way, the most helpful first; ``shelf`` if none does.

    Parameters
    ----------
    evaluator
        The learnt shelf and the target.
    rules
        The rules that were kept.
    starts
        Recipes to start from, the closest among them.
    least
        Least ΔE00 under the rules.
    """
    needed = max(_CLEAR_GAIN, _CLEAR_SHARE * least)
    found = []
    for name, loosened in _loosened(evaluator, rules):
        descent = _Descent(evaluator, loosened)
        reached = min(descent.reach(start) for start in starts)
        if least - reached >= needed:
            found.append((reached, name))
    return tuple(name for _, name in sorted(found)) or ("shelf",)


def _loosened(evaluator: Evaluator, rules: Rules) -> Iterator[tuple[str, Rules]]:
    curves = evaluator.curves
    fewest, most = rules.coats
    yield "coats", replace(rules, coats=(max(1, fewest - 1), most + 2))
    stronger = exact_number(round(Decimal(min(rules.medium_parts)) * 2 / 3, 2))
    weaker = exact_number(round(Decimal(max(rules.medium_parts)) * 3 / 2, 2))
    yield "letdown", replace(rules, medium_parts=(*rules.medium_parts, stronger, weaker))
    if len(rules.grounds) < len(curves.grounds):
        yield "ground", replace(rules, grounds=curves.grounds)
    if len(rules.toners) < len(curves.toners):
        yield "toners", replace(rules, toners=curves.toners)
    yield "max-part", replace(rules, max_part=2 * rules.max_part)
    if rules.max_toners < len(rules.toners):
        yield "max-toners", replace(rules, max_toners=rules.max_toners + 1)


class _Descent:
    """Walks from a recipe to better ones, first in film and ground, then in the blend."""

    def __init__(self, evaluator: Evaluator, rules: Rules) -> None:
        self.rules = rules
        self.evaluator = evaluator_of(evaluator.curves, rules, evaluator.target, evaluator.light)
        self.loads = Lattice.of(rules).load_values
        self.films = np.indices((len(self.loads), len(rules.grounds))).reshape(2, -1)

    def reach(self, start: Recipe) -> float:
        """Least ΔE00 that the walk comes to."""
        parts = np.zeros(len(self.rules.toners), dtype=np.int64)
        for name, part in start.blend.items():
            parts[self.rules.toners.index(name)] = int(part)
        least = np.inf
        for _ in range(_MOST_STEPS):
            reached, (load, ground) = self._best_film(parts)
            nearby, parts_nearby = self._best_blend(parts, load, ground)
            if nearby < reached:
                reached, parts = nearby, parts_nearby
            if reached >= least:
                break
            least = reached
        return float(least)

    def _best_film(self, parts: IntArray) -> tuple[float, tuple[int, int]]:
        load, ground = self.films
        rows = np.repeat(parts[np.newaxis], len(load), axis=0)
        de00 = self._differences(rows, load, ground)
        best = int(np.argmin(de00))
        return float(de00[best]), (int(load[best]), int(ground[best]))

    def _best_blend(self, parts: IntArray, load: int, ground: int) -> tuple[float, IntArray]:
        blends = self._neighbours(parts)
        loads = np.clip(load + np.array([-1, 0, 1]), 0, len(self.loads) - 1)
        rows = np.repeat(blends, len(loads), axis=0)
        de00 = self._differences(rows, np.tile(loads, len(blends)), np.full(len(rows), ground))
        best = int(np.argmin(de00))
        return float(de00[best]), rows[best]

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
        fractions = self.evaluator.fractions(every, parts)
        lab = self.evaluator.lab(fractions, self.loads[load], ground)
        return self.evaluator.difference(lab)
