"""What hypotheses weigh: a normal posterior worked out in closed form."""

from __future__ import annotations

from collections.abc import Collection
from itertools import product

import numpy as np
import pytest

from fewtone import parse
from fewtone.io.settings import load_settings
from fewtone.prediction.forward import lab_of, recipe_doses, reflectance
from fewtone.typing import FloatArray
from fewtone.workshop.panel.posterior import Depth, SprayedPanel, infer_posterior
from lamp_shelf import LAMP_BENCH, lamp_curves

CURVES, SHELF = lamp_curves(), load_settings(LAMP_BENCH)
LIGHT, MIXING = SHELF.measurement.light, SHELF.mixing
RECIPE = parse("2 marigold + 1 dusk, 6:1, 4 coats over silver")
SMALL = 1e-5  # a central difference
LINEAR = 0.01  # what films are taken for when a reading is off by half a unit


def lab_with(names: Collection[str], factor: float) -> FloatArray:
    """What the recipe reads with so many times as much of these toners."""
    doses, ground = recipe_doses(CURVES, [RECIPE])
    doses[:, [CURVES.toners.index(name) for name in names]] *= factor
    return np.asarray(lab_of(CURVES, reflectance(CURVES, doses, ground), LIGHT)[0])


def slope(names: Collection[str]) -> FloatArray:
    """∂Lab by the log dose of these toners, by differences."""
    return (lab_with(names, 1.0 + SMALL) - lab_with(names, 1.0 - SMALL)) / (2.0 * SMALL)


@pytest.mark.parametrize("off", [(0.0, 0.0, 0.0), (0.3, -0.2, 0.4), (0.0, 0.5, -0.2)])
def test_hypotheses_weigh_what_normal_readings_say(off: tuple[float, float, float]) -> None:
    """One panel in closed form: what is off makes the reading normal, of a covariance by hand.

    The deviations and chances stand here as numbers: of gun and bottles they are common practice
    without a source, of the curves calibrated in the booth.
    """
    film = slope(RECIPE.blend)
    marigold, dusk = slope(["marigold"]), slope(["dusk"])
    # More of one component is less of the others: 2 + 1 + 18 parts and 2.1 parts of reducer.
    pours = (
        marigold - (marigold + dusk) * 2.0 / 23.1,
        dusk - (marigold + dusk) * 1.0 / 23.1,
        -(marigold + dusk) * 18.0 / 23.1,
    )
    always = (SHELF.measurement.repeat_sd**2 + 0.15**2) * np.eye(3)
    always += (MIXING.panel_cv**2 + MIXING.coat_cv**2 / 4.0) * np.outer(film, film)
    always += MIXING.pour_cv**2 * sum(np.outer(pour, pour) for pour in pours)
    read = np.array(off)
    expected = {}
    for gun, first, second, curves in product((False, True), repeat=4):
        covariance = always + (0.8**2 if curves else 0.0) * np.eye(3)
        prior = 0.2 if curves else 0.8
        for is_off, by_log, sd, chance in (
            (gun, film, 0.10, 0.1),
            (first, marigold, 0.14, 0.05),
            (second, dusk, 0.14, 0.05),
        ):
            covariance += (sd if is_off else 0.02) ** 2 * np.outer(by_log, by_log)
            prior *= chance if is_off else 1.0 - chance
        flags = zip(("gun", "marigold", "dusk"), (gun, first, second), strict=True)
        names = frozenset(name for name, is_off in flags if is_off)
        distance = read @ np.linalg.solve(covariance, read)
        expected[names, curves] = (
            prior * np.exp(-0.5 * distance) / np.sqrt(np.linalg.det(covariance))
        )
    whole = sum(expected.values())
    lab = lab_with(RECIPE.blend, 1.0) + read
    depth = Depth(4.0, (float(lab[0]), float(lab[1]), float(lab[2])), 1)
    posterior = infer_posterior(CURVES, SHELF, [SprayedPanel(RECIPE, (depth,))], LIGHT)
    wrong = {each.name: each.chance for each in posterior.causes}
    for name in ("gun", "marigold", "dusk"):
        chance = sum(w for (names, _), w in expected.items() if name in names) / whole
        assert wrong[name] == pytest.approx(chance, rel=LINEAR)
    nothing = sum(w for (names, _), w in expected.items() if not names) / whole
    assert posterior.nothing_wrong == pytest.approx(nothing, rel=LINEAR)
    # Those of at least a hundredth are kept, and share all of the weight.
    kept = {which: weight for which, weight in expected.items() if weight / whole >= 0.01}
    found = {(one.off, one.curves_off): one.weight for one in posterior.hypotheses}
    assert found.keys() == kept.keys()
    assert len(kept) < len(expected)
    for which, weight in kept.items():
        assert found[which] == pytest.approx(weight / sum(kept.values()), rel=LINEAR)
