"""`fewtone compare` from the command line."""

from __future__ import annotations

from pathlib import Path

import pytest

import fewtone
from cli.conftest import Run

RECIPES = ("2 marigold + 1 dusk, 6:1, 4 coats over silver", "marigold, 6:1, 3 coats over silver")
TARGET = "45,20,30"
PRINTED = 5e-5  # Lab and ΔE00 stand in the document with four decimals


def test_the_document_is_what_python_gives(learnt_demo: Path, run: Run) -> None:
    """Colour, grounds, lights, chance, unevenness and cost of each, in the order given."""
    ran = run("compare", *RECIPES, "--target", TARGET, "--shelf", learnt_demo, "--json")
    assert ran.code == 0
    result = fewtone.load(learnt_demo).compare(RECIPES, target=TARGET)
    for told, compared in zip(ran.document["recipes"], result.recipes, strict=True):
        assert told["recipe"] == str(compared.match.recipe)
        assert told["pass_probability"] == compared.match.pass_probability
        assert told["unevenness"] == compared.match.unevenness
        assert told["cost_per_litre"] == pytest.approx(compared.cost_per_litre, abs=PRINTED)
        over = {row["ground"]: row["de00"] for row in told["grounds"]}
        assert over == pytest.approx({g: s.de00 for g, s in compared.grounds.items()}, abs=PRINTED)
        assert [row["illuminant"] for row in told["lights"]] == ["D65", "A", "F11", "LED-B3"]


def test_the_screen_shows_them_side_by_side(learnt_demo: Path, run: Run) -> None:
    """Each recipe has a letter; rows hold every ground and light; nothing is wider than 80."""
    ran = run("compare", *RECIPES, "--target", TARGET, "--shelf", learnt_demo)
    lines = ran.out.splitlines()
    for letter, recipe in (("A", RECIPES[0]), ("B", f"1 {RECIPES[1]}")):
        assert any(line.startswith(letter) and line.rstrip().endswith(recipe) for line in lines)
    assert max(len(line) for line in lines) <= 80
    told = run("compare", *RECIPES, "--target", TARGET, "--shelf", learnt_demo, "--json").document
    row = next(line.split() for line in lines if line.startswith("ΔE00 to the target"))
    assert row[-2:] == [f"{recipe['de00']:.2f}" for recipe in told["recipes"]]
    for name in ("white", "in A/10", "fresh panels that pass", "cost of a litre", "unevenness"):
        assert any(line.startswith(name) for line in lines)


def test_one_recipe_is_not_enough(learnt_demo: Path, run: Run) -> None:
    """A single recipe is wrong usage, and the message says what to do."""
    ran = run("compare", RECIPES[0], "--shelf", learnt_demo, "--json")
    assert ran.code == 2
    assert "at least two" in ran.document["errors"][0]["message"]
