"""The hard case: a shelf on which listing every recipe is hopeless, and its targets.

24 toners, 6 grounds, parts up to 6, letdowns 4, 5, 6, 8, 10, 12 and 1 to 8 coats: 98 million
colours. Everything comes from fixed seeds.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from fewtone.colorimetry import Light
from fewtone.match.result import MatchResult
from fewtone.model.curves import Curves
from fewtone.model.shelf import ShelfSettings
from fewtone.recipes.evaluate import Evaluator, evaluator_of
from fewtone.recipes.lattice import Lattice
from fewtone.recipes.rules import Rules
from invented import invented_shelf, lab_target

__all__ = [
    "HARD_SPOTS",
    "LIGHT",
    "LISTED_PICKS",
    "SEED",
    "hard_picks",
    "hard_shelf",
    "hard_targets",
    "target_evaluator",
]

LIGHT = Light("D65", 10)
SEED = 7
# The picks that listing every recipe gives for each of the targets; bench_match.py writes it.
LISTED_PICKS = Path(__file__).with_name("hard_case_picks.json")
# Where a search that relies on one bound alone falls into a hole.
HARD_SPOTS = {
    "saturated blue": (50.0, 100.0, -100.0),
    "black": (0.0, 0.0, 0.0),
    "white": (100.0, 0.0, 0.0),
    "grey": (50.0, 0.0, 0.0),
}

Triple = tuple[float, float, float]


def hard_shelf(n_toners: int = 24) -> tuple[Curves, ShelfSettings]:
    """The shelf, with another number of toners if asked."""
    return invented_shelf(
        SEED, n_toners, 6, medium_parts=(4, 5, 6, 8, 10, 12), coats=(1, 8), max_part=6
    )


def target_evaluator(curves: Curves, settings: ShelfSettings, target: Triple) -> Evaluator:
    """What works colours out against a target."""
    return evaluator_of(curves, Rules.of(settings), lab_target(target))


def hard_picks(found: MatchResult) -> list[str | None]:
    """Recipe lines of simplest, surest and closest, then the trade-off."""
    picks = (found.simplest, found.surest, found.closest)
    lines = [None if pick is None else str(pick.recipe) for pick in picks]
    return [*lines, *(str(match.recipe) for match in found.recipes)]


def hard_targets(curves: Curves, settings: ShelfSettings) -> list[tuple[str, Triple]]:
    """14 colours of random three-toner recipes with reading noise, and 6 that are out of reach.

    The noise is 0.3 in each coordinate. Out of reach are colours of the shelf pushed outwards: the
    chroma times 1.8 and 25 more, over a lightness that the shelf has.
    """
    rng = np.random.default_rng(SEED)
    lattice = Lattice.of(Rules.of(settings))
    evaluator = target_evaluator(curves, settings, (50.0, 0.0, 0.0))
    supports, ratios, loads = lattice.supports(3), lattice.ratios(3), lattice.load_values
    targets = []
    for number in range(20):
        row = [
            rng.integers(len(part), size=1) for part in (supports, ratios, loads, curves.grounds)
        ]
        fractions = evaluator.fractions(supports[row[0]], ratios[row[1]])
        lab = evaluator.lab(fractions, loads[row[2]], row[3])[0]
        lab += 0.3 * rng.standard_normal(3)
        name = "planted"
        if number >= 14:
            name, chroma = "out of reach", float(np.hypot(lab[1], lab[2]))
            lab[1:] *= (1.8 * chroma + 25.0) / chroma
        targets.append((name, (float(lab[0]), float(lab[1]), float(lab[2]))))
    return targets
