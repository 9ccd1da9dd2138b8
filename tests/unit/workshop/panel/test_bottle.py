"""The strength of a new bottle, against other routes to the same posterior."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.stats import multivariate_normal, norm

from fewtone import parse
from fewtone.errors import FewtoneError, UsageError
from fewtone.io.settings import load_settings
from fewtone.model.curves import Curves
from fewtone.model.recipe import Recipe
from fewtone.model.shelf import ShelfSettings
from fewtone.model.uncertainty import Uncertainty
from fewtone.prediction.recipes import predict
from fewtone.typing import FloatArray
from fewtone.workshop.panel.bottle import BOTTLE_SD, Bottle, Verdict, bottle, require_credible
from lamp_shelf import LAMP_BENCH, lamp_curves

SHELF = load_settings(LAMP_BENCH)
LIGHT, MIXING = SHELF.measurement.light, SHELF.mixing
ALONE = parse("marigold, 6:1, 4 coats over silver")
BLEND = parse("2 marigold + 1 dusk, 6:1, 4 coats over silver")
MODEL_SD = 0.06
# The curve of Lab over ten percent of dose: Laplace's normal distribution against the exact one.
LAPLACE = 0.02
# Where two minimisers stop.
SOLVER = 2e-4
# Shares of reducer in the lamp bench's mixes thin toner and medium alike: 10 % of additive.
ADDITIVE = 1.1


def _sure(curves: Curves) -> Curves:
    """The curves with a few directions of doubt, made from a seed."""
    rng = np.random.default_rng(7)
    smooth = np.cumsum(rng.standard_normal((6, *curves.absorption.shape)), axis=-1) / 10.0
    return replace(
        curves,
        uncertainty=Uncertainty(
            absorption=0.01 * smooth * curves.absorption,
            scattering=np.zeros((6, *curves.scattering.shape)),
            ground_reflectance=0.004 * rng.standard_normal((6, *curves.ground_reflectance.shape)),
            return_ratio=0.01 * rng.standard_normal((6, len(curves.grounds))),
            model_sd=MODEL_SD,
        ),
    )


CURVES = _sure(lamp_curves())


def lab_of(recipe: Recipe, curves: Curves = CURVES, build: float = 1.0, **by: float) -> FloatArray:
    """What a recipe's panel is predicted to read with bottles of other strengths."""
    return np.asarray(predict(curves.with_strengths(by), [recipe], LIGHT, build=build).lab[0])


def asked(recipe: Recipe, *labs: FloatArray, settings: ShelfSettings = SHELF) -> Bottle:
    """The marigold's bottle by these readings."""
    curves = CURVES.with_strengths(settings.strengths)
    return bottle(curves, settings, recipe, [tuple(lab) for lab in labs], toner="marigold")


def strong(strength: str) -> ShelfSettings:
    """The shelf with the marigold's bottle in use at a strength."""
    toner = replace(SHELF.toners["marigold"], strength=Decimal(strength))
    return replace(SHELF, toners={**SHELF.toners, "marigold": toner})


def lab_covariance(recipe: Recipe) -> FloatArray:
    """Of one reading by instrument, model and curves, the curves moved one direction at a time."""
    sure = CURVES.uncertainty
    assert sure is not None
    still, small = lab_of(recipe), 1e-3
    bends = []
    for row in range(len(sure.return_ratio)):
        moved = replace(
            CURVES,
            absorption=CURVES.absorption + small * sure.absorption[row],
            ground_reflectance=CURVES.ground_reflectance + small * sure.ground_reflectance[row],
            return_ratio=CURVES.return_ratio + small * sure.return_ratio[row],
        )
        bends.append((lab_of(recipe, moved) - still) / small)
    own = SHELF.measurement.repeat_sd**2 + MODEL_SD**2
    return np.array(bends).T @ np.array(bends) + own * np.eye(3)


@pytest.mark.parametrize(
    ("strength", "build"), [(1.0, 1.0), (1.12, 1.04), (0.85, 0.97), (1.0, 1.1)]
)
def test_one_panel_equals_quadrature(strength: float, build: float) -> None:
    """Strength, its deviation and the hand's chance are those of a grid over the posterior."""
    read = lab_of(ALONE, build=build, marigold=strength) + np.array([0.05, -0.08, 0.06])
    found = asked(ALONE, read)
    # Hand and pours act on a toner alone as one factor of its dose.
    toner, medium = 1.0 / (7.0 * ADDITIVE), 6.0 / (7.0 * ADDITIVE)
    pours = MIXING.pour_cv**2 * ((1.0 - toner) ** 2 + medium**2)
    film_sd = np.sqrt(MIXING.panel_cv**2 + MIXING.coat_cv**2 / 4.0 + pours)
    own = np.linspace(-5.0, 5.0, 161) * BOTTLE_SD
    film = np.linspace(-5.0, 5.0, 161) * film_sd
    sums = np.linspace(own[0] + film[0], own[-1] + film[-1], 1201)
    noise = multivariate_normal(np.zeros(3), lab_covariance(ALONE))
    many = predict(CURVES, [ALONE] * len(sums), LIGHT, build=np.exp(sums)).lab
    fits = noise.logpdf(read - many)
    log_fit = np.interp(own[:, None] + film, sums, fits)
    joint = np.exp(
        log_fit + norm.logpdf(own, 0, BOTTLE_SD)[:, None] + norm.logpdf(film, 0, film_sd)
    )
    marginal = np.trapezoid(joint, film, axis=1)
    evidence = np.trapezoid(marginal, own)
    mean = np.trapezoid(own * marginal, own) / evidence
    sd = np.sqrt(np.trapezoid((own - mean) ** 2 * marginal, own) / evidence)
    alone = np.trapezoid(np.exp(np.interp(film, sums, fits) + norm.logpdf(film, 0, film_sd)), film)
    assert np.log(found.strength) == pytest.approx(mean, abs=LAPLACE * sd + 1e-3)
    assert found.strength_sd / found.strength == pytest.approx(sd, rel=LAPLACE)
    assert found.hand_chance == pytest.approx(alone / (alone + evidence), abs=LAPLACE)


def test_a_blend_on_two_panels_equals_a_general_minimiser() -> None:
    """Two toners, two panels of one cup: scipy finds the same strength."""
    reads = [
        lab_of(BLEND, build=1.05, marigold=1.1) + np.array([0.1, 0.0, -0.1]),
        lab_of(BLEND, build=0.98, marigold=1.1),
    ]
    noise = np.kron(np.ones((2, 2)), lab_covariance(BLEND))
    noise -= np.kron(1 - np.eye(2), SHELF.measurement.repeat_sd**2 * np.eye(3))
    inverse = np.linalg.inv(noise)
    volume = np.array([2.0, 1.0, 18.0]) / (21.0 * ADDITIVE)
    hand_sd = np.hypot(MIXING.panel_cv, MIXING.coat_cv / 2.0)

    def cost(at: FloatArray) -> float:
        pour = MIXING.pour_cv * at[3:]
        dose = pour[:2] - volume @ pour
        rest = []
        for hand, read in zip(hand_sd * at[1:3], reads, strict=True):
            by = np.exp(dose + hand + np.array([BOTTLE_SD * at[0], 0.0]))
            rest.append(read - lab_of(BLEND, marigold=by[0], dusk=by[1]))
        off = np.concatenate(rest)
        return float(off @ inverse @ off + at @ at)

    best = minimize(cost, np.zeros(6), method="BFGS", options={"gtol": 1e-4})
    found = asked(BLEND, *reads)
    assert np.log(found.strength) == pytest.approx(BOTTLE_SD * best.x[0], abs=SOLVER)


def test_more_panels_narrow_it_and_repeats_do_not() -> None:
    """Panels of their own tell the bottle from the hand; readings of one panel cannot."""
    read = lab_of(ALONE, marigold=1.12)
    one, three = asked(ALONE, read), asked(ALONE, read, read, read)
    repeats = bottle(CURVES, SHELF, ALONE, [tuple(read)] * 3, same_panel=True)
    assert three.strength_sd < 0.85 * one.strength_sd
    assert one.strength < three.strength < 1.12
    assert repeats.strength_sd > 0.98 * one.strength_sd
    assert three.hand_chance < one.hand_chance
    two = asked(ALONE, read, read)
    assert one.next_sd == pytest.approx(two.strength_sd * one.strength / two.strength, rel=1e-6)


def test_what_the_deviation_is_put_down_to() -> None:
    """A panel of twelve percent more toner: bottle, hand and pours share it."""
    found = asked(ALONE, lab_of(ALONE, marigold=1.12))
    assert found.deviation == pytest.approx(0.12, abs=0.01)
    assert 0.4 * found.deviation < found.bottle_part < 0.8 * found.deviation
    assert found.bottle_part == pytest.approx(found.strength - 1.0)
    assert found.de00_left < found.de00_after < found.de00_before


def test_a_steady_hand_leaves_it_to_the_bottle() -> None:
    """Without any variation of hand and pour the whole deviation is strength."""
    steady = replace(SHELF, mixing=replace(MIXING, panel_cv=0.0, coat_cv=0.0, pour_cv=0.0))
    found = asked(ALONE, lab_of(ALONE, marigold=1.12), settings=steady)
    assert found.strength == pytest.approx(1.12, abs=0.01)
    assert found.verdict is Verdict.DIFFERS


def test_a_panel_as_predicted_changes_nothing() -> None:
    """Then the hand is the likelier explanation, and nothing may be written."""
    found = asked(ALONE, lab_of(ALONE))
    assert found.strength == pytest.approx(1.0, abs=1e-6)
    assert found.verdict is Verdict.SAME
    slight = asked(ALONE, lab_of(ALONE, marigold=1.03))
    with pytest.raises(FewtoneError, match="hand alone explains it"):
        require_credible(slight)


def test_the_strength_is_of_the_learnt_curve_whatever_is_in_use() -> None:
    """The same reading gives the same strength before and after it was applied."""
    read = lab_of(ALONE, marigold=1.2)
    fresh = asked(ALONE, read)
    again = asked(ALONE, read, settings=strong(str(fresh.written)))
    assert again.strength == pytest.approx(fresh.strength, abs=SOLVER)
    assert again.in_use == float(fresh.written)
    assert again.de00_before == pytest.approx(fresh.de00_after, abs=0.01)
    require_credible(again)


def test_a_hue_that_no_strength_gives() -> None:
    """A bottle with a little of another toner in it is another mixture."""
    found = asked(ALONE, lab_of(parse("20 marigold + 1 dusk, 6:1, 4 coats over silver")))
    assert found.verdict is Verdict.OTHER
    assert "differs in hue" in found.why[0]
    with pytest.raises(FewtoneError, match="not a credible strength"):
        require_credible(found)


def test_a_strength_that_no_bottle_has() -> None:
    """Twice the coats look like twice the strength, and are told as such."""
    found = asked(ALONE, lab_of(ALONE.with_(coats=8)))
    assert found.verdict is Verdict.OTHER
    assert "1.99 times as strong" in found.why[0]
    assert "check coats" in found.why[0]


def test_a_recipe_that_says_nothing_of_the_toner() -> None:
    """A trace of it in a deep blend leaves the prior as it was, and that is told."""
    blend = parse("40 umber + 1 mist, 4:1, 6 coats over graphite")
    lab = tuple(lab_of(blend))
    found = bottle(CURVES, SHELF, blend, [lab], toner="mist")
    assert found.strength_sd == pytest.approx(BOTTLE_SD, rel=0.1)
    assert any("next to nothing of mist" in caution for caution in found.cautions)


def test_steps_of_a_strip() -> None:
    """Steps share the panel's hand: they say less than panels of their own, more than one step."""
    steps = [f"{','.join(map(str, lab_of(ALONE.with_(coats=n))))} at {n} coats" for n in (2, 4)]
    strip = bottle(CURVES, SHELF, ALONE, steps, same_panel=True)
    panels = bottle(CURVES, SHELF, ALONE, steps)
    assert panels.strength_sd < strip.strength_sd
    assert [coats for coats, _ in strip.readings] == [2, 4]


def test_without_certainty_a_usual_figure_is_taken() -> None:
    """Curves that do not say how sure they are still answer, and it is told."""
    plain = lamp_curves()
    found = bottle(plain, SHELF, ALONE, [tuple(lab_of(ALONE, plain, marigold=1.2))])
    assert found.strength > 1.05
    assert any("How sure the curves are is not known" in caution for caution in found.cautions)


@pytest.mark.parametrize(
    ("recipe", "toner", "words"),
    [
        (BLEND, None, "which bottle is new"),
        (BLEND, "peony", "'peony' is not in the recipe, which has marigold, dusk"),
        (BLEND, "marygold", "'marygold' is not a toner of this shelf"),
        (parse("marigold, 6:1, 0 coats over silver"), None, "says nothing of a bottle"),
        (parse("marigold, 6:1, 4 coats over copper"), None, "'copper' is not a ground"),
    ],
)
def test_what_cannot_be_asked(recipe: Recipe, toner: str | None, words: str) -> None:
    """Each says what is allowed and how to mend it."""
    with pytest.raises(UsageError) as caught:
        bottle(CURVES, SHELF, recipe, [(50.0, 10.0, 60.0)], toner=toner)
    fault = caught.value.faults[0]
    assert words in fault.message
    assert fault.fix
    assert fault.value
