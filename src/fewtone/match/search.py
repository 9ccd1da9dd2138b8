"""From a target to recipes: sweeps outwards from the target until nothing farther can matter."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from fewtone.match.judging import aims_of, is_single, judge_aims, miss_of
from fewtone.match.picks import Picks
from fewtone.match.result import MatchResult, Proof
from fewtone.model.curves import Curves
from fewtone.model.recipe import Recipe
from fewtone.model.shelf import ShelfSettings
from fewtone.model.target import Target
from fewtone.recipes.evaluate import Aim, Evaluator, evaluators_of, largest_difference
from fewtone.recipes.keys import Candidates
from fewtone.recipes.lattice import Lattice
from fewtone.recipes.rules import Rules, learnt_rules
from fewtone.search.listed import Lists
from fewtone.search.radius import best_first, everything, sweeps_of
from fewtone.search.sweep import BOUNDS
from fewtone.typing import FloatArray, IntArray

__all__ = ["search"]

# The first sweep goes out to this ΔE00 and the tolerance, each next one so many times farther.
_FIRST_REACH, _GROWTH = 1.0, 8.0


def search(
    curves: Curves,
    settings: ShelfSettings,
    target: Target | Sequence[Aim],
    rules: Rules,
    within: float = math.inf,
    lists: Lists | None = None,
) -> MatchResult:
    """Find the simplest, the surest and the closest recipe, and the trade-off between them.

    Parameters
    ----------
    curves, settings
        The learnt shelf.
    target
        What is asked for: one target, or several aims at once. Of several the largest ΔE00 counts;
        chances of passing are then told but decide nothing.
    rules
        What a recipe must keep. Toners and grounds that are not learnt are passed over.
    within
        ΔE00 beyond which recipes do not matter: the closest of those is then not looked for.
    lists
        Lists of lattices that many targets are asked of, kept from one to the next.

    Returns
    -------
    The picks exactly as evaluating every admissible recipe gives them.

    Raises
    ------
    FewtoneError
        No toner or no ground that the rules allow is learnt.
    """
    rules = learnt_rules(curves, rules)
    lattice, aims = Lattice.of(rules, curves.strength), aims_of(target)
    evaluators = evaluators_of(curves, rules, aims)
    by_chance = evaluators[0] if is_single(aims) else None
    picks = Picks.empty(lattice, by_chance, settings, within)
    state = _SearchState(evaluators, lattice, picks, lists)
    state.list_single()
    while (size := state.first_open()) is not None:
        state.sweep(size)
    return answer(curves, settings, aims, state.picks, state.proof())


class _SearchState:
    """Which recipes have been dealt with, and how far out.

    Recipes are dealt with in *classes* of equally many toners and equal sums of parts. For each
    class there is a radius within which its recipes may still matter, given what is known
    (`needed`), and one within which all of them have been seen (`reached`). Sweeps go outwards
    until no class needs more than it has. Every better recipe makes the needed radii smaller, never
    larger, so what was reached stays reached.
    """

    def __init__(
        self,
        evaluators: Sequence[Evaluator],
        lattice: Lattice,
        picks: Picks,
        lists: Lists | None,
    ) -> None:
        # Bounds are those of the first; what they leave is worked out by all.
        self.evaluators, self.evaluator, self.lattice = evaluators, evaluators[0], lattice
        self.picks, self.lists = picks, lists
        self.loads = lattice.load_values
        shape = (lattice.sizes[-1] + 1, lattice.rules.max_part * lattice.sizes[-1] + 1)
        self.blends = np.zeros(shape, dtype=np.int64)
        for size in lattice.sizes:
            sums = lattice.ratios(size).sum(axis=1)
            self.blends[size] = np.bincount(sums, minlength=shape[1])
        self.reached = np.where(self.blends > 0, -1.0, np.inf)
        self.evaluated = np.zeros(shape, dtype=np.int64)
        self.cut = np.zeros((len(BOUNDS), *shape), dtype=np.int64)

    def list_single(self) -> None:
        """Work out every recipe of a single toner: they are few, and no bound is for them."""
        if 1 not in self.lattice.sizes:
            return
        for batch in everything(self.lattice, self.lattice.supports(1)):
            self._list(batch)
        self.reached[1] = np.inf

    def first_open(self) -> int | None:
        """The smallest number of toners of which more must be seen."""
        rows = np.flatnonzero((self.picks.needed() > self.reached).any(axis=1))
        return int(rows[0]) if len(rows) else None

    def sweep(self, size: int) -> None:
        """See recipes of one number of toners farther out."""
        needed, reached = self.picks.needed()[size], self.reached[size]
        still_open = needed > reached
        reach = 1.001 * max(_FIRST_REACH, self.lattice.rules.tolerance)
        if reached[still_open].max() >= reach:
            # Nothing near enough is close by: as far as the best so far, or ever farther.
            known = np.isfinite(needed).any()
            reach = math.inf if known else _GROWTH * reached[still_open].max()
        radius = np.where(still_open, np.minimum(needed, reach), -1.0)
        self.evaluated[size, still_open] = 0
        self.cut[:, size, still_open] = 0
        supports = self.lattice.supports(size)
        for sweep in sweeps_of(self.evaluator, self.lattice, supports, radius, lists=self.lists):
            for candidates in sweep.candidates():
                self._take(candidates, radius)
            self.cut[:, size, still_open] += sweep.cut[:, still_open]
        self.reached[size, still_open] = radius[still_open]

    def proof(self) -> Proof:
        """The proof as it stands: each colour was cut, by one bound, or worked out."""
        seen = self.cut.sum(axis=0) + self.evaluated
        for size in self.lattice.sizes:
            films = self.lattice.count_supports(size) * len(self.loads)
            colours = self.blends[size] * films * len(self.lattice.rules.grounds)
            assert (seen[size] == colours).all(), "what was cut and worked out is not all there is"
        return Proof(
            admissible=self.lattice.admissible,
            colours=self.lattice.colours,
            evaluated=int(self.evaluated.sum()),
            cut=tuple(zip(BOUNDS, self.cut.sum(axis=(1, 2)).tolist(), strict=True)),
            proven=self.first_open() is None,
        )

    def _take(self, candidates: Candidates, radius: FloatArray) -> None:
        """Work out and offer candidates; each better one may lower the radius of their classes."""
        size = candidates.parts.shape[1]
        self.cut[-1, size] += np.bincount(_sum_of(candidates), minlength=len(radius))
        for batch in best_first(self.evaluators, self.loads, candidates, radius, _sum_of):
            self.cut[-1, size] -= np.bincount(_sum_of(batch), minlength=len(radius))
            self._offer(batch, batch.de00)
            np.minimum(radius, self.picks.needed()[size], out=radius)

    def _list(self, batch: Candidates) -> None:
        """Work out a batch of `everything`: what a film does by itself once for all grounds."""
        grounds = np.arange(len(self.lattice.rules.grounds))
        films = batch.where(slice(None, None, len(grounds)))
        fractions = self.evaluator.fractions(films.support, films.parts)[:, np.newaxis]
        loads = self.loads[films.load][:, np.newaxis]
        self._offer(
            batch, largest_difference(self.evaluators, fractions, loads, grounds).reshape(-1)
        )

    def _offer(self, batch: Candidates, de00: FloatArray) -> None:
        """Count what was worked out, and take it into account."""
        self.evaluated[batch.parts.shape[1]] += np.bincount(
            batch.parts.sum(axis=1), minlength=self.evaluated.shape[1]
        )
        self.picks.offer(batch._replace(de00=de00))


def _sum_of(candidates: Candidates) -> IntArray:
    return np.asarray(candidates.parts.sum(axis=1))


def answer(
    curves: Curves,
    settings: ShelfSettings,
    aims: Sequence[Aim],
    picks: Picks,
    proof: Proof,
) -> MatchResult:
    """Turn the picks into an answer, with the miss if nothing is within tolerance."""
    rules, trade_off = picks.lattice.rules, picks.trade_off
    chosen: list[Recipe | None] = [picks.simplest, picks.surest, picks.closest, *trade_off]
    recipes = list(dict.fromkeys(recipe for recipe in chosen if recipe is not None))
    judged = judge_aims(curves, settings, recipes, aims, rules.tolerance)
    matches = dict(zip(recipes, judged, strict=True))
    simplest, surest, closest = (None if r is None else matches[r] for r in chosen[:3])
    assert closest is not None
    return MatchResult(
        simplest=simplest,
        surest=surest,
        closest=closest,
        recipes=tuple(matches[recipe] for recipe in trade_off[: rules.top]),
        tolerance=rules.tolerance,
        miss=miss_of(closest, aims) if simplest is None else None,
        proof=proof,
    )
