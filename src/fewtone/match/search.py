"""From a target to recipes: every admissible colour worked out in batches, the best kept."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from fewtone.colorimetry import Light
from fewtone.errors import Fault, FewtoneError
from fewtone.match.evaluate import Evaluator, evaluator_of
from fewtone.match.lattice import Lattice
from fewtone.match.limits import limits_of
from fewtone.match.miss import difference_of
from fewtone.match.picks import Candidates, Picks
from fewtone.match.result import MatchResult, Miss, Proof, judge_all
from fewtone.match.rules import Rules
from fewtone.model.curves import Curves
from fewtone.model.recipe import Recipe
from fewtone.model.shelf import ShelfSettings
from fewtone.typing import FloatLike

__all__ = ["search"]

# Colours worked out at once: their intermediate arrays then stay within the processor's cache.
_BATCH = 8192


def search(
    curves: Curves, settings: ShelfSettings, target_lab: FloatLike, light: Light, rules: Rules
) -> MatchResult:
    """Find the simplest, the closest and the evenest recipe, and the trade-off between them.

    Parameters
    ----------
    curves, settings
        The learnt shelf.
    target_lab
        CIELAB that is asked for, shape ``(3,)``.
    light
        Its illuminant and observer.
    rules
        What a recipe must keep. Toners and grounds that are not learnt are passed over.

    Returns
    -------
    The picks exactly as evaluating every admissible recipe gives them.

    Raises
    ------
    FewtoneError
        No toner or no ground that the rules allow is learnt.
    """
    rules = _learnt(curves, rules)
    lattice = Lattice.of(rules)
    evaluator = evaluator_of(curves, rules, target_lab, light)
    picks = Picks.empty(lattice)
    evaluated = 0
    for batch in _everything(lattice):
        found = _evaluated(evaluator, lattice, batch)
        evaluated += len(found.de00)
        picks.offer(found)
        within = found.where(found.de00 <= rules.tolerance)
        fractions = evaluator.fractions(within.support, within.parts)
        loads = lattice.load_values[within.load]
        picks.offer_even(within, evaluator.unevenness(fractions, loads, within.ground))
    return answer(evaluator, settings, picks, Proof(lattice.admissible, lattice.colours, evaluated))


def answer(
    evaluator: Evaluator, settings: ShelfSettings, picks: Picks, proof: Proof
) -> MatchResult:
    """Turn the picks into an answer, with the miss if nothing is within tolerance."""
    rules, trade_off = picks.lattice.rules, picks.trade_off
    chosen: list[Recipe | None] = [picks.simplest, picks.closest, picks.evenest, *trade_off]
    recipes = list(dict.fromkeys(recipe for recipe in chosen if recipe is not None))
    matches = dict(
        zip(
            recipes,
            judge_all(
                evaluator.curves,
                settings,
                recipes,
                evaluator.target,
                evaluator.light,
                rules.tolerance,
            ),
            strict=True,
        )
    )
    simplest, closest, evenest = (None if r is None else matches[r] for r in chosen[:3])
    assert closest is not None
    miss = None
    if simplest is None:
        limits = limits_of(
            evaluator, rules, [*trade_off[-2:], closest.recipe], float(picks.least.min())
        )
        miss = Miss(*difference_of(closest.lab, evaluator.target), limits)
    return MatchResult(
        simplest=simplest,
        closest=closest,
        evenest=evenest,
        recipes=tuple(matches[recipe] for recipe in trade_off),
        tolerance=rules.tolerance,
        miss=miss,
        proof=proof,
    )


def _everything(lattice: Lattice) -> Iterator[Candidates]:
    """Every point of the lattice in batches, with ΔE00 still to come."""
    places = np.indices((len(lattice.loads), len(lattice.rules.grounds))).reshape(2, -1)
    for size in lattice.sizes:
        supports, ratios = lattice.supports(size), lattice.ratios(size)
        blends = len(supports) * len(ratios)
        step = max(1, _BATCH // places.shape[1])
        for start in range(0, blends, step):
            support, ratio = np.divmod(np.arange(start, min(blends, start + step)), len(ratios))
            rows = np.repeat(np.arange(len(support)), places.shape[1])
            load, ground = (np.tile(place, len(support)) for place in places)
            yield Candidates(
                supports[support[rows]], ratios[ratio[rows]], load, ground, np.empty(0)
            )


def _evaluated(evaluator: Evaluator, lattice: Lattice, batch: Candidates) -> Candidates:
    fractions = evaluator.fractions(batch.support, batch.parts)
    lab = evaluator.lab(fractions, lattice.load_values[batch.load], batch.ground)
    return batch._replace(de00=evaluator.difference(lab))


def _learnt(curves: Curves, rules: Rules) -> Rules:
    toners = tuple(name for name in rules.toners if name in curves.toners)
    grounds = tuple(name for name in rules.grounds if name in curves.grounds)
    faults = [
        Fault(
            f"None of these {what} is learnt: {', '.join(asked)}.",
            fix=f"Learnt are: {', '.join(known) or 'none'}. Read panels of the others and run "
            "`fewtone learn`.",
        )
        for what, kept, asked, known in (
            ("toners", toners, rules.toners, curves.toners),
            ("grounds", grounds, rules.grounds, curves.grounds),
        )
        if not kept
    ]
    faults += [
        Fault(f"{name} is to be kept but is not learnt.", value=name)
        for name in rules.keep
        if name not in toners
    ]
    if faults:
        raise FewtoneError(*faults)
    return replace(rules, toners=toners, grounds=grounds)
