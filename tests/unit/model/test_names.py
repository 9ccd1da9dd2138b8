"""Names are found by name or label, and what is not found is told with the nearest."""

from __future__ import annotations

from typing import Any

import pytest

import fewtone
from fewtone.errors import Fault, UsageError
from fewtone.io.settings import load_settings
from fewtone.model.names import (
    Names,
    UnknownOptionError,
    as_names,
    did_you_mean,
    named_options,
    slug,
)
from fewtone.model.recipe import parse
from lamp_shelf import LAMP_BENCH

SHELF = load_settings(LAMP_BENCH)
TONERS = Names(
    "toner",
    {
        "ruby-red": "Ruby Red",
        "ruby": "Old ruby",
        "sky": "Ciel + mer",
        "ash": "Smoke",
        "mist": "SMOKE",
    },
)
GROUNDS = Names("ground", {"silver": "Fine silver", "white": "White"})


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("ruby-red", "ruby-red"),
        ("Ruby  red", "ruby-red"),
        ("RUBY_RED", "ruby-red"),
        (" old Ruby ", "ruby"),
        ("ruby", "ruby"),
        ("ciel + mer", "sky"),
        ("smoke", None),
        ("rubi", None),
        ("", None),
    ],
)
def test_what_is_meant(text: str, name: str | None) -> None:
    """Any case, spaces or hyphens, name before label; a label of two is nobody's."""
    assert TONERS.find(text) == name


def test_a_fault_names_the_nearest_and_all_there_is() -> None:
    """A near label suggests its name; a shared label lists whose it is."""
    near = TONERS.fault("Rubi Red")
    assert "Did you mean 'ruby-red'?" in near.message
    assert "(ruby-red, ruby, sky, ash, mist)" in near.message
    assert "of several toners: ash, mist" in TONERS.fault("Smoke").message
    assert "Did you mean" not in TONERS.fault("zzz").message


def test_resolving_collects_all_faults() -> None:
    """Each unknown name is a fault; known ones come once, in the order asked."""
    faults: list[Fault] = []
    assert TONERS.resolve(["Sky", "no", "old ruby", "sky", "nay"], faults) == ("sky", "ruby")
    assert [fault.value for fault in faults] == ["no", "nay"]
    with pytest.raises(UsageError) as caught:
        TONERS.require(["no", "nay"], where="use: ")
    assert [fault.message[:9] for fault in caught.value.faults] == ["use: 'no'", "use: 'nay"]


def test_a_lone_string_is_one_name() -> None:
    """Not a list of its letters."""
    assert as_names("ruby") == ("ruby",)
    assert as_names(["ruby", "sky"]) == ("ruby", "sky")
    assert TONERS.require("Ruby Red") == ("ruby-red",)


@pytest.mark.parametrize(
    ("label", "name"),
    [("Ruby Red", "ruby-red"), ("Größe 2", "groe-2"), ("2 K", "n2-k"), ("\u7d05", ""), ("-", "")],
)
def test_names_from_labels(label: str, name: str) -> None:
    """Lower case, accents dropped, hyphens for all else."""
    assert slug(label) == name


@pytest.mark.parametrize(
    ("line", "printed"),
    [
        ("2 Ruby Red + 1 SKY, 6:1, 4 coats over Fine silver", "2 ruby-red + 1 sky"),
        ("2 ruby + 1 Ciel + Mer, 6:1, 4 coats over SILVER", "2 ruby + 1 sky"),
        ("Old Ruby, 6:1, 4 coats over fine  Silver", "1 ruby"),
    ],
)
def test_recipe_lines_by_label(line: str, printed: str) -> None:
    """A line may hold labels, even ones with a plus; it is printed by name."""
    assert str(parse(line, TONERS, GROUNDS)) == f"{printed}, 6:1, 4 coats over silver"


def test_all_unknown_names_of_a_line_are_told() -> None:
    """Two toners and a ground, each with its nearest; a misspelt label of two words is one name."""
    with pytest.raises(UsageError) as caught:
        parse("2 Rubi Red + 1 skyy, 6:1, 4 coats over slver", TONERS, GROUNDS)
    words = [fault.message for fault in caught.value.faults]
    assert [word.split("Did you mean ")[1] for word in words] == [
        "'ruby-red'?",
        "'sky'?",
        "'silver'?",
    ]
    assert words[0].startswith("'Rubi Red' is not a toner")


def test_a_missing_comma_is_still_the_fault() -> None:
    """What stands where a name should does not swallow the letdown."""
    with pytest.raises(UsageError, match="a comma after the blend"):
        parse("2 rubi 6:1, 4 coats over silver", TONERS, GROUNDS)


def test_without_a_shelf_capitals_do_not_matter() -> None:
    """`parse` alone knows no labels."""
    assert str(parse("2 Ruby + 1 Sky, 6:1, 4 Coats over Silver".replace("Coats", "coats"))) == (
        "2 ruby + 1 sky, 6:1, 4 coats over silver"
    )


def test_a_recipe_made_by_hand_is_found_by_label_too() -> None:
    """The shelf turns the labels of a Recipe into names."""
    recipe = fewtone.Recipe({"Marigold": 2, "DUSK": 1}, 6, 4, "Fine silver")
    assert str(SHELF.recipe(recipe)) == "2 marigold + 1 dusk, 6:1, 4 coats over silver"
    with pytest.raises(UsageError, match="Did you mean 'dusk'"):
        SHELF.recipe(fewtone.Recipe({"dask": 1}, 6, 4, "silver"))
    with pytest.raises(UsageError, match="the same toner"):
        SHELF.recipe(fewtone.Recipe({"dusk": 1, "Dusk": 1}, 6, 4, "silver"))


@named_options
def inner(*, max_toners: int = 3, grounds: str = "") -> tuple[int, str]:
    """Takes two options."""
    return max_toners, grounds


@named_options
def outer(target: str, *, light: str = "", **options: Any) -> tuple[object, ...]:
    """Hands options on."""
    return target, light, *inner(**options)


@pytest.mark.parametrize(
    ("option", "likely"), [("max_toner", "max_toners"), ("ligth", "light"), ("ground", "grounds")]
)
def test_an_unknown_option_suggests_the_nearest(option: str, likely: str) -> None:
    """Of the call's own options and of those that it hands on; it is a TypeError too."""
    asked: dict[str, Any] = {option: 1}
    with pytest.raises(UnknownOptionError, match=f"Did you mean '{likely}'") as caught:
        outer("x", **asked)
    assert isinstance(caught.value, TypeError)
    assert "max_toners, grounds" in (caught.value.faults[0].fix or "")
    assert outer("x", max_toners=2) == ("x", "", 2, "")


def test_dir_lists_the_public_names() -> None:
    """And nothing else."""
    assert dir(fewtone) == sorted(fewtone.__all__)


def test_suggestions_know_no_case() -> None:
    """SLVER is near Silver."""
    assert did_you_mean("SLVER", ["Silver", "white"]) == " Did you mean 'Silver'?"
