"""What keying the ground saves: recipes over mixes of grounds beside the best over them alone.

All pairs of grounds in whole parts are searched like any other grounds, exactly and under the same
rules. A keyed ground that nobody has read is a guess, so its chance is told twice: as things stand,
and once the ground is read, which is what decides between recipes; for it is read before anything
is sprayed over it.

A recipe is proposed for what it does better than every recipe that the match without keying names:
it passes more surely, takes fewer coats, or forgives more; or it is within tolerance where nothing
else is.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from fewtone.match.judging import aims_of, judge_aims
from fewtone.match.result import Keying, KeyingProposal, Match, MatchResult
from fewtone.match.search import search
from fewtone.model.curves import Curves
from fewtone.model.shelf import ShelfSettings
from fewtone.model.target import Target
from fewtone.prediction.keyed import as_if_read, with_keyed
from fewtone.recipes.evaluate import Aim
from fewtone.recipes.rules import Rules

__all__ = ["keyed_recipes"]


def keyed_recipes(
    curves: Curves,
    settings: ShelfSettings,
    target: Target | Sequence[Aim],
    rules: Rules,
    unkeyed: MatchResult,
) -> Keying | None:
    """Search the rules' keyed grounds, and say what they save.

    Parameters
    ----------
    curves, settings, target, rules
        As `fewtone.match.search.search` took them.
    unkeyed
        What it answered.

    Returns
    -------
    None if no keyed ground can be worked out from what is learnt.

    Raises
    ------
    FewtoneError
        No toner that the rules allow is learnt.
    """
    guess = with_keyed(curves, rules.keyed)
    keyed = tuple(ground for ground in rules.keyed if ground in guess.grounds)
    if not keyed:
        return None
    read = as_if_read(guess)
    over = replace(rules, grounds=keyed, keyed=())
    answer = search(read, settings, target, over, within=rules.tolerance)
    once_read = {
        str(match.recipe): match
        for match in (answer.simplest, answer.surest, answer.closest, *answer.recipes)
        if match is not None and match.in_tolerance
    }
    plain = [
        match
        for match in (unkeyed.simplest, unkeyed.surest, *unkeyed.recipes)
        if match is not None and match.in_tolerance
    ]
    proposals: dict[str, KeyingProposal] = {}
    better = list(once_read.values())
    for claim, figure in _FIGURES if plain else _REACH:
        best = min(better, key=figure, default=None)
        beside = min(plain, key=figure, default=unkeyed.closest)
        if best is None or (plain and figure(best) >= figure(beside)):
            continue
        line = str(best.recipe)
        if line in proposals:
            claims = (*proposals[line].claims, claim)
            proposals[line] = replace(proposals[line], claims=claims)
        else:
            proposals[line] = KeyingProposal((claim,), best, None, beside)
    recipes = [proposal.match.recipe for proposal in proposals.values()]
    now = judge_aims(guess, settings, recipes, aims_of(target), rules.tolerance)
    proposed = (
        replace(proposal, chance_now=match.pass_probability)
        for proposal, match in zip(proposals.values(), now, strict=True)
    )
    return Keying(tuple(proposed), len(keyed), answer.proof)


# Figures of a recipe that keying may better, each the lower the better.
_FIGURES: tuple[tuple[str, Callable[[Match], float]], ...] = (
    ("chance", lambda match: -(match.pass_probability or 0.0)),
    ("coats", lambda match: float(match.recipe.coats)),
    ("unevenness", lambda match: match.unevenness),
)
# Where nothing else is within tolerance.
_REACH = (("reach", _FIGURES[0][1]),)
