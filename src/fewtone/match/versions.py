"""Several versions of one colour: how far apart they are, and recipes near to all of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from fewtone.errors import Fault, UsageError
from fewtone.match.evaluate import Aim, rounded_difference
from fewtone.match.help import with_help
from fewtone.match.result import MatchResult, Version
from fewtone.match.rules import Rules
from fewtone.match.search import search
from fewtone.model.curves import Curves
from fewtone.model.shelf import ShelfSettings
from fewtone.model.target import Target

__all__ = ["match_versions"]


def match_versions(
    curves: Curves, settings: ShelfSettings, targets: Sequence[Target], rules: Rules
) -> MatchResult:
    """Match several versions of one colour by the largest ΔE00 to any of them.

    Parameters
    ----------
    curves, settings
        The learnt shelf.
    targets
        The versions, the first one being what the rest are versions of.
    rules
        What a recipe must keep.

    Returns
    -------
    As `fewtone.match.search` of several aims, with what would help, and the versions: how far apart
    they are and the best recipe for each alone.

    Raises
    ------
    UsageError
        The versions are not all in one geometry.
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
    aims = [Aim(target) for target in targets]
    result = with_help(curves, settings, aims, rules, search(curves, settings, aims, rules))
    versions = tuple(
        Version(
            target,
            tuple(_apart(target, other) for other in targets),
            search(curves, settings, target, rules).headline,
        )
        for target in targets
    )
    return replace(result, versions=versions)


def _apart(target: Target, other: Target) -> float | None:
    """ΔE00 between two versions; None in different lights."""
    if target.light != other.light:
        return None
    return float(rounded_difference(target.lab, other.lab))
