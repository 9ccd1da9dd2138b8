"""The bottles that a deck takes, against trying every set of them."""

from __future__ import annotations

import itertools
import math
import random
import sys

import pytest

from fewtone.decks import hitting, needed
from fewtone.errors import UsageError
from fewtone.recipes.rules import Rules

TONERS, GROUNDS = ("a", "b", "c", "d", "e", "f"), ("x", "y", "z")
RULES = Rules(TONERS, GROUNDS, (6,), (1, 2), 2)
Supports = list[list[tuple[tuple[str, ...], str]]]


def drawn(seed: int) -> Supports:
    """A deck of 4 to 20 swatches, each with up to six pairs that reach it; some out of reach."""
    rng = random.Random(seed)
    return [
        [
            (tuple(sorted(rng.sample(TONERS, rng.choice((1, 2, 2, 3))))), rng.choice(GROUNDS))
            for _ in range(rng.choice((0, 1, 2, 3, 6)))
        ]
        for _ in range(rng.randrange(4, 21))
    ]


def reach(supports: Supports, toners: set[str], grounds: set[str]) -> int:
    """How many swatches a set of bottles reaches."""
    return sum(any(set(t) <= toners and g in grounds for t, g in pairs) for pairs in supports)


def subsets(names: tuple[str, ...]) -> list[set[str]]:
    """Every set of names."""
    return [set(c) for n in range(len(names) + 1) for c in itertools.combinations(names, n)]


@pytest.mark.parametrize("counted", [None, 0])
@pytest.mark.parametrize("seed", range(25))
def test_no_set_of_bottles_is_better(
    seed: int, counted: int | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Fewest toners, then grounds, then most swatches, of all 512 sets; bounds and losses too.

    Whether sets of a size are all counted, or the programme has to find out by rows.
    """
    if counted is not None:
        monkeypatch.setattr(hitting, "_ALL", counted)
        monkeypatch.setattr(hitting, "_SOME", 1)
    supports = drawn(seed)
    percent = (10, 35, 50, 75, 100)[seed % 5]
    wanted = math.ceil(percent * len(supports) / 100)
    best = min(
        (
            (len(t), len(g), -reach(supports, t, g))
            for t in subsets(TONERS)
            for g in subsets(GROUNDS)
            if reach(supports, t, g) >= wanted
        ),
        default=None,
    )
    found = needed(supports, percent, RULES)
    every = reach(supports, set(TONERS), set(GROUNDS))
    assert (found.swatches, found.reachable) == (len(supports), every)
    if best is None:
        assert found.toners is None
        assert found.grounds is None
    else:
        assert found.toners is not None
        assert found.grounds is not None
        assert (len(found.toners), len(found.grounds), -found.reached) == best
        assert reach(supports, set(found.toners), set(found.grounds)) == found.reached
        assert (found.least_toners, found.least_grounds, found.most_reached) == (
            *best[:2],
            -best[2],
        )
        assert found.proven
    lost = {t: every - reach(supports, set(TONERS) - {t}, set(GROUNDS)) for t in TONERS}
    assert {loss.name: loss.swatches for loss in found.losses} == lost
    assert found.losses[0].swatches == max(lost.values())


def test_swatches_that_ask_the_same_count_each() -> None:
    """Ninety of a hundred swatches need one toner: a tenth of the deck needs no other."""
    one: Supports = [[(("a",), "x")]]
    other: Supports = [[(("b",), "y")]]
    supports = one * 90 + other * 10
    found = needed(supports, 90, RULES)
    assert (found.toners, found.grounds, found.reached) == (("a",), ("x",), 90)
    assert needed(supports, 90.5, RULES).toners == ("a", "b")


def test_out_of_time_it_tells_how_far_it_is_proven(monkeypatch: pytest.MonkeyPatch) -> None:
    """With no time at all: a set that reaches enough, bounds that hold, and no claim of proof."""
    module = sys.modules["fewtone.decks.needed"]
    for seed in range(25):
        monkeypatch.setattr(module, "_LONGEST_S", 60.0)
        whole = needed(drawn(seed), 50, RULES)
        monkeypatch.setattr(module, "_LONGEST_S", 0.0)
        found = needed(drawn(seed), 50, RULES)
        if whole.toners is None or whole.grounds is None:
            continue
        assert found.toners is not None
        assert found.grounds is not None
        assert found.reached >= math.ceil(0.5 * found.swatches)
        assert found.least_toners <= whole.least_toners <= len(found.toners)
        assert found.reached <= found.most_reached
        assert not found.proven or len(found.toners) == len(whole.toners)


@pytest.mark.parametrize("percent", [0.0, -1.0, 101.0, float("nan")])
def test_what_is_no_share_is_refused(percent: float) -> None:
    """With what to write."""
    with pytest.raises(UsageError, match="90%"):
        needed([], percent, RULES)
