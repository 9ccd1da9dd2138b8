"""Cups as shelf.toml writes them."""

from __future__ import annotations

from fractions import Fraction

import pytest

from fewtone.errors import UsageError
from fewtone.model.cup import Cup


@pytest.mark.parametrize(
    ("text", "holds", "step", "name", "marks"),
    [
        ("600ml by 10ml", 600, 10, "600 ml cup", "every 10 ml"),
        ("1.5 L by 25 ml", 1500, 25, "1500 ml cup", "every 25 ml"),
        ("700ml in 20 parts", 700, 35, "700 ml cup", "in parts of 35 ml"),
        (
            "32floz-us by 0.5 floz-us",
            32 * Fraction("29.5735295625"),  # NIST SP 811: 1 fl oz (US) = 29.573 53 ml
            Fraction("14.78676478125"),
            "32 floz-us cup",
            "every 0.5 floz-us",
        ),
    ],
)
def test_cups_read(text: str, holds: Fraction, step: Fraction, name: str, marks: str) -> None:
    """What it holds, its step, and how it is called; exact."""
    cup = Cup.parse(text)
    assert (cup.holds_ml, cup.step_ml) == (holds, step)
    assert (str(cup), cup.marks) == (name, marks)


@pytest.mark.parametrize(
    "text", ["600ml", "by 10ml", "600ml by", "10ml by 600ml", "600 by 10", "700ml in 0 parts"]
)
def test_what_is_no_cup(text: str) -> None:
    """Each is refused with how to write it."""
    with pytest.raises(UsageError) as caught:
        Cup.parse(text)
    assert caught.value.faults[0].fix
