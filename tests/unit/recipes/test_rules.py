"""The rules of a match."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from types import MappingProxyType
from typing import Any

import pytest

from fewtone.errors import UsageError
from fewtone.recipes.rules import Rules
from invented import invented_shelf

_, SHELF = invented_shelf(1, 4, 3)
EMPTY = replace(
    SHELF,
    toners=MappingProxyType(
        {n: replace(t, in_stock=n != "toner-02") for n, t in SHELF.toners.items()}
    ),
)


def test_the_shop_sets_what_is_not_asked_for() -> None:
    """Without overrides the rules are the shop's own."""
    rules = Rules.of(SHELF)
    assert rules.toners == tuple(SHELF.toners)
    assert rules.grounds == tuple(SHELF.grounds)
    assert rules.medium_parts == SHELF.mixing.medium_parts
    assert (rules.coats, rules.max_part) == (SHELF.mixing.coats, SHELF.mixing.max_part)
    assert (rules.tolerance, rules.max_toners, rules.top) == (1.0, 3, 8)


def test_toners_out_of_stock_are_passed_over() -> None:
    """A toner that is out of stock is not used."""
    assert "toner-02" not in Rules.of(EMPTY).toners


def test_letdowns_and_grounds_keep_the_order_of_the_shelf() -> None:
    """Letdowns rank as the shop lists them, strange ones last; grounds as the shelf lists them."""
    rules = Rules.of(SHELF, medium_parts=(Decimal("7.5"), 4, 8, 8), grounds=("charcoal", "white"))
    assert rules.medium_parts == (8, 4, Decimal("7.5"))
    assert rules.grounds == ("white", "charcoal")


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({"use": ("toner-09",)}, "toner-00, toner-01, toner-02, toner-03"),
        ({"without": ("tonner_01",)}, "Did you mean 'toner-01'?"),
        ({"grounds": ("sliver",)}, "Did you mean 'silver'?"),
        ({"grounds": ()}, "white, silver, charcoal"),
        ({"use": ("toner-02",)}, "toner-02 is out of stock"),
        ({"keep": ("toner-02",)}, "toner-02 is out of stock"),
        ({"use": ("toner-01",), "without": ("toner-01",)}, "asked for and left out at once"),
        ({"use": ()}, "No toner is left"),
        ({"max_toners": 0}, "`max_toners` must be a whole number from 1"),
        ({"max_part": 0}, "`max_part` must be a whole number from 1"),
        ({"top": -1}, "`top` must be a whole number from 0"),
        ({"coats": (3, 2)}, "the fewest first"),
        ({"coats": (0, 2)}, "from 1"),
        ({"tolerance": float("nan")}, "ΔE00 of 0 or more"),
        ({"medium_parts": (-1,)}, "This shop uses 6:1, 8:1, 5:1, 4:1"),
        ({"medium_parts": ()}, "This shop uses"),
        ({"max_toners": 4, "max_part": 50}, "too many ratios"),
        ({"max_toners": 1, "keep": ("toner-00", "toner-01")}, "only 1 allowed"),
    ],
)
def test_wrong_rules_say_what_is_allowed(options: dict[str, Any], said: str) -> None:
    """A rule that cannot be kept is a usage error that lists what is allowed."""
    with pytest.raises(UsageError) as caught:
        Rules.of(EMPTY, **options)
    assert said in str(caught.value)


@pytest.mark.parametrize(
    ("name", "least", "most"), [("max_toners", 1, 99), ("max_part", 1, 50), ("top", 0, 10_000)]
)
def test_numbers_may_be_the_ends_of_their_ranges(name: str, least: int, most: int) -> None:
    """The least and the most that are told are allowed, and nothing beyond them."""
    narrow: dict[str, Any] = {"max_toners": 1, "max_part": 1}
    for value in (least, most):
        assert getattr(Rules.of(SHELF, **{**narrow, name: value}), name) == value
    for value in (least - 1, most + 1):
        with pytest.raises(UsageError, match=f"from {least} to {most}"):
            Rules.of(SHELF, **{**narrow, name: value})


def test_all_faults_are_told_at_once() -> None:
    """Several wrong rules give several faults."""
    with pytest.raises(UsageError) as caught:
        Rules.of(SHELF, use=("a", "b"), grounds=("c",), max_part=0)
    assert len(caught.value.faults) == 4


def test_no_medium_at_all_is_a_letdown() -> None:
    """A blend may be sprayed as it is."""
    assert Rules.of(SHELF, medium_parts=[0]).medium_parts == (0,)
