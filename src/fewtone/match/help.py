"""What would help when nothing is within tolerance, decided by the exact search.

Each rule is loosened by itself: one more toner, larger parts, weaker and stronger letdowns, fewer
and more coats, every ground, every toner. The search then looks for recipes within tolerance, or
clearly nearer than what the rules allow, and what it finds is told with its recipe; where it finds
nothing there is nothing. If no rule brings a single target within tolerance, a toner or a ground
that the shelf lacks is solved for (`fewtone.match.kinds`).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from fewtone.match.beyond import nearest_beyond
from fewtone.match.kinds import new_ground, new_toner
from fewtone.match.result import Help, Match, MatchResult
from fewtone.model.blend import Number, coats_text
from fewtone.model.curves import Curves
from fewtone.model.shelf import LARGEST_PART, ShelfSettings
from fewtone.model.target import Target
from fewtone.recipes.evaluate import Aim
from fewtone.recipes.rules import Rules
from fewtone.search.listed import Lists

__all__ = ["with_help"]

# What is not within tolerance is told when it takes away this share of the miss, and at least this
# ΔE00: less would hardly be seen on a panel.
_CLEAR_SHARE, _CLEAR_GAIN = 0.25, 0.1
# Letdowns beyond the shop's, as multiples of its weakest and its strongest.
_WEAKER, _STRONGER = (1.25, 1.5, 2.0, 2.5, 3.0, 4.0), (0.75, 0.5, 0.25)
_MORE_COATS = 3


def with_help(
    curves: Curves,
    settings: ShelfSettings,
    target: Target | Sequence[Aim],
    rules: Rules,
    result: MatchResult,
    lists: Lists | None = None,
) -> MatchResult:
    """A match's answer with what would help; as it is if something is within tolerance.

    Parameters
    ----------
    curves, settings, target, rules, lists
        As `fewtone.match.search.search` took them.
    result
        What it answered.
    """
    if result.miss is None:
        return result
    least = min(match.de00 or 0.0 for match in (result.closest, *result.recipes))
    within = max(rules.tolerance, min((1.0 - _CLEAR_SHARE) * least, least - _CLEAR_GAIN))
    loosened = dict(_loosened(curves, settings, rules))
    if not isinstance(target, Target) and all(aim.over for aim in target):
        loosened.pop("grounds", None)
    nearest = nearest_beyond(
        curves, settings, target, rules, list(loosened.values()), within, lists
    )
    helps = [
        _help_of(name, match, rules)
        for name, match in zip(loosened, nearest, strict=True)
        if match is not None
    ]
    if isinstance(target, Target) and not any(help_.match.in_tolerance for help_ in helps):
        kinds = (
            new_toner(curves, settings, target, rules, within),
            new_ground(curves, settings, target, rules, within, lists),
        )
        helps += [kind for kind in kinds if kind is not None]
    helps.sort(key=lambda help_: (-(help_.match.pass_probability or 0.0), help_.match.de00))
    return replace(result, miss=replace(result.miss, would_help=tuple(helps)))


def _loosened(curves: Curves, settings: ShelfSettings, rules: Rules) -> Iterator[tuple[str, Rules]]:
    """Each rule loosened by itself."""
    known = [name for name in rules.toners if name in curves.toners]
    if rules.max_toners < len(known):
        yield "max_toners", replace(rules, max_toners=rules.max_toners + 1)
    if rules.max_part < LARGEST_PART and rules.max_toners > 1:
        yield "max_part", replace(rules, max_part=min(2 * rules.max_part, LARGEST_PART))
    yield "medium_parts", replace(rules, medium_parts=_more_letdowns(rules))
    yield "coats", replace(rules, coats=(1, rules.coats[1] + _MORE_COATS))
    if any(name not in rules.grounds for name in curves.grounds):
        yield "grounds", replace(rules, grounds=curves.grounds)
    stock = tuple(n for n, toner in settings.toners.items() if toner.in_stock)
    if any(name not in rules.toners for name in stock if name in curves.toners):
        yield "use", replace(rules, toners=stock)


def _more_letdowns(rules: Rules) -> tuple[Number, ...]:
    weakest, strongest = (float(end(rules.medium_parts)) for end in (max, min))
    more = [round(weakest * factor) for factor in _WEAKER]
    more += [max(1, round(strongest * factor)) for factor in _STRONGER]
    return tuple(dict.fromkeys((*rules.medium_parts, *more)))


def _help_of(name: str, match: Match, rules: Rules) -> Help:
    """A loosened rule by what its recipe makes of it."""
    recipe = match.recipe
    if name == "max_toners":
        count = len(recipe.blend)
        return Help(name, count, match, f"with {count} toners")
    if name == "max_part":
        largest = max(int(part) for part in recipe.blend.values())
        return Help(name, largest, match, f"with parts up to {largest}")
    if name == "medium_parts":
        words = f"let down {recipe.medium_parts}:1, {coats_text(recipe.coats)}"
        return Help(name, recipe.medium_parts, match, words)
    if name == "coats":
        return Help(name, recipe.coats, match, f"with {coats_text(recipe.coats)}")
    if name == "grounds":
        return Help(name, recipe.ground, match, f"over {recipe.ground}")
    others = [toner for toner in recipe.blend if toner not in rules.toners]
    return Help(name, ", ".join(others), match, f"with {' and '.join(others)}")
