"""Targets: swatch numbers, triples and hex colours, in that order."""

from __future__ import annotations

from pathlib import Path

import pytest

from fewtone.colorimetry import Light
from fewtone.errors import FewtoneError, UsageError
from fewtone.io.targets import read_target
from fewtone.model.shelf import Measurement

SHELF = Measurement(light=Light("D50", 10))


@pytest.fixture
def deck(tmp_path: Path) -> Path:
    """A deck of three swatches."""
    path = tmp_path / "deck.csv"
    path.write_text(
        "number;L;a;b;name;light\n101;38,2;-18,4;9,7;Moss;\n102;40;1;2;;A/2\nL-7;50;0;0;Dove;\n"
    )
    return path


@pytest.mark.parametrize("text", ["38.2,-18.4,9.7", " 38.2 , -18.4, 9.7 ", "38,2;-18,4;9,7"])
def test_a_triple_is_in_the_shelf_s_light(text: str) -> None:
    """A triple is taken in the shelf's light unless another is said."""
    assert read_target(text, SHELF).lab == (38.2, -18.4, 9.7)
    assert read_target(text, SHELF).light == Light("D50", 10)
    assert read_target(text, SHELF, light=Light("A", 2)).light == Light("A", 2)


def test_a_hex_colour_is_srgb_with_a_caution() -> None:
    """White is L* 100; the caution says what a hex colour is worth; another light is refused."""
    target = read_target("#ffffff", SHELF)
    assert target.lab == pytest.approx((100.0, 0.0, 0.0), abs=0.02)  # rounded sRGB matrix
    assert target.light == Light("D65", 2)
    assert target.cautions
    with pytest.raises(UsageError):
        read_target("#ffffff", SHELF, light=Light("D50", 2))


def test_a_swatch_number_comes_first(deck: Path) -> None:
    """A number of the deck is a swatch, with its name and light; a triple still works."""
    target = read_target("101", SHELF, deck=deck)
    assert (target.lab, target.name, target.request) == ((38.2, -18.4, 9.7), "Moss", "101")
    assert target.light == Light("D50", 10)
    assert read_target("101", SHELF, deck=deck, light=Light("D65", 10)).light.illuminant == "D65"
    assert read_target("102", SHELF, deck=deck).light == Light("A", 2)
    assert read_target("1,2,3", SHELF, deck=deck).lab == (1.0, 2.0, 3.0)


@pytest.mark.parametrize(
    "text",
    ["teal", "38.2,-18.4", "1,2,3,4", "300,0,0", "50,0,999", "", "nan,0,0", "#12345", "#gg0000"],
)
def test_what_is_no_colour_is_wrong_usage(text: str) -> None:
    """The message shows what a target looks like."""
    with pytest.raises(UsageError) as caught:
        read_target(text, SHELF)
    assert caught.value.faults[0].fix


def test_an_unknown_swatch_names_a_near_one(deck: Path) -> None:
    """A number that the deck lacks is wrong usage; the nearest number is shown."""
    with pytest.raises(UsageError) as caught:
        read_target("L-8", SHELF, deck=deck)
    assert "L-7" in caught.value.faults[0].message


def test_faults_of_a_deck_come_in_one_go(tmp_path: Path) -> None:
    """Repeated numbers, bad figures and unknown lights are all named."""
    path = tmp_path / "deck.csv"
    path.write_text("number,L,a,b,light\n1,x,0,0,\n1,50,0,0,\n2,50,0,0,Q/3\n")
    with pytest.raises(FewtoneError) as caught:
        read_target("1", SHELF, deck=path)
    assert [(f.row, f.column) for f in caught.value.faults] == [
        (2, "L"),
        (3, "number"),
        (4, "light"),
    ]
    path.write_text("number,L,a\n1,2,3\n")
    with pytest.raises(FewtoneError, match="'b' is missing"):
        read_target("1", SHELF, deck=path)
