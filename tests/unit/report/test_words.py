"""Figures in words: every figure has one, and more is never said to be less."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fewtone.report.words import difference_words, evenness_words, sureness_words

DIFFERENCES = (
    "the same to the eye",
    "hardly a difference, side by side",
    "a slight difference, side by side",
    "a clear difference",
    "another colour",
)
EVENNESS = ("very forgiving", "forgiving", "uneven passes show", "unforgiving")


@given(st.floats(0, 100), st.floats(0, 100))
def test_words_rise_with_the_figure(one: float, other: float) -> None:
    """A larger difference is never told as a smaller one."""
    low, high = sorted((one, other))
    assert DIFFERENCES.index(difference_words(low)) <= DIFFERENCES.index(difference_words(high))
    assert EVENNESS.index(evenness_words(low)) <= EVENNESS.index(evenness_words(high))


@pytest.mark.parametrize(
    ("chance", "words"),
    [
        (None, "not known yet"),
        (0.0, "0% of fresh panels pass"),
        (0.31, "31% of fresh panels pass"),
        (0.81, "81% of fresh panels pass"),
        (0.97, "97% of fresh panels pass"),
    ],
)
def test_certainty_is_told_in_panels(chance: float | None, words: str) -> None:
    """A chance in words and figures; that it is not known is said."""
    assert sureness_words(chance) == words
