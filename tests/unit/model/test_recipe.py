"""Recipe lines: what they mean, how they are printed, and where they go wrong."""

from __future__ import annotations

import pickle
from decimal import Decimal
from fractions import Fraction

import pytest

from fewtone.errors import FewtoneError
from fewtone.model.recipe import Recipe, parse, parse_blend


@pytest.mark.parametrize(
    ("typed", "printed"),
    [
        (
            "2 marigold + 1 dusk, 6:1, 4 coats over silver",
            "2 marigold + 1 dusk, 6:1, 4 coats over silver",
        ),
        ("4 dusk+2 ash,6:1,1 coats over silver", "2 dusk + 1 ash, 6:1, 1 coat over silver"),
        ("marigold, 6:1, 4 coats over silver", "1 marigold, 6:1, 4 coats over silver"),
        ("1 b + 1 a, 8:1, 2 coats over white", "1 a + 1 b, 8:1, 2 coats over white"),
        (
            "22 dusk + 41.5 marigold + 6.5 ash, 6:1, 3 coats over silver",
            "41.5 marigold + 22 dusk + 6.5 ash, 6:1, 3 coats over silver",
        ),
        ("1,5 dusk + 1 ash, 6,5:1, 2,5 coats over white", None),
        ("2.50 dusk + 1 ash, 0:1, 0 coats over white", None),
    ],
)
def test_lines_are_printed_one_way(typed: str, printed: str | None) -> None:
    """A line is printed in the one order and form, and that form parses back to itself."""
    recipe = parse(typed)
    assert printed is None or str(recipe) == printed
    assert parse(str(recipe)) == recipe
    assert str(parse(str(recipe))) == str(recipe)


def test_decimals_are_printed_as_given() -> None:
    """Decimal parts keep the digits they were given with; whole ones never grow a point."""
    line = "41.50 marigold + 22 dusk, 6.5:1, 2.5 coats over silver"
    assert str(parse(line)) == line
    assert parse("2.0 dusk + 4 ash, 6:1, 3 coats over white").blend == {"ash": 2, "dusk": 1}


def test_load_and_fractions_are_exact() -> None:
    """The load and the blend's shares are rationals, so that equal colours tie exactly."""
    recipe = parse("2 marigold + 1 dusk, 8:1, 3 coats over silver")
    assert recipe.load == Fraction(1, 3) == parse("dusk, 5:1, 2 coats over silver").load
    assert recipe.blend.fractions == {"marigold": Fraction(2, 3), "dusk": Fraction(1, 3)}


def test_blend_is_read_only_and_recipes_are_values() -> None:
    """A recipe cannot be changed; equal recipes are equal, hash alike and survive pickling."""
    recipe = parse("2 marigold + 1 dusk, 6:1, 4 coats over silver")
    with pytest.raises(TypeError):
        recipe.blend["dusk"] = 2  # type: ignore[index]
    other = Recipe({"dusk": 2, "marigold": Decimal(4)}, 6, 4, "silver")
    assert other == recipe
    assert hash(other) == hash(recipe)
    assert pickle.loads(pickle.dumps(recipe)) == recipe
    assert recipe.with_(coats=5) != recipe
    assert recipe != parse("1 marigold + 2 dusk, 6:1, 4 coats over silver")


@pytest.mark.parametrize(
    ("line", "at", "problem"),
    [
        ("2 marigold + , 6:1, 4 coats over silver", 14, "a toner's name"),
        ("2 marigold 1 dusk, 6:1, 4 coats over silver", 12, "a comma after the blend"),
        ("2 marigold, 6:2, 4 coats over silver", 14, "':1'"),
        ("2 marigold, 6:1.5, 4 coats over silver", 14, "':1'"),
        ("2 marigold, 6, 4 coats over silver", 14, "':1'"),
        ("2 marigold, 6:1, four coats over silver", 18, "the number of coats"),
        ("2 marigold, 6:1, 4 coats silver", 26, "'over'"),
        ("2 marigold, 6:1, 4 coats over", 30, "the name of the ground"),
        ("2 marigold, 6:1, 4 coats over silver please", 38, "nothing more"),
        ("2 medium, 6:1, 4 coats over silver", 3, "reserved"),
        ("2 dusk + 1 dusk, 6:1, 4 coats over silver", 12, "twice"),
        ("", 1, "a toner's name"),
    ],
)
def test_what_does_not_parse_is_pointed_at(line: str, at: int, problem: str) -> None:
    """The message names the place, points at it, and shows the pattern."""
    with pytest.raises(FewtoneError) as caught:
        parse(line)
    (fault,) = caught.value.faults
    assert f"at character {at}:" in fault.message
    assert problem in fault.message
    pointer = fault.message.splitlines()[2]
    assert pointer == " " * (at + 1) + "^"
    assert "2 marigold + 1 dusk, 6:1, 4 coats over silver" in (fault.fix or "")
    assert fault.value == line


@pytest.mark.parametrize(
    "line",
    [
        "0 dusk, 6:1, 4 coats over silver",
        "2 dusk, 9999999:1, 4 coats over silver",
        "2 dusk, 6:1, 9999999 coats over silver",
    ],
)
def test_numbers_out_of_range_are_faults(line: str) -> None:
    """Parts of nothing and absurd amounts are refused, with the line as the value."""
    with pytest.raises(FewtoneError) as caught:
        parse(line)
    assert caught.value.faults[0].value == line


@pytest.mark.parametrize("part", [0, -1, float("nan"), float("inf"), "x"])
def test_impossible_parts_are_faults(part: object) -> None:
    """Parts that are no positive number are refused where recipes are built in Python too."""
    with pytest.raises(FewtoneError):
        Recipe({"dusk": part}, 6, 4, "silver")  # type: ignore[dict-item]
    with pytest.raises(FewtoneError):
        Recipe({}, 6, 4, "silver")


def test_blends_read_alone() -> None:
    """A blend reads as it does in a recipe, and refuses what follows it."""
    assert str(parse_blend("dusk + 2 ash")) == "2 ash + 1 dusk"
    with pytest.raises(FewtoneError):
        parse_blend("2 ash, 6:1")


@pytest.mark.parametrize(
    "line",
    [
        "2 marigold + 1 dusk, 6:1, 4 coats over silver",
        "41.5 marigold + 22 dusk + 6.5 ash, 6:1, 3 coats over silver",
        "3 dusk + 1 ash, 4.5:1, 2.5 coats over white",
    ],
)
def test_doses_are_load_times_fraction(line: str) -> None:
    """Whole numbers and decimals alike, to the last place or two of exact fractions."""
    recipe = parse(line)
    exact = {name: recipe.load * share for name, share in recipe.blend.fractions.items()}
    assert recipe.doses == pytest.approx({n: float(d) for n, d in exact.items()}, rel=1e-15)
