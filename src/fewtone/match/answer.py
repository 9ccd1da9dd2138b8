"""The whole answer of a match: of one colour, or of several versions of one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from fewtone.colorimetry import Light
from fewtone.errors import Fault, UsageError
from fewtone.match.result import Match, MatchResult, Version
from fewtone.match.search import search
from fewtone.model.curves import Curves
from fewtone.model.shelf import ShelfSettings
from fewtone.model.target import Target
from fewtone.recipes.evaluate import Aim, rounded_difference
from fewtone.recipes.rules import Rules
from fewtone.search.listed import Lists

__all__ = ["match", "over_each_ground"]


def match(
    curves: Curves,
    settings: ShelfSettings,
    targets: Sequence[Target],
    rules: Rules,
    *,
    lights: Sequence[Light] = (),
    by_ground: bool = False,
    lists: Lists | None = None,
) -> MatchResult:
    """Match a colour, or several versions of one by the largest ΔE00 to any of them.

    Parameters
    ----------
    curves, settings
        The learnt shelf.
    targets
        The versions, at least one; the rest are versions of the first.
    rules
        What a recipe must keep.
    lights
        Lights in all of which recipes are to match, by the largest ΔE00; each version's own if
        none are given.
    by_ground
        Also find the best recipe over each ground.
    lists
        Lists of lattices that many targets are asked of, kept from one to the next.

    Returns
    -------
    As `fewtone.match.search.search`, with what would help where nothing is within tolerance; of
    several versions also how far apart they are and the best recipe for each alone.

    Raises
    ------
    UsageError
        The versions are not all in one geometry, or lights are given and a version is no spectrum.
    FewtoneError
        No toner or no ground that the rules allow is learnt.
    """
    first = targets[0]
    faults = [
        Fault(
            f"This version is read in {target.geometry}, the first one in {first.geometry}.",
            fix="Match versions that are read in one geometry.",
            value=target.request,
        )
        for target in targets
        if target.geometry != first.geometry
    ]
    if faults:
        raise UsageError(*faults)
    # Each of these rooms is entered only where it has something to say: start-up counts.
    if any("+" in ground for ground in rules.grounds):
        from fewtone.prediction.keyed import with_keyed

        curves = with_keyed(curves, rules.grounds)
    seen = [target.in_light(light) for target in targets for light in lights] or targets
    wanted = seen[0] if len(seen) == 1 else [Aim(target) for target in seen]
    result = search(curves, settings, wanted, rules, lists=lists)
    if result.miss is not None:
        from fewtone.match.help import with_help

        result = with_help(curves, settings, wanted, rules, result, lists)
    if rules.keyed:
        from fewtone.match.keyed import keyed_recipes

        keying = keyed_recipes(curves, settings, wanted, rules, result)
        result = replace(result, keying=keying)
    if len(targets) > 1:
        versions = tuple(
            Version(
                target,
                tuple(_apart(target, other) for other in targets),
                search(curves, settings, target, rules).headline,
            )
            for target in targets
        )
        result = replace(result, versions=versions)
    if seen[0].spectrum is not None:
        from fewtone.match.metamerism import with_metamerism

        result = with_metamerism(curves, seen[0], lights, result)
    if by_ground:
        result = replace(result, grounds=over_each_ground(curves, settings, wanted, rules))
    return result


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


def _apart(target: Target, other: Target) -> float | None:
    """ΔE00 between two versions; None in different lights."""
    if target.light != other.light:
        return None
    return float(rounded_difference(target.lab, other.lab))
