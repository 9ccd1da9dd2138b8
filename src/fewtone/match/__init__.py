"""From a target to recipes: the exact picks over every recipe that the rules admit."""

from __future__ import annotations

from fewtone.match.grounds import over_each_ground
from fewtone.match.help import with_help
from fewtone.match.miss import direction
from fewtone.match.result import (
    Help,
    Match,
    MatchResult,
    Miss,
    NewGround,
    NewToner,
    Proof,
    describe_all,
    judge,
    judge_all,
)
from fewtone.match.rules import RuleOptions, Rules
from fewtone.match.search import search

__all__ = [
    "Help",
    "Match",
    "MatchResult",
    "Miss",
    "NewGround",
    "NewToner",
    "Proof",
    "RuleOptions",
    "Rules",
    "describe_all",
    "direction",
    "judge",
    "judge_all",
    "over_each_ground",
    "search",
    "with_help",
]
