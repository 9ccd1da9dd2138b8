"""Which sets of toners, over which ground, reach a colour: all of them, each only if no part does.

Everything within tolerance is listed, size by size, by the sweeps of a match; a set is left
out where some of its toners alone reach the colour over the same ground.
"""

from __future__ import annotations

import itertools

import numpy as np

from fewtone.model.curves import Curves
from fewtone.model.target import Target
from fewtone.recipes.evaluate import ROUNDING, evaluator_of
from fewtone.recipes.lattice import Lattice
from fewtone.recipes.rules import Rules, learnt_rules
from fewtone.search.radius import everything, sweeps_of

__all__ = ["supports_within"]


def supports_within(
    curves: Curves, target: Target, rules: Rules
) -> list[tuple[tuple[str, ...], str]]:
    """Find every least set of toners, with a ground, that has a recipe within tolerance.

    Parameters
    ----------
    curves
        The learnt shelf.
    target
        What is asked for.
    rules
        What a recipe must keep. Toners and grounds that are not learnt are passed over.

    Returns
    -------
    Toners, in the shelf's order, and the ground: fewest toners first. Any recipe within tolerance
    has all toners of one of them over its ground, and each of them has such a recipe.

    Raises
    ------
    FewtoneError
        No toner or no ground that the rules allow is learnt.
    """
    rules = learnt_rules(curves, rules)
    evaluator = evaluator_of(curves, rules, target)
    lattice = Lattice.of(rules, curves.strength)
    loads = lattice.load_values
    within: dict[tuple[tuple[int, ...], int], None] = {}
    for size in lattice.sizes:
        supports = lattice.supports(size)
        if size == 1:
            batches = [everything(lattice, supports)]
        else:
            sums = int(lattice.ratios(size).sum(axis=1).max())
            radius = np.full(sums + 1, rules.tolerance + ROUNDING)
            sweeps = sweeps_of(evaluator, lattice, supports, radius)
            batches = [sweep.candidates() for sweep in sweeps]
        here: set[tuple[tuple[int, ...], int]] = set()
        for batch in itertools.chain(*batches):
            fractions = evaluator.fractions(batch.support, batch.parts)
            lab = evaluator.lab(fractions, loads[batch.load], batch.ground)
            near = evaluator.difference(lab) <= rules.tolerance
            chosen = zip(batch.support[near].tolist(), batch.ground[near].tolist(), strict=True)
            here |= {(tuple(support), ground) for support, ground in chosen}
        within |= dict.fromkeys(sorted(pair for pair in here if not _has_less(*pair, within)))
    return [
        (tuple(rules.toners[i] for i in support), rules.grounds[ground])
        for support, ground in within
    ]


def _has_less(
    support: tuple[int, ...], ground: int, within: dict[tuple[tuple[int, ...], int], None]
) -> bool:
    """Whether some of these toners reach the colour over this ground without the others."""
    return any(
        (part, ground) in within
        for size in range(1, len(support))
        for part in itertools.combinations(support, size)
    )
