"""Over which ground: the best recipe over each, every one by an exact search of its own."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from fewtone.match.result import Match
from fewtone.match.search import search
from fewtone.model.curves import Curves
from fewtone.model.shelf import ShelfSettings
from fewtone.model.target import Target
from fewtone.recipes.evaluate import Aim
from fewtone.recipes.rules import Rules

__all__ = ["over_each_ground"]


def over_each_ground(
    curves: Curves, settings: ShelfSettings, target: Target | Sequence[Aim], rules: Rules
) -> tuple[Match, ...]:
    """What a match over each ground alone would say to spray first, the likeliest to pass first.

    The arguments are those of `fewtone.match.search.search`. Grounds that are not learnt are
    passed over.

    Raises
    ------
    FewtoneError
        No toner that the rules allow is learnt.
    """
    best = [
        search(curves, settings, target, replace(rules, grounds=(ground,))).headline
        for ground in rules.grounds
        if ground in curves.grounds
    ]
    return tuple(sorted(best, key=lambda m: (-(m.pass_probability or 0.0), m.de00 or 0.0)))
