"""What is picked of the recipes that pass, by how likely they are to."""

from __future__ import annotations

import pytest

from fewtone.match.passing import Passer, Passing
from fewtone.model.recipe import parse

LINES = [f"{n} dusk + 1 ash, 6:1, 3 coats over silver" for n in (1, 2, 3)]


def front(*percents: int) -> Passing:
    """Ever less simple recipes with such chances, which rise."""
    passing = Passing.__new__(Passing)
    passing.front = [
        Passer(rank, 0.5, 0, line, percent, parse(line))
        for rank, (line, percent) in enumerate(zip(LINES, percents, strict=False))
    ]
    return passing


@pytest.mark.parametrize(
    ("percents", "simplest"),
    [((90, 95, 100), 0), ((89, 90, 100), 1), ((89, 100), 1), ((45, 49, 50), 0), ((0,), 0)],
)
def test_the_simplest_has_nine_tenths_of_the_surest(
    percents: tuple[int, ...], simplest: int
) -> None:
    """Just nine tenths are enough, and a hundredth less is not."""
    found = front(*percents)
    assert found.simplest == parse(LINES[simplest])
    assert found.surest == parse(LINES[len(percents) - 1])


def test_where_nothing_passes_nothing_is_picked() -> None:
    """An empty front has neither."""
    assert front().simplest is None
    assert front().surest is None
