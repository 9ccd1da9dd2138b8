"""Recipes side by side."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fewtone.colorimetry import Light, delta_e_2000
from fewtone.errors import FewtoneError
from fewtone.io.settings import load_settings
from fewtone.model.recipe import parse
from fewtone.model.target import Target
from fewtone.optics.film import Geometry
from fewtone.prediction.recipes import predict
from fewtone.workshop.look.check import check
from fewtone.workshop.look.compare import compare
from lamp_shelf import LAMP_BENCH, lamp_curves

CURVES, SHELF = lamp_curves(), load_settings(LAMP_BENCH)
LIGHT = SHELF.measurement.light
GROUND = CURVES.grounds[1]
FIRST = parse(f"2 marigold + 1 dusk, 6:1, 4 coats over {GROUND}")
SECOND = parse(f"3 marigold + 2 dusk, 8:1, 5 coats over {GROUND}")
TARGET = Target((45.0, 20.0, 30.0), LIGHT, Geometry.DIRECTIONAL, "45,20,30")


def test_each_recipe_is_judged_as_check_judges_it() -> None:
    """Colour, ΔE00, chance, unevenness and lights are those of a check of each by itself."""
    result = compare(CURVES, SHELF, [FIRST, SECOND], target=TARGET)
    for compared, recipe in zip(result.recipes, (FIRST, SECOND), strict=True):
        alone = check(CURVES, SHELF, recipe, target=TARGET)
        assert compared.match.recipe == recipe
        assert compared.match.de00 == alone.match.de00
        assert compared.match.pass_probability == alone.match.pass_probability
        assert compared.match.unevenness == alone.match.unevenness
        assert compared.lights == alone.lights
        over = {change.what: change.de00 for change in alone.grounds}
        assert set(over) == set(compared.grounds) - {GROUND}
        for ground, de00 in over.items():
            assert compared.grounds[ground].de00 == pytest.approx(de00, abs=1e-9)


def test_without_a_target_the_first_recipe_is_the_measure() -> None:
    """Over every ground and under every light ΔE00 is from the first recipe there."""
    first, second = compare(CURVES, SHELF, [FIRST, SECOND]).recipes
    assert first.from_first == 0.0
    assert set(first.lights_from_first) == {0.0}
    assert all(seen.de00 == 0.0 for seen in first.grounds.values())
    for ground, seen in second.grounds.items():
        pair = [FIRST.with_(ground=ground), SECOND.with_(ground=ground)]
        labs = predict(CURVES, pair, LIGHT).lab
        assert seen.de00 == pytest.approx(float(delta_e_2000(*labs)), abs=1e-9)
    for seen_in, off in zip(second.lights, second.lights_from_first, strict=True):
        light = Light(seen_in.light.illuminant, LIGHT.observer)
        labs = predict(CURVES, [FIRST, SECOND], light).lab
        # The packaged weights of a light are applied in two places.
        assert off == pytest.approx(float(delta_e_2000(*labs)), abs=1e-6)


def test_cost_is_that_of_what_is_poured() -> None:
    """By hand: a litre is medium, toners and reducer by volume; all its coats on a square metre."""
    result = compare(CURVES, SHELF, [FIRST, SECOND])
    # 6 medium to 1 blend, 10 % reducer on top, which has no price: 18.5, 41 and 61 a litre.
    litre = (6 / 7 * 18.5 + 1 / 7 * (2 / 3 * 41.0 + 1 / 3 * 61.0)) / 1.1
    assert result.recipes[0].cost_per_litre == pytest.approx(litre)
    assert result.recipes[0].cost_per_m2 == pytest.approx(litre * 0.110 * 4)
    assert any("reducer" in caution for caution in result.cautions)
    free = replace(SHELF, medium=replace(SHELF.medium, price=None))
    assert compare(CURVES, free, [FIRST, SECOND]).recipes[0].cost_per_litre is None


def test_what_cannot_be_compared_is_refused() -> None:
    """One recipe, or the same twice, is nothing to compare; unknown names are named."""
    for recipes in ([FIRST], [FIRST, FIRST]):
        with pytest.raises(FewtoneError, match="at least two"):
            compare(CURVES, SHELF, recipes)
    with pytest.raises(FewtoneError, match="dusq"):
        compare(CURVES, SHELF, [FIRST, parse(f"dusq, 6:1, 4 coats over {GROUND}")])
