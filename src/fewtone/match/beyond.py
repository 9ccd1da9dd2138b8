"""The nearest recipes that looser rules admit beyond what a search has seen: of several at once.

Rules that differ in parts, letdowns and coats share their films: one sweep looks at all of them,
each colour being of the kind that says which of the rules admit it. What the first search has seen
is of no kind. Each of the looser rules needs less the nearer its best recipe is; what no rule needs
any more is cut.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial

import numpy as np

from fewtone.match.judging import aims_of, is_single, judge_aims
from fewtone.match.picks import CLOSE, Picks
from fewtone.match.result import Match
from fewtone.model.curves import Curves
from fewtone.model.shelf import ShelfSettings
from fewtone.model.target import Target
from fewtone.recipes.evaluate import ROUNDING, Aim, evaluators_of
from fewtone.recipes.keys import Candidates
from fewtone.recipes.lattice import Lattice
from fewtone.recipes.rules import Rules, learnt_rules
from fewtone.search.listed import Lists
from fewtone.search.radius import best_first, sweeps_of
from fewtone.typing import FloatArray, IntArray

__all__ = ["nearest_beyond"]


def nearest_beyond(
    curves: Curves,
    settings: ShelfSettings,
    target: Target | Sequence[Aim],
    known: Rules | None,
    loosened: Sequence[Rules],
    within: float,
    lists: Lists | None = None,
) -> list[Match | None]:
    """The simplest recipe of each rules, or out of tolerance the closest, if one is within a ΔE00.

    What is farther is not looked at, which is quick; None is as proven as a recipe.

    Parameters
    ----------
    curves, settings, target
        As `fewtone.match.search.search` takes them.
    known
        Rules that admit nothing within that ΔE00; None if there are none.
    loosened
        What recipes must keep. One rule that differs from `known`.
    within
        ΔE00 beyond which recipes are of no interest.
    lists
        As `fewtone.match.search.search` takes them.

    Raises
    ------
    FewtoneError
        No toner or no ground that some of the rules allow is learnt.
    """
    aims = aims_of(target)
    seen = None if known is None else learnt_rules(curves, known)
    parts = [
        _Part(curves, settings, aims, learnt_rules(curves, rules), within) for rules in loosened
    ]
    groups: dict[tuple[tuple[str, ...], ...], list[_Part]] = {}
    for part in parts:
        toners = () if seen is None else part.rules.toners
        groups.setdefault((part.rules.grounds, toners), []).append(part)
    for group in groups.values():
        _sweep(curves, aims, _Films(curves, seen, group), lists)
    return [part.nearest(curves, settings, aims) for part in parts]


class _Part:
    """What some rules admit, and the best of it so far."""

    def __init__(
        self,
        curves: Curves,
        settings: ShelfSettings,
        aims: Sequence[Aim],
        rules: Rules,
        within: float,
    ) -> None:
        self.rules, self.within = rules, within
        self.lattice = Lattice.of(rules, curves.strength)
        single = evaluators_of(curves, rules, aims)[0] if is_single(aims) else None
        self.picks = Picks.empty(self.lattice, single, settings, within)
        self.loads = {load.value: index for index, load in enumerate(self.lattice.loads)}

    def radius(self) -> float:
        """The ΔE00 within which its recipes may still matter."""
        least = float(self.picks.least.min())
        if least <= self.rules.tolerance:
            return self.rules.tolerance + ROUNDING
        return min(self.within, least + CLOSE) + ROUNDING

    def nearest(self, curves: Curves, settings: ShelfSettings, aims: Sequence[Aim]) -> Match | None:
        """Its best recipe, if it is near enough."""
        if self.picks.least.min() > self.within:
            return None
        recipe = self.picks.simplest or self.picks.closest
        return judge_aims(curves, settings, [recipe], aims, self.rules.tolerance)[0]


class _Films:
    """Recipes of some parts over the same grounds, as one lattice with kinds.

    A recipe's kind has a bit for each part that admits its ratio and load; what `known` admits has
    none.
    """

    def __init__(self, curves: Curves, known: Rules | None, parts: list[_Part]) -> None:
        toners = tuple(dict.fromkeys(name for part in parts for name in part.rules.toners))
        self.known, self.parts = known, parts
        self.rules = replace(parts[0].rules, toners=toners, keep=())
        loads = {load.value: load for part in parts for load in part.lattice.loads}
        self.loads = tuple(loads[value] for value in sorted(loads))
        # The index of these loads in the lattice of each part; -1 where it has none.
        self.load_index = np.array(
            [[part.loads.get(load.value, -1) for load in self.loads] for part in parts]
        )
        self.seen = np.zeros(len(self.loads), dtype=np.bool_)
        self.more = np.zeros(len(self.rules.toners), dtype=np.bool_)
        if known is None:
            return
        grounds = tuple(name for name in self.rules.grounds if name not in known.grounds)
        self.more = np.array([name not in known.toners for name in self.rules.toners])
        if grounds:
            self.rules = replace(self.rules, grounds=grounds)
        elif not self.more.any():
            lattice = Lattice.of(known, curves.strength)
            of_known = {load.value for load in lattice.loads}
            self.seen = np.array([load.value in of_known for load in self.loads])

    def lattice(self, size: int) -> Lattice:
        """All recipes of so many toners."""
        most = max(part.rules.max_part for part in self.parts if size in part.lattice.sizes)
        return Lattice(replace(self.rules, max_part=most), self.loads)

    def supports(self, size: int) -> IntArray:
        """Sets of so many toners; where there are more than known, those with such a one."""
        sets: dict[tuple[tuple[str, ...], ...], IntArray] = {}
        for part in self.parts:
            if size in part.lattice.sizes:
                columns = np.array([self.rules.toners.index(name) for name in part.rules.toners])
                key = (part.rules.toners, part.rules.keep)
                sets[key] = np.sort(columns[part.lattice.supports(size)], axis=1)
        supports = np.concatenate(list(sets.values()))
        return supports[self.more[supports].any(axis=1)] if self.more.any() else supports

    def kinds(self, size: int, largest: IntArray, load: IntArray) -> IntArray:
        """Kinds of recipes of so many toners by their largest part and their load."""
        kinds = np.zeros(np.broadcast_shapes(largest.shape, load.shape), dtype=np.int64)
        for bit, (part, load_index) in enumerate(zip(self.parts, self.load_index, strict=True)):
            if size in part.lattice.sizes:
                kinds += ((load_index[load] >= 0) & (largest <= part.rules.max_part)) << bit
        if self.known is not None and size <= self.known.max_toners:
            kinds[self.seen[load] & (largest <= self.known.max_part)] = 0
        return kinds

    def kinds_of(self, size: int, recipes: Candidates) -> IntArray:
        """Kinds of recipes of so many toners."""
        return self.kinds(size, recipes.parts.max(axis=1), recipes.load)

    def radius(self) -> FloatArray:
        """The ΔE00 within which recipes of each kind may still matter, the first mattering not."""
        radius = np.full(1 << len(self.parts), -1.0)
        for bit, part in enumerate(self.parts):
            admitted = (np.arange(len(radius)) >> bit) & 1 == 1
            radius[admitted] = np.maximum(radius[admitted], part.radius())
        return radius

    def offer(self, candidates: Candidates, kinds: IntArray) -> None:
        """Have each part take what it admits into account."""
        for bit, (part, load_index) in enumerate(zip(self.parts, self.load_index, strict=True)):
            grounds, toners = (
                np.array([admitted.index(name) if name in admitted else -1 for name in names])
                for admitted, names in (
                    (part.rules.grounds, self.rules.grounds),
                    (part.rules.toners, self.rules.toners),
                )
            )
            support = toners[candidates.support]
            offered = ((kinds >> bit) & 1 == 1) & (support >= 0).all(axis=1)
            rows = np.flatnonzero(offered)
            if len(rows):
                moved = candidates._replace(
                    support=support,
                    load=load_index[candidates.load],
                    ground=grounds[candidates.ground],
                )
                part.picks.offer(moved.where(rows))


def _sweep(curves: Curves, aims: Sequence[Aim], films: _Films, lists: Lists | None) -> None:
    """Offer each part what it admits and may matter to it."""
    evaluators = evaluators_of(curves, films.rules, aims)
    for size in sorted({size for part in films.parts for size in part.lattice.sizes}):
        lattice, supports = films.lattice(size), films.supports(size)
        largest = lattice.ratios(size).max(axis=1)[:, np.newaxis]
        kinds = films.kinds(size, largest, np.arange(len(films.loads)))
        if not kinds.any() or not len(supports):
            continue
        radius, loads, kind_of = films.radius(), lattice.load_values, partial(films.kinds_of, size)
        for sweep in sweeps_of(evaluators[0], lattice, supports, radius, kinds, lists):
            for candidates in sweep.candidates():
                for batch in best_first(evaluators, loads, candidates, radius, kind_of):
                    films.offer(batch, kind_of(batch))
                    np.minimum(radius, films.radius(), out=radius)
