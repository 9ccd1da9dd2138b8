"""From a target to recipes: the exact picks over every recipe that the rules admit."""

from __future__ import annotations

from fewtone.match.miss import direction
from fewtone.match.result import Match, MatchResult, Miss, Proof, judge
from fewtone.match.rules import RuleOptions, Rules
from fewtone.match.search import search

__all__ = [
    "Match",
    "MatchResult",
    "Miss",
    "Proof",
    "RuleOptions",
    "Rules",
    "direction",
    "judge",
    "search",
]
