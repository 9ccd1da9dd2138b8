"""Adjusting: what a reading is taken to mean, what may be added, and what is refused."""

from __future__ import annotations

from collections.abc import Callable, Sequence
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
from fewtone.typing import FloatArray
from fewtone.workshop.panel.adjust import Adjustment, AdjustOptions, adjust
from fewtone.workshop.panel.plans import _all_sums
from fewtone.workshop.panel.readings import EarlierPanel, average, read_earlier, read_panel
from fewtone.workshop.pour.mix import MEDIUM
from lamp_shelf import LAMP_BENCH, lamp_curves

CURVES, SHELF = lamp_curves(), load_settings(LAMP_BENCH)
LIGHT, GEOMETRY = SHELF.measurement.light, SHELF.measurement.geometry
RECIPE = parse("2 marigold + 1 dusk, 6:1, 4 coats over graphite")
FINE = replace(SHELF, mixing=replace(SHELF.mixing, cup_ml=None))


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


def asked(
    lab: FloatArray,
    recipe: Recipe = RECIPE,
    earlier: Sequence[EarlierPanel] = (),
    **how: Unpack[AdjustOptions],
) -> Adjustment:
    """What to do where the recipe's own colour was wanted and this was read."""
    target = wanted(reads(recipe))
    return adjust(CURVES, SHELF, recipe, target, [tuple(lab)], earlier=earlier, **how)


def test_a_panel_on_target_is_left_alone() -> None:
    """Nothing missing, nothing done."""
    result = asked(reads(RECIPE), left="350ml")
    assert result.advice == "stop"
    assert result.additions == ()
    assert result.coats.recipe == result.after.recipe == RECIPE
    assert result.nothing_wrong > 0.5


def test_a_heavy_panel_is_left_alone() -> None:
    """A film 15 % heavy fails within what the hand explains: nothing is added, and it is said."""
    result = asked(reads(RECIPE, build=1.15), left="350ml")
    assert not result.passes
    assert result.advice == "stop"
    assert result.additions == ()
    assert any("within what film build explains" in reason for reason in result.why)
    assert not any("0%" in reason.split("passes")[0] for reason in result.why)


def test_a_panel_that_passes_is_left_alone() -> None:
    """Whatever the mix is: the panel that was asked for is there."""
    result = asked(reads(RECIPE, dusk=0.93), left="700ml", room="1000ml")
    assert result.passes
    assert result.advice == "stop"
    assert any("within tolerance" in reason for reason in result.why)


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
    assert any("`left`" in caution for caution in result.cautions)


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


def test_readings_are_averaged_with_their_spread() -> None:
    """Several readings of a depth count as their mean; the spread is their standard deviation."""
    found = read_panel(["38,-18,9", "38.2,-18.4,9.2", (38.4, -18.8, 9.4), "30,0,0 at 6"], RECIPE)
    four, six = average(found)
    assert (four.coats, four.count, six.coats, six.count) == (4, 3, 6, 1)
    assert four.lab == pytest.approx((38.2, -18.4, 9.2))
    assert four.spread == pytest.approx((0.2, 0.4, 0.2))
    assert six.spread is None


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


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        (lambda lab: (lab[0], -lab[1], lab[2]), "sign of a lost"),
        (lambda lab: (lab[0], lab[1], -lab[2]), "sign of b lost"),
        (lambda lab: (lab[0], lab[2], lab[1]), "written as L, b, a"),
        (lambda lab: (lab[1], lab[2], lab[0]), "written as a, b, L"),
        (lambda _: (60.0, 60.0, -60.0), "No gun, hand or bottle"),
    ],
)
def test_a_reading_that_nothing_explains_is_refused(
    changed: Callable[[FloatArray], tuple[float, float, float]], words: str
) -> None:
    """No recipe is made of it: the fault names what it may be instead, and says to read again."""
    recipe = parse("2 poppy + 1 peony, 6:1, 4 coats over silver")
    lab = changed(reads(recipe))
    with pytest.raises(FewtoneError, match=words) as caught:
        adjust(CURVES, SHELF, recipe, wanted(reads(recipe)), [lab], left="350ml")
    assert "read it again" in (caught.value.faults[0].fix or "")


def test_a_slip_on_a_panel_that_missed_is_named() -> None:
    """With one bottle of half the strength and a sign lost, the sign still comes nearest."""
    recipe = parse("2 poppy + 1 peony, 6:1, 4 coats over silver")
    lab = reads(recipe, peony=0.5, poppy=1.3)
    assert not adjust(CURVES, SHELF, recipe, wanted(reads(recipe)), [tuple(lab)]).passes
    lost = (lab[0], -lab[1], lab[2])
    with pytest.raises(FewtoneError, match="sign of a lost"):
        adjust(CURVES, SHELF, recipe, wanted(reads(recipe)), [lost])


def test_an_earlier_reading_that_nothing_explains_is_named() -> None:
    """The panel that is wrong is told, not the last one."""
    other = RECIPE.with_(coats=3)
    with pytest.raises(FewtoneError, match="3 coats over") as caught:
        asked(reads(RECIPE), earlier=[(other, [(60.0, 60.0, -60.0)])])
    assert len(caught.value.faults) == 1


def test_panels_that_contradict_each_other_are_told() -> None:
    """Each alone could be a bottle far off; both cannot: the last speaks alone."""
    strong, weak = (reads(RECIPE, dusk=factor) for factor in (1.4, 0.7))
    both, alone = asked(strong, earlier=[(RECIPE, [tuple(weak)])]), asked(strong)
    assert any("earlier panels together" in caution for caution in both.cautions)
    assert not any("earlier panels together" in caution for caution in alone.cautions)
    assert both.after.pass_probability == alone.after.pass_probability


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


def test_no_new_toner_where_the_mix_itself_does_nearly_as_well() -> None:
    """A third toner would do, the two in the mix do too: they are taken."""
    result = asked(reads(RECIPE, dusk=0.8, marigold=0.9), left="700ml", room="1000ml")
    assert result.advice == "add"
    assert {a.component for a in result.additions} <= {"marigold", "dusk", MEDIUM}


def test_the_mix_as_it_is_can_be_repeated_and_the_next_is_whole() -> None:
    """`after` parses back to itself; `next_time` keeps to whole parts and the shop's letdowns."""
    result = asked(reads(RECIPE, dusk=0.8), left="700ml", room="1000ml")
    assert parse(str(result.after.recipe)) == result.after.recipe
    whole = result.next_time.recipe
    assert set(whole.blend) == set(result.after.recipe.blend)
    assert all(part in range(1, SHELF.mixing.max_part + 1) for part in whole.blend.values())
    assert whole.medium_parts in SHELF.mixing.medium_parts
    assert result.next_time.pass_probability is not None
    assert result.after.pass_probability is not None
    assert result.next_time.pass_probability <= result.after.pass_probability


def test_an_earlier_panel_is_remembered() -> None:
    """Two panels of a weak mix tell more than the last one alone."""
    weak = reads(RECIPE, build=0.86)
    alone = asked(weak, left="350ml")
    both = asked(weak, earlier=[(RECIPE, [tuple(weak)]), (RECIPE, [tuple(weak)])], left="350ml")
    gun = [next(c for c in r.causes if c.name == "gun").chance or 0.0 for r in (alone, both)]
    assert gun[1] > gun[0]
    assert both.as_is.pass_probability is not None
    assert alone.as_is.pass_probability is not None
    assert both.as_is.pass_probability < alone.as_is.pass_probability
    assert len(both.earlier) == 2


@pytest.mark.parametrize(
    "text", ["38,-18,9", "38,-18,9 of ", " of 1 dusk, 6:1, 4 coats over silver"]
)
def test_what_is_no_earlier_panel_is_refused(text: str) -> None:
    """An earlier panel is readings and the recipe it was sprayed with."""
    with pytest.raises(FewtoneError, match="is not a panel of the job"):
        read_earlier(text)


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
