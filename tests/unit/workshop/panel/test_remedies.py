"""What is done about a mix: only what is likelier to pass and hardly likely to do harm."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from fewtone import parse
from fewtone.cli.adjust import _next_time
from fewtone.io.settings import load_settings
from fewtone.model.target import Target
from fewtone.prediction.forward import lab_of, recipe_doses, reflectance
from fewtone.typing import FloatArray
from fewtone.workshop.panel.adjust import Adjustment, adjust
from fewtone.workshop.panel.plans import Plan
from fewtone.workshop.panel.posterior import Depth, SprayedPanel, infer_posterior
from fewtone.workshop.panel.predictive import Fresh
from fewtone.workshop.panel.remedies import Remedies
from fewtone.workshop.pour.mix import MEDIUM
from lamp_shelf import LAMP_BENCH, lamp_curves

CURVES, SHELF = lamp_curves(), load_settings(LAMP_BENCH)
LIGHT = SHELF.measurement.light
RECIPE = parse("2 marigold + 1 dusk, 6:1, 4 coats over graphite")


def reads(**strength: float) -> FloatArray:
    """What the recipe reads with some of its bottles off strength."""
    doses, ground = recipe_doses(CURVES, [RECIPE])
    for name, factor in strength.items():
        doses[:, CURVES.toners.index(name)] *= factor
    return np.asarray(lab_of(CURVES, reflectance(CURVES, doses, ground), LIGHT)[0])


def wanted() -> Target:
    """The recipe's own colour."""
    lightness, a, b = map(float, reads())
    return Target((lightness, a, b), LIGHT, SHELF.measurement.geometry, "planted")


@pytest.fixture(scope="module")
def remedies() -> Remedies:
    """After one panel as meant."""
    lightness, a, b = map(float, reads())
    panel = SprayedPanel(RECIPE, (Depth(4.0, (lightness, a, b), 1),))
    return Remedies.of(CURVES, SHELF, wanted(), infer_posterior(CURVES, SHELF, [panel], LIGHT))


def plan(chance: float, risk: float = 0.0) -> Plan:
    """A plan that is surely worse than the mix as it is with this risk, and else surely better."""
    near, far = np.array(wanted().lab), np.array(wanted().lab) + 30.0
    return Plan(
        coats=4,
        steps={},
        chance=chance,
        expected_de00=1.0,
        compared=Fresh(
            np.array([risk, 1.0 - risk]),
            np.array([[near, far], [far, near]]),
            np.zeros((2, 2, 3, 1)),
            np.broadcast_to(0.01 * np.eye(3), (2, 2, 3, 3)),
        ),
    )


def test_a_likelier_mix_is_made_where_it_hardly_does_harm(remedies: Remedies) -> None:
    """The same rise is taken at a risk of 5 %, and at 20 % the mix is left alone."""
    now = plan(0.3)
    assert remedies.risk(plan(0.5, 0.2)) == pytest.approx(0.2)
    assert remedies.best({"stop": now, MEDIUM: plan(0.5, 0.05)}) == MEDIUM
    assert remedies.best({"stop": now, MEDIUM: plan(0.5, 0.2)}) == "stop"


def test_of_two_changes_the_safe_one_is_made(remedies: Remedies) -> None:
    """Toner would pass more often than medium, but may as well do harm."""
    options = {"stop": plan(0.3), MEDIUM: plan(0.5, 0.05), "toner": plan(0.8, 0.3)}
    assert remedies.best(options) == MEDIUM
    assert remedies.best({**options, "toner": plan(0.8, 0.05)}) == "toner"


def test_a_small_rise_or_a_good_mix_changes_nothing(remedies: Remedies) -> None:
    """Nothing is done for a hundredth, nor where the mix is expected to pass."""
    assert remedies.best({"stop": plan(0.3), MEDIUM: plan(0.31)}) == "stop"
    assert remedies.best({"stop": plan(0.7), MEDIUM: plan(0.95)}) == "stop"


def after_a_weak_bottle(**mixing: Any) -> Adjustment:
    """What to do where dusk came out weak, on a shelf with other limits."""
    shelf = replace(SHELF, mixing=replace(SHELF.mixing, **mixing))
    panel = [tuple(reads(dusk=0.7))]
    return adjust(CURVES, shelf, RECIPE, wanted(), panel, left="700ml", room="1000ml")


def test_next_time_is_no_worse_a_bet_for_the_want_of_a_larger_part() -> None:
    """With parts up to 1 there is 1:1 alone, which is no recipe for a mix of about 3:2."""
    result = after_a_weak_bottle(max_part=1)
    assert result.advice == "add"
    assert max(result.next_time.recipe.blend.values()) > 1
    assert result.next_time_holds
    assert any("in whole numbers" in line for line in _next_time(result))


def test_next_time_says_where_nothing_whole_comes_near() -> None:
    """One letdown and one number of coats leave no recipe as strong as the mix became."""
    result = after_a_weak_bottle(medium_parts=(20,), coats=(4, 4))
    assert not result.next_time_holds
    assert _next_time(result)[0].startswith("Next time: repeat that mix, or match anew.")
