"""Keyed grounds in whole parts on the lines of cups, worked out by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fewtone import parse
from fewtone.errors import UsageError
from fewtone.io.settings import load_settings
from fewtone.model.cup import Cup
from fewtone.model.shelf import ShelfSettings
from fewtone.workshop.pour.ground import ground_batch
from lamp_shelf import LAMP_BENCH

SHELF = load_settings(LAMP_BENCH)
KEYED = parse("marigold, 6:1, 4 coats over 2 silver + 1 white")
SMALL, LARGE = Cup.parse("300ml by 10ml"), Cup.parse("600ml by 50ml")


def with_cups(*cups: Cup) -> ShelfSettings:
    """The shelf with these cups and no other."""
    return replace(SHELF, mixing=replace(SHELF.mixing, cup_ml=None, cups=cups))


@pytest.mark.parametrize(
    ("wanted", "total", "cup"),
    [
        # Two to one on marks of 10 ml: multiples of 30 ml, as long as the small cup holds them.
        ("100ml", 120, SMALL),
        ("271ml", 300, SMALL),
        # Beyond it multiples of 150 ml, and the largest cup also where it is too small.
        ("301ml", 450, LARGE),
        ("601ml", 750, LARGE),
    ],
)
def test_the_smallest_cup_that_holds_it(wanted: str, total: int, cup: Cup) -> None:
    """At least what was asked for, in the ground's own ratio, on its marks."""
    found = ground_batch(with_cups(LARGE, SMALL), KEYED, wanted)
    assert found.total_ml == total
    assert found.cup == cup
    assert [pour.component for pour in found.pours] == ["silver", "white"]
    assert [pour.ml for pour in found.pours] == [total * 2 // 3, total // 3]
    assert [pour.running_ml for pour in found.pours] == [total * 2 // 3, total]


@pytest.mark.parametrize("exact", [True, False])
def test_without_a_cup_it_is_exact(exact: bool) -> None:
    """None is known, or none is asked about."""
    found = ground_batch(with_cups(*([SMALL] if exact else [])), KEYED, "100ml", exact=exact)
    assert found.cup is None
    assert found.total_ml == found.wanted_ml == 100


def test_a_ground_that_is_not_mixed() -> None:
    """There is nothing to pour together."""
    with pytest.raises(UsageError, match="not mixed"):
        ground_batch(SHELF, KEYED.with_(ground="silver"), "100ml")
