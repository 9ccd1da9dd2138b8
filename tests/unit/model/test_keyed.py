"""Keyed grounds as text: what reads as one, and what is said of what does not."""

from __future__ import annotations

import pytest

from fewtone.errors import FewtoneError
from fewtone.model.keyed import GroundNames, KeyedGround, parents_of
from fewtone.model.recipe import Recipe, parse

GROUNDS = GroundNames("ground", {"silver": "Fine silver", "moss": "Moss", "red-oxide": "2K oxide"})


@pytest.mark.parametrize(
    ("text", "printed"),
    [
        ("2 silver + 1 moss", "2 silver + 1 moss"),
        ("moss+silver", "1 moss + 1 silver"),
        ("2 Fine  Silver + 4 MOSS", "2 moss + 1 silver"),
        ("2K oxide + 3 moss", "3 moss + 1 red-oxide"),
        ("Fine silver", "silver"),
        ("2k-oxide", "red-oxide"),
    ],
)
def test_grounds_are_found_by_name_label_or_as_a_mix(text: str, printed: str) -> None:
    """Whatever case, order and scale; printed in lowest terms, falling parts, then by name."""
    assert GROUNDS.find(text) == printed
    assert GROUNDS.require(text) == (printed,)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("2 silver + 1 mos", "Did you mean 'moss'?"),
        ("2 silver", "a mix of two grounds or more; here is silver alone"),
        ("0 silver + 1 moss", "a whole number of 1 or more, not 0"),
        ("1.5 silver + 1 moss", "a whole number of 1 or more, not 1.5"),
        ("9999999 silver + 1 moss", "at most 1,000,000, not 9,999,999"),
        ("silver + Fine silver", "a ground is not keyed with itself"),
        ("1 silver + ", "is missing beside a '+'"),
        ("9" * 150 + " silver + moss", "too many digits"),
    ],
)
def test_what_is_wrong_with_a_mix_is_said(text: str, said: str) -> None:
    """In a recipe line, and wherever grounds are named."""
    for call in (lambda: GROUNDS.require(text), lambda: KeyedGround.parse(text, GROUNDS)):
        with pytest.raises(FewtoneError) as caught:
            call()
        fault = caught.value.faults[0]
        assert said in fault.message
        assert fault.fix
        assert fault.value == text
    with pytest.raises(FewtoneError, match=r"(?s)" + said[:12]):
        parse(f"marigold, 6:1, 2 coats over {text}", grounds=GROUNDS)


def test_a_recipe_holds_a_keyed_ground_as_its_text() -> None:
    """However it was written; the name of a ground alone stays as it was."""
    line = "2 marigold + 1 dusk, 6:1, 2 coats over 2 silver + 1 moss"
    assert str(parse(line)) == line
    assert str(parse("4 marigold + 2 dusk, 6:1, 2 coats over moss + 2 Silver")) == line
    recipe = Recipe({"dusk": 1}, 6, 2, "3 moss + 3 silver")
    assert recipe.ground == "1 moss + 1 silver"
    assert parents_of(recipe.ground) == ("moss", "silver")
    assert parents_of("silver") == ("silver",)
