"""The search on the hard case gives what listing all its 98 million colours gave."""

from __future__ import annotations

import json

import pytest

from benchmarks.hard_case import LISTED_PICKS, hard_picks, hard_shelf, hard_targets
from fewtone.match.search import search
from fewtone.recipes.rules import Rules
from invented import lab_target

CURVES, SHELF = hard_shelf()
TARGETS = hard_targets(CURVES, SHELF)


@pytest.mark.parametrize("number", range(len(TARGETS)))
def test_picks_equal_full_enumeration(number: int) -> None:
    """Picks and trade-off of a target equal those recorded from full enumeration."""
    listed = json.loads(LISTED_PICKS.read_text(encoding="utf-8"))
    found = search(CURVES, SHELF, lab_target(TARGETS[number][1]), Rules.of(SHELF))
    assert hard_picks(found) == listed[number]
    assert found.proof.proven
