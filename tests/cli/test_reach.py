"""`fewtone reach`: outlines as numbers, as a picture, and what lies within them."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree

from cli.conftest import Run

SWATCHES = Path(__file__).parents[2] / "examples" / "swatches.csv"


def test_outlines_are_told_in_numbers_and_drawn(
    learnt_demo: Path, run: Run, tmp_path: Path
) -> None:
    """A line for each ground and lightness; a target marked, and the swatches that lie within."""
    picture = tmp_path / "reach.svg"
    words = ("reach", "--shelf", learnt_demo, "--target", "34.1,59.3,12.5", "--deck", SWATCHES)
    ran = run(*words, "-o", picture, "--json")
    assert ran.code == 0
    document = ran.document
    assert [each["ground"] for each in document["grounds"]] == [
        "white", "silver", "brass", "graphite",
    ]  # fmt: skip
    (silver,) = [each for each in document["grounds"] if each["ground"] == "silver"]
    assert silver["darkest"] < 30.0 < silver["lightest"]
    assert all(len(outline["ab"]) > 8 for outline in silver["outlines"][:5])
    assert "silver" in document["target"]["within"]
    assert "graphite" not in document["target"]["within"]
    within = [each["name"] for each in document["swatches"] if each["within"]]
    assert 8 < len(within) < len(document["swatches"])
    ElementTree.parse(picture)
    read = run(*words, "--keyed")
    assert "1 silver + 1 white" in read.out
    assert f"of {len(document['swatches'])} swatches lie within an outline" in " ".join(
        read.out.split()
    )


def test_what_is_wrong_is_said(learnt_demo: Path, run: Run, tmp_path: Path) -> None:
    """Another kind of picture, one that is there, a ground that is not, another light."""
    there = tmp_path / "there.svg"
    there.write_text("mine", encoding="utf-8")
    for words, said in (
        (("-o", tmp_path / "reach.tiff"), ".svg is allowed"),
        (("-o", there), "there.svg"),
        (("--ground", "silvre"), "Did you mean 'silver'?"),
        (("--use", "marigould"), "Did you mean 'marigold'?"),
    ):
        ran = run("reach", "--shelf", learnt_demo, *words)
        assert ran.code in (1, 2)
        assert said in " ".join(ran.err.split())
    assert there.read_text(encoding="utf-8") == "mine"


def test_swatches_in_another_light_are_one_fault(
    learnt_demo: Path, run: Run, tmp_path: Path
) -> None:
    """However many there are."""
    deck = tmp_path / "deck.csv"
    rows = "".join(f"{number},40,10,10,C/2\n" for number in range(30))
    deck.write_text("number,L,a,b,light\n" + rows, encoding="utf-8")
    ran = run("reach", "--shelf", learnt_demo, "--deck", deck)
    assert ran.code == 2
    assert ran.err.count("the reach in D65/10") == 1
    assert "30 colours are in C/2" in ran.err
