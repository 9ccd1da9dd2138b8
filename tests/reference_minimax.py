"""A plain loop over every admissible recipe by its largest ΔE00 to several aims.

Written from the definition alone, with none of the search's parts.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from fewtone.colorimetry import delta_e_2000
from fewtone.model.curves import Curves
from fewtone.model.recipe import Recipe
from fewtone.prediction.recipes import predict
from fewtone.recipes.evaluate import Aim
from fewtone.recipes.rules import Rules
from fewtone.typing import FloatArray

__all__ = ["PlainAnswer", "plain_minimax"]


class PlainAnswer(NamedTuple):
    """Recipe lines of the picks and the trade-off with their ΔE00, and how many recipes."""

    simplest: tuple[str, float] | None
    closest: tuple[str, float]
    trade_off: tuple[tuple[str, float], ...]
    admissible: int


def plain_minimax(curves: Curves, aims: Sequence[Aim], rules: Rules) -> PlainAnswer:
    """Evaluate every admissible recipe against every aim and pick by the largest ΔE00."""
    recipes = [
        Recipe(dict(zip(names, parts, strict=True)), letdown, coats, ground)
        for size in range(1, rules.max_toners + 1)
        for names in itertools.combinations(rules.toners, size)
        for parts in itertools.product(range(1, rules.max_part + 1), repeat=size)
        if math.gcd(*parts) == 1 and set(rules.keep) <= set(names)
        for letdown in rules.medium_parts
        for coats in range(rules.coats[0], rules.coats[1] + 1)
        for ground in rules.grounds
    ]
    worst: FloatArray = np.zeros(len(recipes))
    for aim in aims:
        films = [r if aim.over is None else r.with_(ground=aim.over) for r in recipes]
        lab = predict(curves, films, aim.target.light).lab
        worst = np.maximum(worst, np.round(delta_e_2000(lab, np.array(aim.target.lab)), 6))
    rows = sorted(
        (
            len(recipe.blend),
            sum(recipe.blend.values()),
            rules.medium_parts.index(recipe.medium_parts),
            recipe.coats,
            off,
            rules.grounds.index(recipe.ground),
            str(recipe),
        )
        for recipe, off in zip(recipes, worst.tolist(), strict=True)
    )
    least = min(row[4] for row in rows)
    within = [(row[6], row[4]) for row in rows if row[4] <= rules.tolerance]
    close = [(row[6], row[4]) for row in rows if row[4] <= round(least + 0.05, 6)]
    trade_off: list[tuple[str, float]] = []
    for _, group in itertools.groupby(rows, key=lambda row: row[:2]):
        best = min(group, key=lambda row: (row[4], row))
        if not trade_off or best[4] < trade_off[-1][1]:
            trade_off.append((best[6], best[4]))
    return PlainAnswer(
        within[0] if within else None, close[0], tuple(trade_off[: rules.top]), len(rows)
    )
