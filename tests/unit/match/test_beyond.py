"""The nearest recipes of looser rules, against a search by each of them."""

from __future__ import annotations

import math

import numpy as np

from fewtone.colorimetry import Light
from fewtone.match.beyond import nearest_beyond
from fewtone.match.search import search
from fewtone.prediction.forward import lab_of
from fewtone.recipes.rules import Rules
from invented import invented_shelf, lab_target

CURVES, SHELF = invented_shelf(4, 5, 3, coats=(2, 4), medium_parts=(6, 8), max_part=3)


def test_out_of_tolerance_the_simplest_of_the_closest_is_found() -> None:
    """As a search finds it: among those within .05 of the nearest, the one of least key."""
    light, rng = Light("D65", 10), np.random.default_rng(2)
    asked = [Rules.of(SHELF, max_toners=most, tolerance=0.0) for most in (2, 3)]
    nearer = 0
    for _ in range(6):
        doses = rng.dirichlet(np.full(5, 0.4)) * rng.uniform(0.3, 0.6)
        film = CURVES.optics.reflectance(
            doses @ CURVES.absorption, CURVES.ground_reflectance[1], CURVES.return_ratio[1]
        )
        target = lab_target(lab_of(CURVES, film, light))
        found = nearest_beyond(CURVES, SHELF, target, None, asked, math.inf)
        for rules, match in zip(asked, found, strict=True):
            wanted = search(CURVES, SHELF, target, rules)
            assert match is not None
            assert match.recipe == wanted.closest.recipe
            nearer += wanted.closest.de00 != min(each.de00 or 0.0 for each in wanted.recipes)
    assert nearer
