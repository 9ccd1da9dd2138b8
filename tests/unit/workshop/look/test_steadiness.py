"""How a colour holds: each figure of `check` equals what predicting that case gives."""

from __future__ import annotations

import numpy as np
import pytest

from fewtone import Light, parse
from fewtone.colorimetry import delta_e_2000
from fewtone.io.settings import load_settings
from fewtone.model.target import Target
from fewtone.prediction.recipes import predict
from fewtone.workshop.look.check import check
from fewtone.workshop.look.steadiness import with_other_film
from lamp_shelf import LAMP_BENCH, lamp_curves

CURVES, SHELF = lamp_curves(), load_settings(LAMP_BENCH)
LIGHT = SHELF.measurement.light
RECIPE = parse("2 marigold + 1 dusk, 6:1, 4 coats over silver")
TARGET = Target((34.0, -8.0, 27.0), LIGHT, SHELF.measurement.geometry, "planted")
ROUNDING = 1e-9  # two ways of adding up the same few float products


def test_the_same_mix_over_the_other_grounds() -> None:
    """Every other ground, how far it moves the colour, and how far that is from the target."""
    result = check(CURVES, SHELF, RECIPE, target=TARGET)
    assert {change.what for change in result.grounds} == {"white", "brass", "graphite"}
    own = predict(CURVES, [RECIPE], LIGHT).lab[0]
    for change in result.grounds:
        lab = predict(CURVES, [RECIPE.with_(ground=change.what)], LIGHT).lab[0]
        assert np.allclose(change.lab, lab, atol=ROUNDING)
        assert change.moved_de00 == pytest.approx(float(delta_e_2000(lab, own)), abs=ROUNDING)
        off = float(delta_e_2000(lab, np.array(TARGET.lab)))
        assert change.de00 == pytest.approx(off, abs=ROUNDING)


def test_a_coat_or_a_tenth_more_and_less() -> None:
    """Coats change by one whole coat, film build by 10 %."""
    result = check(CURVES, SHELF, RECIPE)
    expected = {
        "one coat less": predict(CURVES, [RECIPE.with_(coats=3)], LIGHT),
        "one coat more": predict(CURVES, [RECIPE.with_(coats=5)], LIGHT),
        "10 % light": predict(CURVES, [RECIPE], LIGHT, build=0.9),
        "10 % heavy": predict(CURVES, [RECIPE], LIGHT, build=1.1),
    }
    assert {change.what for change in result.what_if} == set(expected)
    for change in result.what_if:
        assert np.allclose(change.lab, expected[change.what].lab[0], atol=ROUNDING)
        assert change.de00 is None


def test_less_than_a_coat_cannot_lose_one() -> None:
    """Half a coat has no coat less."""
    found = with_other_film(CURVES, parse("dusk, 6:1, 0.5 coats over silver"), LIGHT, None)
    assert [change.what for change in found] == ["one coat more", "10 % light", "10 % heavy"]


def test_the_colour_in_other_light() -> None:
    """Daylight stands first and has not moved; the others are predicted in their own light."""
    result = check(CURVES, SHELF, RECIPE)
    names = [str(seen.light) for seen in result.lights]
    assert names == ["D65/10", "A/10", "F11/10", "LED-B3/10"]
    assert result.lights[0].inconstancy == 0.0
    for seen in result.lights:
        assert np.allclose(seen.lab, predict(CURVES, [RECIPE], seen.light).lab[0], atol=ROUNDING)
    two = check(CURVES, SHELF, RECIPE, light=Light("D50", 2))
    assert all(seen.light.observer == 2 for seen in two.lights)
