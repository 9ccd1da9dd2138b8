"""Strips: each coat is the recipe at that coat; nearest and overshoot are what they say."""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import pytest

from fewtone import parse
from fewtone.colorimetry import Light, delta_e_2000
from fewtone.errors import FewtoneError
from fewtone.io.settings import load_settings
from fewtone.io.targets import read_target
from fewtone.model.target import Target
from fewtone.prediction.recipes import predict
from fewtone.workshop.look.letdown import letdown
from lamp_shelf import LAMP_BENCH, lamp_curves

CURVES, SHELF = lamp_curves(), load_settings(LAMP_BENCH)
RECIPE = parse("2 marigold + 1 dusk, 6:1, 4 coats over silver")
# Two ways of adding up the same few float products.
ROUNDING = 1e-9


def target_of(coats: float, ground: str = "silver") -> Target:
    """The predicted colour of the recipe at some coats as a target."""
    lab = predict(
        CURVES, [RECIPE.with_(coats=1, ground=ground)], SHELF.measurement.light, build=coats
    ).lab[0]
    return read_target(",".join(f"{v:.6f}" for v in lab), SHELF.measurement)


def test_each_step_is_the_recipe_at_that_coat() -> None:
    """Lab, ΔE00 and step ΔE00 equal what predicting the recipes one by one gives."""
    target = target_of(3.4)
    result = letdown(CURVES, SHELF, RECIPE, target=target, most_coats=5)
    assert [strip.ground for strip in result.strips] == list(SHELF.grounds)
    for strip in result.strips:
        recipes = [RECIPE.with_(coats=n, ground=strip.ground) for n in range(6)]
        labs = predict(CURVES, recipes, SHELF.measurement.light).lab
        assert [step.coats for step in strip.steps] == list(range(6))
        assert np.allclose([step.lab for step in strip.steps], labs, atol=ROUNDING)
        off = delta_e_2000(labs, np.array(target.lab))
        assert np.allclose([step.de00 or 0 for step in strip.steps], off, atol=1e-6)
        moved = delta_e_2000(labs[1:], labs[:-1])
        assert strip.steps[0].step_de00 is None
        assert np.allclose([step.step_de00 or 0 for step in strip.steps[1:]], moved, atol=ROUNDING)


@pytest.mark.parametrize(
    ("coats", "nearest", "overshoots"), [(3.4, 3, 4), (2.7, 3, 3), (3.0, 3, 4), (9.0, 6, None)]
)
def test_nearest_and_overshoot(coats: float, nearest: int, overshoots: int | None) -> None:
    """A target between two coats: the nearer one, and the first beyond it."""
    result = letdown(CURVES, SHELF, RECIPE, target=target_of(coats), grounds=["silver"])
    (strip,) = result.strips
    assert strip.nearest is not None
    assert strip.nearest.coats == nearest
    assert strip.overshoots_from == overshoots
    assert strip.best_coats == pytest.approx(min(coats, 6), abs=0.01)


def test_without_a_target_there_is_nothing_nearest() -> None:
    """Colours alone, in the light that was asked for, up to the shop's most coats."""
    result = letdown(CURVES, SHELF, RECIPE, light=Light("A", 10))
    assert result.nearest is None
    assert all(len(strip.steps) == 7 for strip in result.strips)
    bare = predict(CURVES, [RECIPE.with_(coats=0)], Light("A", 10)).lab[0]
    silver = next(strip for strip in result.strips if strip.ground == "silver")
    assert np.allclose(silver.steps[0].lab, bare, atol=ROUNDING)


def test_a_recipe_of_more_coats_gets_a_longer_strip() -> None:
    """The strip reaches at least to the recipe's own coats."""
    result = letdown(CURVES, SHELF, RECIPE.with_(coats=9), grounds=["white"])
    assert result.strips[0].steps[-1].coats == 9
    decimal = letdown(CURVES, SHELF, RECIPE.with_(coats=Decimal("8.3")), grounds=["white"])
    assert decimal.strips[0].steps[-1].coats == 9


def test_what_cannot_be_shown_is_refused() -> None:
    """Unknown grounds and impossible coats are named."""
    with pytest.raises(FewtoneError, match="Did you mean 'silver'"):
        letdown(CURVES, SHELF, RECIPE, grounds=["sliver"])
    with pytest.raises(FewtoneError, match="at least one"):
        letdown(CURVES, SHELF, RECIPE, grounds=[])
    for coats in (0, 51, -3):
        with pytest.raises(FewtoneError, match="1 to 50 coats"):
            letdown(CURVES, SHELF, RECIPE, most_coats=coats)
