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

from fewtone.match.descent import Descent
from fewtone.match.evaluate import Evaluator
from fewtone.match.rules import Rules
from fewtone.model.blend import exact_number
from fewtone.model.recipe import Recipe

__all__ = ["limits_of"]

# A loosened rule is named when it takes away this share of the miss, and at least this ΔE00: less
# would hardly be seen on a panel.
_CLEAR_SHARE, _CLEAR_GAIN = 0.1, 0.2


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
        descent = Descent(evaluator, loosened)
        reached = min(descent.from_recipe(start).de00 for start in starts)
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
