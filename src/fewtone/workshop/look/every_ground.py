"""The exact search for a mix that holds over every ground at once.

The distance of a recipe is the largest ΔE00 over the grounds between it and what is wanted there.
Every admissible colour is worked out over the first ground. The largest is never less than that
one, so a colour that is already too far there to change any pick needs no other ground: what is
cut so cannot be an answer, and the picks are those of evaluating everything.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

import numpy as np

from fewtone.colorimetry import delta_e_2000
from fewtone.errors import Fault, FewtoneError
from fewtone.match import Match, MatchResult, Miss, Proof, Rules
from fewtone.match.evaluate import Evaluator, evaluator_of
from fewtone.match.lattice import Lattice
from fewtone.match.miss import difference_of
from fewtone.match.picks import Candidates, Picks
from fewtone.match.result import judge_all
from fewtone.model.curves import Curves
from fewtone.model.recipe import Recipe
from fewtone.model.shelf import ShelfSettings
from fewtone.model.target import Target
from fewtone.prediction.recipes import predict

__all__ = ["search_every_ground"]

# Colours worked out at once: their intermediate arrays then stay within the processor's cache.
_BATCH = 8192


def search_every_ground(
    curves: Curves,
    settings: ShelfSettings,
    wanted: Mapping[str, Target],
    rules: Rules,
) -> MatchResult:
    """Find the picks and the trade-off by the largest ΔE00 over several grounds.

    Parameters
    ----------
    curves, settings
        The learnt shelf.
    wanted
        What is asked for over each learnt ground, in one light; the rules' one ground among them.
    rules
        What a recipe must keep, with one ground: the one that recipes are written over.

    Returns
    -------
    As `fewtone.match.search`. ``de00`` and ``in_tolerance`` of every recipe are by the worst
    ground; unevenness and Lab are over the recipe's own, and no pass probability is told.

    Raises
    ------
    FewtoneError
        No toner that the rules allow is learnt.
    """
    (own,) = rules.grounds
    rules = replace(rules, toners=tuple(t for t in rules.toners if t in curves.toners))
    if not rules.toners:
        raise FewtoneError(Fault("None of the toners that may be used is learnt."))
    others = [name for name in wanted if name != own]
    evaluators = {
        name: evaluator_of(curves, replace(rules, grounds=(name,)), wanted[name])
        for name in (own, *others)
    }
    lattice = Lattice.of(rules)
    picks = Picks.empty(lattice)
    simplest_ways = np.array([load.simplest for load in lattice.loads])
    complete = 0
    for batch in _everything(lattice):
        found = _measured(evaluators[own], lattice, batch)
        rank = picks.ranks.of(
            found.parts.shape[1], found.parts.sum(axis=1), simplest_ways[found.load]
        )
        limit = np.maximum(picks.least[rank], rules.tolerance)
        found = found.where(found.de00 <= limit)
        complete += len(found.de00)
        for name in others:
            there = _measured(evaluators[name], lattice, found)
            found = found._replace(de00=np.maximum(found.de00, there.de00))
        picks.offer(found)
    cut = (("own ground", lattice.colours - complete),)
    proof = Proof(lattice.admissible, lattice.colours, complete, cut)
    return _answer(curves, settings, wanted, picks, proof)


def _everything(lattice: Lattice) -> Iterator[Candidates]:
    loads = np.arange(len(lattice.loads))
    for size in lattice.sizes:
        supports, ratios = lattice.supports(size), lattice.ratios(size)
        blends = len(supports) * len(ratios)
        step = max(1, _BATCH // len(loads))
        for start in range(0, blends, step):
            support, ratio = np.divmod(np.arange(start, min(blends, start + step)), len(ratios))
            rows = np.repeat(np.arange(len(support)), len(loads))
            load = np.tile(loads, len(support))
            ground = np.zeros_like(load)
            yield Candidates(
                supports[support[rows]], ratios[ratio[rows]], load, ground, np.empty(0)
            )


def _measured(evaluator: Evaluator, lattice: Lattice, batch: Candidates) -> Candidates:
    fractions = evaluator.fractions(batch.support, batch.parts)
    lab = evaluator.lab(fractions, lattice.load_values[batch.load], batch.ground)
    return batch._replace(de00=evaluator.difference(lab))


def _answer(
    curves: Curves,
    settings: ShelfSettings,
    wanted: Mapping[str, Target],
    picks: Picks,
    proof: Proof,
) -> MatchResult:
    rules = picks.lattice.rules
    (own,) = rules.grounds
    chosen = [picks.simplest, picks.closest, *picks.trade_off]
    recipes = list(dict.fromkeys(recipe for recipe in chosen if recipe is not None))
    light = wanted[own].light
    judged = judge_all(curves, settings, recipes, wanted[own], rules.tolerance)
    matches: dict[Recipe, Match] = {}
    misses: dict[Recipe, Miss] = {}
    for match in judged:
        labs = predict(curves, [match.recipe.with_(ground=name) for name in wanted], light).lab
        off = np.round(delta_e_2000(labs, np.array([target.lab for target in wanted.values()])), 6)
        worst = int(np.argmax(off))
        matches[match.recipe] = replace(
            match,
            de00=float(off[worst]),
            in_tolerance=bool(off[worst] <= rules.tolerance),
            pass_probability=None,
        )
        name = list(wanted)[worst]
        difference = difference_of(labs[worst], wanted[name].lab)
        misses[match.recipe] = Miss(
            difference.lightness,
            difference.chroma,
            difference.hue,
            f"over {name}: {difference.words}",
        )
    simplest, closest = (None if r is None else matches[r] for r in chosen[:2])
    assert closest is not None
    return MatchResult(
        simplest=simplest,
        surest=None,
        closest=closest,
        recipes=tuple(matches[recipe] for recipe in picks.trade_off[: rules.top]),
        tolerance=rules.tolerance,
        miss=misses[closest.recipe] if simplest is None else None,
        proof=proof,
    )
