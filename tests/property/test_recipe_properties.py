"""Recipe lines under Hypothesis."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from math import gcd
from random import Random

from hypothesis import given
from hypothesis import strategies as st

from fewtone.model.blend import Number
from fewtone.model.keyed import KeyedGround
from fewtone.model.names import RESERVED
from fewtone.model.recipe import Recipe, parse

names = st.from_regex(r"[a-z][a-z0-9-]{0,8}", fullmatch=True).filter(lambda n: n not in RESERVED)
decimals = st.decimals(min_value=Decimal("0.01"), max_value=1000, places=2)
parts: st.SearchStrategy[Number] = st.one_of(st.integers(1, 100), decimals)
keyed = st.dictionaries(names, st.integers(1, 12), min_size=2, max_size=4).map(KeyedGround)
recipes = st.builds(
    Recipe,
    blend=st.dictionaries(names, parts, min_size=1, max_size=5),
    medium_parts=st.one_of(st.integers(0, 20), decimals),
    coats=st.one_of(st.integers(0, 20), decimals),
    ground=st.one_of(names, keyed.map(str)),
)


@given(recipes)
def test_a_printed_recipe_parses_back_to_itself(recipe: Recipe) -> None:
    """Printing and parsing are inverse, whatever the parts."""
    assert parse(str(recipe)) == recipe
    assert str(parse(str(recipe))) == str(recipe)


@given(recipes, st.integers(2, 9))
def test_the_scale_of_whole_parts_is_irrelevant(recipe: Recipe, factor: int) -> None:
    """Parts times a whole number are the same blend, and print alike where they are whole."""
    scaled = recipe.with_(blend={name: part * factor for name, part in recipe.blend.items()})
    assert scaled.blend.fractions == recipe.blend.fractions
    if all(isinstance(part, int) for part in recipe.blend.values()):
        assert str(scaled) == str(recipe)


@given(recipes)
def test_fractions_sum_to_one(recipe: Recipe) -> None:
    """The shares of a blend are exact and whole together."""
    assert sum(recipe.blend.fractions.values()) == Fraction(1)


@given(keyed, st.integers(1, 9), st.randoms())
def test_a_keyed_ground_reads_back_whatever_its_order_and_scale(
    ground: KeyedGround, factor: int, random: Random
) -> None:
    """Its text is one: in lowest terms, falling parts, then by name."""
    pieces = [f"{part * factor} {name.upper()}" for name, part in ground.parts.items()]
    random.shuffle(pieces)
    again = KeyedGround.parse(" + ".join(pieces))
    assert again == ground
    assert str(again) == str(ground)
    parts = list(ground.parts.items())
    assert gcd(*(int(part) for _, part in parts)) == 1
    assert parts == sorted(parts, key=lambda item: (-item[1], item[0]))
