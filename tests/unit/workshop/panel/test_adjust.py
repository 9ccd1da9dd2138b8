"""Adjusting: what a reading is taken to mean, what may be added, and what is refused."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Unpack

import numpy as np
import pytest

from fewtone import Light, parse
from fewtone.errors import FewtoneError
from fewtone.io.settings import load_settings
from fewtone.model.recipe import Recipe
from fewtone.model.target import Target
from fewtone.prediction.forward import lab_of, recipe_doses, reflectance
from fewtone.prediction.recipes import predict
from fewtone.typing import FloatArray
from fewtone.workshop.panel.additions import PosteriorPredictive, _all_sums
from fewtone.workshop.panel.adjust import Adjustment, AdjustOptions, adjust
from fewtone.workshop.panel.posterior import Depth, infer_posterior
from fewtone.workshop.panel.readings import average, read_panel
from fewtone.workshop.pour.mix import MEDIUM
from lamp_shelf import LAMP_BENCH, lamp_curves

CURVES, SHELF = lamp_curves(), load_settings(LAMP_BENCH)
LIGHT, GEOMETRY = SHELF.measurement.light, SHELF.measurement.geometry
RECIPE = parse("2 marigold + 1 dusk, 6:1, 4 coats over graphite")
FINE = replace(SHELF, mixing=replace(SHELF.mixing, cup_ml=None))
ROUNDING = 1e-9  # two ways of adding up the same few float products


def reads(
    recipe: Recipe, light: Light = LIGHT, build: float = 1.0, **strength: float
) -> FloatArray:
    """What a recipe reads with some of its bottles off strength, as the shelf's curves have it."""
    doses, ground = recipe_doses(CURVES, [recipe])
    for name, factor in strength.items():
        doses[:, CURVES.toners.index(name)] *= factor
    film = reflectance(CURVES, doses * build, ground)
    return np.asarray(lab_of(CURVES, film, light)[0])


def wanted(lab: FloatArray, light: Light = LIGHT) -> Target:
    """A colour as a target."""
    return Target((float(lab[0]), float(lab[1]), float(lab[2])), light, GEOMETRY, "planted")


def asked(lab: FloatArray, recipe: Recipe = RECIPE, **how: Unpack[AdjustOptions]) -> Adjustment:
    """What to do where the recipe's own colour was wanted and this was read."""
    return adjust(CURVES, SHELF, recipe, wanted(reads(recipe)), [tuple(lab)], **how)


def test_a_panel_on_target_is_left_alone() -> None:
    """Nothing missing, nothing done."""
    result = asked(reads(RECIPE), left="350ml")
    assert result.advice == "stop"
    assert result.additions == ()
    assert result.coats.recipe == result.after.recipe == RECIPE
    assert result.nothing_wrong > 0.5


def test_a_heavy_panel_is_left_alone() -> None:
    """A film 7 % heavy is within what the hand explains: no toner, and it is said."""
    result = asked(reads(RECIPE, build=1.07), left="350ml")
    assert all(addition.component == MEDIUM for addition in result.additions)
    assert result.advice == "stop"
    assert any("within what film build explains" in reason for reason in result.why)


@pytest.mark.parametrize("factor", [0.8, 1.2])
def test_a_bottle_off_strength_is_found(factor: float) -> None:
    """One bottle a fifth off is named, and the fresh panel is nearer for what is added."""
    result = asked(reads(RECIPE, dusk=factor), left="700ml", room="1000ml")
    dusk = next(cause for cause in result.causes if cause.name == "dusk")
    assert dusk.chance is not None
    assert dusk.chance > 0.5
    assert np.sign(dusk.change) == np.sign(factor - 1.0)
    assert result.advice == "add"
    assert result.expected_de00[1] < result.expected_de00[0]
    after = result.after.recipe.blend
    more_dusk = float(after["dusk"]) > 0.5 * float(after["marigold"])
    assert more_dusk == (factor < 1.0)


def test_what_is_added_and_what_the_mix_then_is() -> None:
    """Cup steps within the room, grams by density, and the line of the mix as it then stands."""
    result = asked(reads(RECIPE, dusk=0.8), left="700ml", room="900ml")
    assert result.total_ml == 700 + sum(addition.ml for addition in result.additions) <= 900
    for addition in result.additions:
        assert addition.ml % 10 == 0
        density = SHELF.medium.density if addition.component == MEDIUM else None
        density = density or SHELF.toners[addition.component].density
        assert density is not None
        assert addition.grams == addition.ml * Fraction(density)
    paint = Fraction(700) / Fraction("1.1")
    added = {addition.component: addition.ml for addition in result.additions}
    marigold = paint / 7 * Fraction(2, 3) + added.get("marigold", 0)
    dusk = paint / 7 / 3 + added.get("dusk", 0)
    after = result.after.recipe
    assert float(after.blend["marigold"]) == pytest.approx(float(marigold), abs=0.05)
    assert float(after.blend["dusk"]) == pytest.approx(float(dusk), abs=0.05)
    medium = paint * 6 / 7 + added.get(MEDIUM, 0)
    assert float(after.medium_parts) == pytest.approx(float(medium / (marigold + dusk)), abs=0.005)


def test_an_activated_mix_gets_nothing() -> None:
    """Whatever is wrong, nothing is added to a mix with hardener in it."""
    result = asked(reads(RECIPE, dusk=0.7), left="700ml", room="1000ml", activated=True)
    assert result.additions == ()
    assert result.advice in ("coats", "stop")
    assert any("activated" in caution for caution in result.cautions)


def test_without_what_is_left_only_coats_are_told() -> None:
    """Nothing can be said about additions then, and that is told."""
    result = asked(reads(RECIPE, dusk=0.7))
    assert result.additions == ()
    assert result.total_ml is None
    assert any("--left" in caution for caution in result.cautions)


def test_a_mix_far_too_weak_gets_more_coats() -> None:
    """Half the strength everywhere is made good by coats where nothing may be added."""
    recipe = RECIPE.with_(coats=3)
    result = asked(reads(recipe, marigold=0.6, dusk=0.6), recipe, activated=True)
    assert result.advice == "coats"
    assert result.coats.recipe.coats > 3
    assert result.after.recipe == result.coats.recipe


def test_fewer_coats_on_the_panel() -> None:
    """A panel of two coats that reads as two coats should is not a weak mix."""
    two = reads(RECIPE.with_(coats=2))
    by_option = asked(two, sprayed=2, left="350ml")
    by_words = adjust(
        CURVES,
        SHELF,
        RECIPE,
        wanted(reads(RECIPE)),
        [",".join(f"{value:.6f}" for value in two) + " at 2 coats"],
        left="350ml",
    )
    assert by_option.advice == by_words.advice == "stop"
    assert by_words.depths[0].coats == 2


def test_two_depths_say_more_than_one() -> None:
    """A second depth of the strip narrows what is believed of the mix."""
    labs = [(float(n), tuple(reads(RECIPE.with_(coats=n), dusk=0.85).tolist())) for n in (2, 4)]
    depths = [Depth(coats, (lab[0], lab[1], lab[2]), 1) for coats, lab in labs]
    one = infer_posterior(CURVES, SHELF, RECIPE, depths[1:], LIGHT)
    two = infer_posterior(CURVES, SHELF, RECIPE, depths, LIGHT)
    assert two.mix[:, 1].std() < one.mix[:, 1].std()


def test_readings_are_averaged_with_their_spread() -> None:
    """Several readings of a depth count as their mean; the spread is their standard deviation."""
    found = read_panel(["38,-18,9", "38.2,-18.4,9.2", (38.4, -18.8, 9.4), "30,0,0 at 6"], RECIPE)
    four, six = average(found)
    assert (four.coats, four.count, six.coats, six.count) == (4, 3, 6, 1)
    assert four.lab == pytest.approx((38.2, -18.4, 9.2))
    assert four.spread == pytest.approx((0.2, 0.4, 0.2))
    assert six.spread is None


def test_a_fresh_panel_of_an_addition_is_a_recipe_like_any_other() -> None:
    """With nothing wrong, mix and additions together predict as the recipe they amount to."""
    shelf = replace(SHELF, additives=())
    posterior = infer_posterior(CURVES, shelf, RECIPE, [Depth(4.0, tuple(reads(RECIPE)), 1)], LIGHT)
    predictive = PosteriorPredictive.of(CURVES, shelf, RECIPE, posterior, reads(RECIPE), LIGHT)
    still = replace(
        predictive,
        gun=np.zeros(1),
        mix=np.zeros((1, len(CURVES.toners))),
        bottles=np.zeros((1, len(CURVES.toners))),
        offset=np.zeros((1, 3)),
    )
    added = np.zeros((1, len(CURVES.toners) + 1))
    added[0, CURVES.toners.index("dusk")], added[0, -1] = 10.0, 40.0
    lab = still.lab(np.array([5]), added, 210.0)[0, 0]
    same = parse("20 marigold + 20 dusk, 5.5:1, 5 coats over graphite")
    assert np.allclose(lab, predict(CURVES, [same], LIGHT).lab[0], atol=ROUNDING)


def test_every_addition_that_fits_is_tried() -> None:
    """The grid holds each vector of whole numbers up to a sum, once."""
    rows = _all_sums(3, 5)
    every = {(a, b, c) for a in range(6) for b in range(6) for c in range(6) if a + b + c <= 5}
    assert len(rows) == len(every)
    assert {tuple(row) for row in rows.tolist()} == every


def test_other_lights_are_carried_over_only_when_told() -> None:
    """Target and reading in different lights: refused, unless the reading's light is said."""
    target = wanted(reads(RECIPE, Light("D50", 2)), Light("D50", 2))
    panel = [tuple(reads(RECIPE))]
    with pytest.raises(FewtoneError, match="different lights"):
        adjust(CURVES, SHELF, RECIPE, target, panel)
    result = adjust(CURVES, SHELF, RECIPE, target, panel, reading_light=LIGHT)
    assert result.advice == "stop"
    assert result.after.de00 is not None
    assert result.after.de00 < 0.1


def test_a_reading_of_another_ground_is_refused() -> None:
    """A reading that another ground explains, and this one does not, is named; so is its word."""
    with pytest.raises(FewtoneError, match="reads like the mix over white"):
        asked(reads(RECIPE.with_(ground="white")))
    with pytest.raises(FewtoneError, match="over white, the recipe over graphite"):
        adjust(CURVES, SHELF, RECIPE, wanted(reads(RECIPE)), ["38,-18,9 over white"])


def test_a_reading_that_nothing_explains_is_told() -> None:
    """Another paint altogether: answered, with a caution."""
    result = asked(np.array([60.0, 60.0, -60.0]))
    assert any("No heavy hand" in caution for caution in result.cautions)


def test_a_toner_out_of_stock_is_told_and_not_added() -> None:
    """It may be in the mix; it is not among what can be added."""
    toners = dict(SHELF.toners)
    toners["dusk"] = replace(toners["dusk"], in_stock=False)
    shelf = replace(SHELF, toners=toners)
    target = wanted(reads(RECIPE))
    panel = [tuple(reads(RECIPE, dusk=0.8))]
    result = adjust(CURVES, shelf, RECIPE, target, panel, left="700ml", room="900ml")
    assert "dusk is not in stock." in result.cautions
    assert all(addition.component != "dusk" for addition in result.additions)


def test_a_new_toner_only_where_the_mix_cannot_do_it() -> None:
    """A target that the mix's own toners do not reach may take one more."""
    other = parse("2 marigold + 1 dusk + 1 lagoon, 6:1, 4 coats over graphite")
    result = adjust(
        CURVES,
        FINE,
        RECIPE,
        wanted(reads(other)),
        [tuple(reads(RECIPE))],
        left="350ml",
        room="700ml",
    )
    new = {a.component for a in result.additions} - {"marigold", "dusk", MEDIUM}
    assert len(new) == 1
    assert result.expected_de00[1] < result.expected_de00[0]


@pytest.mark.parametrize(
    ("how", "words"),
    [
        ({"left": "-5ml"}, "cannot be negative"),
        ({"left": "0ml"}, "more than 0"),
        ({"left": "350"}, "has no unit"),
        ({"left": "350ml", "room": "300ml"}, "nothing can be added"),
        ({"sprayed": 0}, "more than 0"),
        ({"sprayed": 99}, "at most 50 coats"),
    ],
)
def test_impossible_requests_are_refused(how: AdjustOptions, words: str) -> None:
    """Volumes and coats that cannot be are named."""
    with pytest.raises(FewtoneError, match=words):
        asked(reads(RECIPE), RECIPE, **how)


def test_a_step_that_does_not_fit_is_told() -> None:
    """Room for less than one line of the cup: nothing is added, and it is said."""
    result = asked(reads(RECIPE, dusk=0.7), left="350ml", room="355ml")
    assert result.additions == ()
    assert any("Not one step of the cup" in caution for caution in result.cautions)


@pytest.mark.parametrize("reading", ["#2f5d50", "38,-18", "dark green", "38,-18,9 at many coats"])
def test_what_is_no_reading_is_refused(reading: str) -> None:
    """Only a Lab triple is a reading."""
    with pytest.raises(FewtoneError, match="is not a reading"):
        read_panel([reading], RECIPE)


def test_no_reading_no_advice() -> None:
    """At least one reading, and a recipe that has coats."""
    with pytest.raises(FewtoneError, match="no reading"):
        read_panel([], RECIPE)
    with pytest.raises(FewtoneError, match="nothing to adjust"):
        asked(reads(RECIPE), RECIPE.with_(coats=0))
