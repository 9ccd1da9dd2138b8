"""From a target to recipes: the exact picks over every recipe that the rules admit."""

from __future__ import annotations

from fewtone.match.answer import match
from fewtone.match.evaluate import Aim
from fewtone.match.grounds import over_each_ground
from fewtone.match.help import with_help
from fewtone.match.miss import direction
from fewtone.match.picks import CLOSE
from fewtone.match.result import (
    Help,
    Match,
    MatchResult,
    Miss,
    NewGround,
    NewToner,
    Proof,
    Standing,
    Version,
    describe_all,
    judge,
    judge_all,
)
from fewtone.match.rules import RuleOptions, Rules
from fewtone.match.search import search

__all__ = [
    "CLOSE",
    "Aim",
    "Help",
    "Match",
    "MatchResult",
    "Miss",
    "NewGround",
    "NewToner",
    "Proof",
    "RuleOptions",
    "Rules",
    "Standing",
    "Version",
    "describe_all",
    "direction",
    "judge",
    "judge_all",
    "match",
    "over_each_ground",
    "search",
    "with_help",
]
