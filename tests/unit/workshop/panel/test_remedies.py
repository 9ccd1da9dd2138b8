"""What is done about a mix: only what is likelier to pass and hardly likely to do harm."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, TypeAlias

import pytest

from fewtone import parse
from fewtone.cli.adjust import _next_time
from fewtone.io.settings import load_settings
from fewtone.model.recipe import Recipe
from fewtone.model.target import Target
from fewtone.prediction.forward import lab_of, recipe_doses, reflectance
from fewtone.workshop.panel import plans
from fewtone.workshop.panel.adjust import Adjustment, adjust
from fewtone.workshop.panel.plans import Plan, best_plan
from fewtone.workshop.panel.posterior import Depth, SprayedPanel, infer_posterior
from fewtone.workshop.panel.remedies import Remedies
from fewtone.workshop.pour.mix import MEDIUM
from lamp_shelf import LAMP_BENCH, lamp_curves

Lab: TypeAlias = tuple[float, float, float]

CURVES, SHELF = lamp_curves(), load_settings(LAMP_BENCH)
LIGHT = SHELF.measurement.light
RECIPE = parse("2 marigold + 1 dusk, 6:1, 4 coats over graphite")


def reads(recipe: Recipe = RECIPE, build: float = 1.0, **strength: float) -> Lab:
    """What a recipe reads, its film heavier and some of its bottles off strength."""
    doses, ground = recipe_doses(CURVES, [recipe])
    for name, factor in strength.items():
        doses[:, CURVES.toners.index(name)] *= factor
    lightness, a, b = lab_of(CURVES, reflectance(CURVES, doses * build, ground), LIGHT)[0].tolist()
    return lightness, a, b


def wanted(recipe: Recipe = RECIPE) -> Target:
    """The recipe's own colour."""
    return Target(reads(recipe), LIGHT, SHELF.measurement.geometry, "planted")


def after(recipe: Recipe, lab: Lab) -> Remedies:
    """What may be done about a mix after its panel of 4 coats read this."""
    panel = SprayedPanel(recipe, (Depth(4.0, lab, 1),))
    posterior = infer_posterior(CURVES, SHELF, [panel], LIGHT)
    return Remedies.of(CURVES, SHELF, wanted(recipe), posterior)


@pytest.fixture(scope="module")
def remedies() -> Remedies:
    """After one panel as meant."""
    return after(RECIPE, reads())


def plan(chance: float, risk: float = 0.0) -> Plan:
    """A plan as the search would give it."""
    return Plan(coats=4, steps={}, chance=chance, expected_de00=1.0, risk=risk)


def test_a_likelier_mix_is_made_where_it_hardly_does_harm(remedies: Remedies) -> None:
    """The same rise is taken at a risk of 5 %, and at 20 % the mix is left alone."""
    now = plan(0.3)
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


def test_a_safe_plan_is_taken_for_a_likelier_one(monkeypatch: pytest.MonkeyPatch) -> None:
    """After a light panel over silver: another coat and medium, of which more is the safer."""
    mix = parse("2 marigold + 1 dusk, 6:1, 4 coats over silver")
    remedies = after(mix, reads(mix, build=0.9))

    def found() -> Plan:
        return best_plan(
            remedies.predictive,
            remedies.target,
            (MEDIUM,),
            [4, 3, 5],
            step_ml=5.0,
            most_steps=60,
            left_ml=700.0,
            rise=0.04,
        )

    monkeypatch.setattr(plans, "MOST_RISK", 0.1)
    safe = found()
    monkeypatch.setattr(plans, "MOST_RISK", 1.0)
    likeliest = found()
    assert safe.risk <= 0.1 < likeliest.risk
    assert likeliest.chance - 0.03 < safe.chance < likeliest.chance


def after_a_weak_bottle(**mixing: Any) -> Adjustment:
    """What to do where dusk came out weak, on a shelf with other limits."""
    shelf = replace(SHELF, mixing=replace(SHELF.mixing, **mixing))
    panel = [reads(dusk=0.7)]
    return adjust(CURVES, shelf, RECIPE, wanted(), panel, left="700ml", room="1000ml")


def test_next_time_is_no_worse_a_bet_for_the_want_of_a_larger_part() -> None:
    """With parts up to 1 there is 1:1 alone, which is no recipe for a mix of about 3:2."""
    result = after_a_weak_bottle(max_part=1)
    assert result.advice == "add"
    assert max(result.next_time.recipe.blend.values()) > 1
    assert any("parts up to 1" in caution for caution in result.cautions)
    assert result.next_time_holds
    assert any("in whole numbers" in line for line in _next_time(result))


def test_next_time_says_where_nothing_whole_comes_near() -> None:
    """One letdown and one number of coats leave no recipe as strong as the mix became."""
    result = after_a_weak_bottle(medium_parts=(20,), coats=(4, 4))
    assert not result.next_time_holds
    assert _next_time(result)[0].startswith("Next time: repeat that mix, or match anew.")
