"""Amounts as people write them."""

from __future__ import annotations

from fractions import Fraction

import pytest

from fewtone.errors import UsageError
from fewtone.model.units import area_m2, percent, volume_ml, volume_or_share


@pytest.mark.parametrize(
    ("text", "ml"),
    [
        ("600ml", 600),
        (" 600 ML ", 600),
        ("0.6 l", 600),
        ("0,6l", 600),
        ("1.5l", 1500),
        ("12.5ml", Fraction(25, 2)),
    ],
)
def test_volumes_read_as_written(text: str, ml: Fraction | int) -> None:
    """A volume with its unit is read exactly, with decimal point or comma, in any case."""
    assert volume_ml(text) == ml


def test_numbers_in_python_are_in_the_base_unit() -> None:
    """From Python a bare number is millilitres or square metres."""
    assert volume_ml(600) == 600
    assert area_m2(Fraction(7, 5)) == Fraction("1.4")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("20oz", "Is it floz-us or floz-imp?"),
        ("2qt", "Is it qt-us?"),
        ("2 pt", "Is it pt-imp?"),
        ("20 floz-uk", "Did you mean"),
        ("600mls", "Did you mean 'ml'?"),
        ("600", "has no unit"),
        ("half a cup", "is not a number and a unit"),
        ("", "is not a number and a unit"),
        ("-20ml", "cannot be negative"),
        ("\u221220ml", "cannot be negative"),
        ("0 ml", "must be more than 0"),
        ("1e9 ml", "is not known"),
        ("999999999999 l", "is beyond"),
        ("1.2.3 ml", "is not a number and a unit"),
    ],
)
def test_what_is_no_volume_is_refused(text: str, words: str) -> None:
    """A volume that cannot be used is refused with what is wrong and how to write it."""
    with pytest.raises(UsageError) as caught:
        volume_ml(text)
    assert words in caught.value.faults[0].message
    assert caught.value.faults[0].fix


def test_extra_is_a_volume_or_a_share() -> None:
    """What gun and cup keep is given as a volume or as a percentage of the rest; 0 is allowed."""
    assert volume_or_share("10%", Fraction(600), what="The extra") == 60
    assert volume_or_share("40 ml", Fraction(600), what="The extra") == 40
    assert volume_or_share("0ml", Fraction(600), what="The extra") == 0
    assert volume_or_share(25, Fraction(600), what="The extra") == 25


@pytest.mark.parametrize("text", ["-5%", "lots", "5000%"])
def test_what_is_no_percentage_is_refused(text: str) -> None:
    """A percentage is a number from 0 to 1000."""
    with pytest.raises(UsageError):
        percent(text, what="The reducer")


def test_percentages_read_with_and_without_sign() -> None:
    """15, 15% and 12,5 % all read."""
    assert percent("15", what="x") == percent("15%", what="x") == percent(15, what="x") == 15
    assert percent("12,5 %", what="x") == Fraction(25, 2)
