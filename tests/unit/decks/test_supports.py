"""The sets of toners that reach a colour, against a plain loop over every recipe."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest

from fewtone.colorimetry import Light, delta_e_2000
from fewtone.model.recipe import Recipe
from fewtone.prediction.recipes import predict
from fewtone.recipes.rules import Rules
from fewtone.search.supports import supports_within
from invented import invented_shelf, lab_target

LIGHT = Light("D65", 10)


@pytest.mark.parametrize(
    ("seed", "hazy", "tolerance", "most", "largest"),
    [
        (1, 0, 1.0, 3, 2),
        (2, 0, 4.0, 3, 2),
        (3, 1, 2.0, 2, 2),
        (4, 0, 0.0, 2, 2),
        (5, 2, 3.0, 3, 2),
        (6, 0, 9.0, 2, 2),
        # Equal parts alone.
        (7, 0, 4.0, 3, 1),
    ],
)
def test_all_and_only_the_least_sets(
    seed: int, hazy: int, tolerance: float, most: int, largest: int
) -> None:
    """Over every ground: each set that reaches the colour and none of whose parts does."""
    curves, settings = invented_shelf(seed, 5, 3, hazy=hazy, medium_parts=(6, 4), coats=(1, 3))
    if seed % 2:
        # Strength that leans on the letdown, and coats that get thinner, as some readings tell.
        curves = replace(curves, per_doubling=1.0, middle_letdown=3.0, thinning=0.2)
    rules = Rules.of(settings, max_part=largest, max_toners=most, tolerance=tolerance)
    rng = np.random.default_rng(seed)
    blend = dict.fromkeys(rng.choice(curves.toners, 2, replace=False), 1)
    aim = predict(curves, [Recipe(blend, 6, 2, curves.grounds[seed % 3])], LIGHT).lab[0]
    aim = aim + (0.0 if tolerance == 0.0 else rng.normal(0.0, 0.4, 3))
    reached = set()
    for size in range(1, most + 1):
        for names in itertools.combinations(curves.toners, size):
            for parts in itertools.product(range(1, largest + 1), repeat=size):
                if math.gcd(*parts) > 1:
                    continue
                lines = [
                    Recipe(dict(zip(names, parts, strict=True)), letdown, coats, ground)
                    for letdown in (6, 4)
                    for coats in (1, 2, 3)
                    for ground in curves.grounds
                ]
                off = np.round(delta_e_2000(predict(curves, lines, LIGHT).lab, aim), 6)
                reached |= {
                    (frozenset(names), line.ground)
                    for line, far in zip(lines, off.tolist(), strict=True)
                    if far <= tolerance
                }
    least = {
        (names, ground)
        for names, ground in reached
        if not any(other < names for other, over in reached if over == ground)
    }
    found = supports_within(curves, lab_target(aim), rules)
    assert {(frozenset(names), ground) for names, ground in found} == least
    assert len(found) == len(least)
    assert least or tolerance == 0.0
