"""What a match makes of its rules."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fewtone.errors import FewtoneError
from fewtone.match.search import search
from fewtone.recipes.rules import Rules
from invented import invented_shelf, lab_target

CURVES, SHELF = invented_shelf(2, 6, 3, coats=(2, 4))


def test_toners_that_are_not_learnt_are_passed_over() -> None:
    """A toner without curves is never used; with none left that is an error."""
    fewer = replace(CURVES, toners=CURVES.toners[:2], absorption=CURVES.absorption[:2])
    found = search(fewer, SHELF, lab_target((40.0, 0.0, 0.0)), Rules.of(SHELF))
    assert set(found.closest.recipe.blend) <= set(CURVES.toners[:2])
    with pytest.raises(FewtoneError, match="None of these toners is learnt"):
        search(fewer, SHELF, lab_target((40.0, 0.0, 0.0)), Rules.of(SHELF, use=("toner-05",)))


def test_a_toner_to_keep_is_in_every_recipe() -> None:
    """Recipes that lack a toner to be kept are not admissible."""
    rules = Rules.of(SHELF, keep=("toner-04",))
    found = search(CURVES, SHELF, lab_target((40.0, 0.0, 0.0)), rules)
    assert all("toner-04" in match.recipe.blend for match in (found.closest, *found.recipes))
