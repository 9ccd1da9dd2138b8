"""The posterior of a job and what follows for fresh panels, against other routes to the same."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from fewtone import parse
from fewtone.io.settings import load_settings
from fewtone.model.recipe import Recipe
from fewtone.model.shelf import ShelfSettings
from fewtone.model.target import Target
from fewtone.prediction.forward import lab_of, recipe_dose, recipe_doses, reflectance
from fewtone.prediction.recipes import predict
from fewtone.typing import FloatArray
from fewtone.workshop.panel import posterior as priors
from fewtone.workshop.panel.adjust import adjust
from fewtone.workshop.panel.panel_model import CURVES_SD, films_of
from fewtone.workshop.panel.posterior import Depth, Posterior, SprayedPanel, infer_posterior
from fewtone.workshop.panel.predictive import PosteriorPredictive
from lamp_shelf import LAMP_BENCH, lamp_curves

CURVES, SHELF = lamp_curves(), load_settings(LAMP_BENCH)
LIGHT, MIXING = SHELF.measurement.light, SHELF.mixing
RECIPE = parse("2 marigold + 1 dusk, 6:1, 4 coats over silver")
ROUNDING = 1e-9  # two ways of adding up the same few float products
SMALL, BY_DIFFERENCES = 1e-5, 1e-3  # a central difference, and how near it comes
# Of a mean and a deviation by two hundred thousand weighted draws, and for Laplace's approximation.
SAMPLED = 0.12


def reads(recipe: Recipe, build: float = 1.0, **strength: float) -> FloatArray:
    """What a recipe reads with some of its bottles off strength."""
    doses, ground = recipe_doses(CURVES, [recipe])
    for name, factor in strength.items():
        doses[:, CURVES.toners.index(name)] *= factor
    return np.asarray(lab_of(CURVES, reflectance(CURVES, doses * build, ground), LIGHT)[0])


def panel(lab: FloatArray, recipe: Recipe = RECIPE, count: int = 1) -> SprayedPanel:
    """A panel that was read at its full coats."""
    triple = (float(lab[0]), float(lab[1]), float(lab[2]))
    return SprayedPanel(recipe, (Depth(float(recipe.coats), triple, count),))


def told(*panels: SprayedPanel, settings: ShelfSettings = SHELF) -> Posterior:
    """What panels told."""
    return infer_posterior(CURVES, settings, panels, LIGHT)


def in_mix(posterior: Posterior, name: str) -> tuple[float, float]:
    """Mean and deviation of how much more of a toner fresh panels hold, gun included, as a log."""
    row = posterior.in_mix[CURVES.toners.index(name)].copy()
    row[posterior.gun] += 1.0
    means, squares = [], []
    for one in posterior.hypotheses:
        found = one.explanation
        rows = np.zeros((1, found.jacobian.shape[1]))
        rows[0, : len(row)] = row
        mean = float(row @ found.parameters)
        means.append(one.weight * mean)
        squares.append(one.weight * (float(found.covariance_of(rows)[0, 0]) + mean**2))
    return sum(means), float(np.sqrt(sum(squares) - sum(means) ** 2))


def test_derivatives_are_those_of_the_film() -> None:
    """By log dose and in the directions of doubt, against differences of the forward call."""
    dose, ground = recipe_doses(CURVES, [RECIPE])
    found = films_of(CURVES, dose, ground, LIGHT).by_log_dose[0]
    for name in RECIPE.blend:
        column = CURVES.toners.index(name)
        labs = [reads(RECIPE, **{name: float(np.exp(step))}) for step in (SMALL, -SMALL)]
        slope = (labs[0] - labs[1]) / (2.0 * SMALL)
        assert np.allclose(found[:, column], slope, atol=BY_DIFFERENCES)


def test_posterior_equals_weighted_draws_of_the_prior() -> None:
    """Means, deviations and the chance that nothing is off, by importance sampling."""
    read = reads(RECIPE, build=1.04, dusk=0.88)
    found = told(panel(read))
    rng, draws = np.random.default_rng(3), 200_000
    n = len(RECIPE.blend)
    off = rng.random((draws, n + 1)) < [priors.GUN_OFF_CHANCE, *(n * [priors.BOTTLE_OFF_CHANCE])]
    wide = np.array([priors.GUN_OFF_SD, *(n * [priors.BOTTLE_OFF_SD])])
    gun, *bottles = (np.where(off, wide, priors.STEADY_SD) * rng.standard_normal(off.shape)).T
    hand = np.hypot(MIXING.panel_cv, MIXING.coat_cv / 2.0) * rng.standard_normal(draws)
    # Poured volumes themselves, and not their derivatives.
    amounts = np.array([2.0, 1.0, 18.0]) * np.exp(MIXING.pour_cv * rng.standard_normal((draws, 3)))
    additives = 0.1 * 21.0
    share = amounts[:, :n] / (amounts.sum(axis=1) + additives)[:, np.newaxis]
    usual = np.array([2.0, 1.0]) / (21.0 + additives)
    mix = np.log(share / usual) + np.array(bottles).T + gun[:, np.newaxis]
    doses = np.tile(recipe_dose(CURVES, RECIPE), (draws, 1))
    columns = [CURVES.toners.index(name) for name in RECIPE.blend]
    doses[:, columns] *= np.exp(mix + hand[:, np.newaxis])
    row = np.asarray(CURVES.grounds.index("silver"))
    lab = lab_of(CURVES, reflectance(CURVES, doses, row), LIGHT)
    variance = CURVES_SD**2 + SHELF.measurement.repeat_sd**2
    weight = np.zeros(draws)
    for chance, more in (
        (1.0 - priors.CURVES_OFF_CHANCE, 0.0),
        (priors.CURVES_OFF_CHANCE, priors.CURVES_OFF_SD**2),
    ):
        density = np.exp(-0.5 * ((lab - read) ** 2).sum(axis=1) / (variance + more))
        weight += chance * density / (variance + more) ** 1.5
    weight /= weight.sum()
    for place, name in enumerate(RECIPE.blend):
        mean = float(weight @ mix[:, place])
        sd = float(np.sqrt(weight @ (mix[:, place] - mean) ** 2))
        found_mean, found_sd = in_mix(found, name)
        assert abs(found_mean - mean) < SAMPLED * sd
        assert found_sd == pytest.approx(sd, rel=SAMPLED)
    assert found.nothing_wrong == pytest.approx(float(weight @ ~off.any(axis=1)), abs=0.05)


def test_what_no_bottle_makes_is_left_to_the_curves() -> None:
    """A reading off along the one direction that no dose moves: the textbook's normal posterior."""
    off = 0.5
    predicted = reads(RECIPE)
    dose, ground = recipe_doses(CURVES, [RECIPE])
    slopes = films_of(CURVES, dose, ground, LIGHT).by_log_dose[0]
    moved = slopes[:, [CURVES.toners.index(name) for name in RECIPE.blend]]
    aside = np.cross(moved[:, 0], moved[:, 1])
    aside /= np.linalg.norm(aside)
    found = told(panel(predicted + off * aside))
    shifts = {
        one.curves_off: one.explanation.parameters[-3:] for one in found.hypotheses if not one.off
    }
    prior = priors.CURVES_OFF_SD**2
    share = prior / (prior + CURVES_SD**2 + SHELF.measurement.repeat_sd**2)
    assert aside @ shifts[True] == pytest.approx(share * off, rel=0.004)
    assert not shifts[False].any()


def test_readings_of_one_panel_average() -> None:
    """Four readings of a panel tell more than one, and never less."""
    read = reads(RECIPE, dusk=0.85)
    assert in_mix(told(panel(read, count=4)), "dusk")[1] < in_mix(told(panel(read)), "dusk")[1]


def test_two_depths_say_more_than_one() -> None:
    """A second depth of the strip narrows what is believed of the mix."""
    labs = [reads(RECIPE.with_(coats=n), dusk=0.85) for n in (2, 4)]
    depths = [
        panel(lab, RECIPE.with_(coats=n)).depths[0] for n, lab in zip((2, 4), labs, strict=True)
    ]
    both = SprayedPanel(RECIPE, tuple(depths))
    assert in_mix(told(both), "dusk")[1] < in_mix(told(panel(labs[1])), "dusk")[1]


def test_panels_of_a_job_add_up() -> None:
    """Three panels that came out light tell of the gun, one of the hand; all narrow it."""
    light = panel(reads(RECIPE, build=0.9))
    one, three = told(light), told(light, light, light)
    chance = {p: next(c for c in p.causes if c.name == "gun").chance or 0.0 for p in (one, three)}
    assert chance[three] > chance[one]
    assert in_mix(three, "dusk")[1] < in_mix(one, "dusk")[1]
    assert in_mix(three, "dusk")[0] < in_mix(one, "dusk")[0] < 0.0


def test_a_cause_is_told_by_how_much_it_is_off_if_it_is() -> None:
    """A bottle that may be off is off by its mean over the hypotheses in which it is."""
    found = told(panel(reads(RECIPE, dusk=0.9)))
    cause = next(each for each in found.causes if each.name == "dusk")
    row = found.strength[list(RECIPE.blend).index("dusk")]
    off = [one for one in found.hypotheses if "dusk" in one.off]
    chance = sum(one.weight for one in off)
    mean = sum(one.weight * one.explanation.parameters[row] for one in off) / chance
    assert cause.chance == pytest.approx(chance, abs=0.03)
    assert 0.1 < chance < 0.9
    assert cause.change == pytest.approx(np.expm1(mean), abs=0.02)
    assert cause.change < -0.04


def test_a_cup_ends_where_a_toner_leaves_the_recipe() -> None:
    """Panels of one cup share its pours; a recipe without one of its toners is another cup."""
    topped = parse("2.1 marigold + 1.2 dusk, 5.8:1, 4 coats over silver")
    other = parse("1 marigold, 6:1, 4 coats over silver")
    same = told(panel(reads(RECIPE)), panel(reads(topped), topped))
    apart = told(panel(reads(RECIPE)), panel(reads(other), other))
    assert apart.in_mix.shape[1] - same.in_mix.shape[1] == len(RECIPE.blend) + 1
    # What is asked about is the last panel's mix: its own pours move it, those of the first do not.
    first, last = apart.in_mix[:, -9:-6], apart.in_mix[:, -6:-3]
    assert not first.any()
    # Marigold is 1 of 7.7 parts of it, medium 6, dusk none.
    marigold = last[CURVES.toners.index("marigold")]
    assert marigold == pytest.approx([1.0 - 1.0 / 7.7, 0.0, -6.0 / 7.7], abs=ROUNDING)
    # Of panels that hold all toners there is no parameter that moves nothing.
    for one in same.hypotheses:
        assert one.explanation.jacobian.any(axis=0).all()


def test_a_pour_moves_the_shares_as_it_does_in_a_cup() -> None:
    """More of one component is a greater share of it and a smaller one of all others."""
    found = told(panel(reads(RECIPE)))
    amounts = {"marigold": Fraction(2), "dusk": Fraction(1), "medium": Fraction(18)}
    whole = Fraction(21) * Fraction(11, 10)
    start = found.in_mix.shape[1] - 3 - len(amounts)  # three shifts come last
    for place, poured in enumerate(amounts):
        more = amounts[poured] * Fraction(1, 10_000)
        for name in RECIPE.blend:
            new = amounts[name] + (more if name == poured else 0)
            change = np.log(float(new / (whole + more)) / float(amounts[name] / whole))
            slope = found.in_mix[CURVES.toners.index(name), start + place]
            assert slope == pytest.approx(change * 10_000, abs=1e-3)


def test_a_fresh_panel_is_as_the_last_one_told() -> None:
    """A weak bottle is weak on the next panel too: mix errors go in with their sign."""
    read = reads(RECIPE, dusk=0.7)
    predictive = PosteriorPredictive(CURVES, SHELF, told(panel(read)), LIGHT)
    nothing = np.zeros((1, len(CURVES.toners) + 1))
    fresh = predictive.of_plans(np.array([4.0]), nothing, 300.0).mean[0]
    assert np.linalg.norm(fresh - read) < 0.3 * np.linalg.norm(fresh - reads(RECIPE))
    again = predictive.of_recipes([RECIPE]).mean[0]
    assert np.linalg.norm(again - read) < 0.3 * np.linalg.norm(again - reads(RECIPE))


def test_a_fresh_panel_of_an_addition_is_a_recipe_like_any_other() -> None:
    """With nothing wrong, mix and additions together predict as the recipe they amount to."""
    shelf = replace(SHELF, additives=())
    posterior = told(panel(reads(RECIPE)), settings=shelf)
    predictive = PosteriorPredictive(CURVES, shelf, posterior, LIGHT)
    added = np.zeros((1, len(CURVES.toners) + 1))
    added[0, CURVES.toners.index("dusk")], added[0, -1] = 10.0, 40.0
    fresh = predictive.of_plans(np.array([5.0]), added, 210.0)
    same = parse("20 marigold + 20 dusk, 5.5:1, 5 coats over silver")
    expected = predict(CURVES, [same], LIGHT).lab[0]
    assert np.allclose(fresh.lab[:, 0], expected, atol=ROUNDING)
    assert np.allclose(predictive.of_recipes([same]).lab[:, 0], expected, atol=ROUNDING)


@pytest.mark.parametrize("coats", [2, 4])
def test_hand_and_instrument_come_on_top(coats: int) -> None:
    """What a panel reads spreads by its film build, by differences, and by the instrument."""
    predictive = PosteriorPredictive(CURVES, SHELF, told(panel(reads(RECIPE))), LIGHT)
    recipe = RECIPE.with_(coats=coats)
    fresh = predictive.of_recipes([recipe])
    by_build = (reads(recipe, 1.0 + SMALL) - reads(recipe, 1.0 - SMALL)) / (2.0 * SMALL)
    variance = MIXING.panel_cv**2 + MIXING.coat_cv**2 / coats
    expected = variance * np.outer(by_build, by_build)
    expected += SHELF.measurement.repeat_sd**2 * np.eye(3)
    assert np.allclose((fresh.read - fresh.sure)[:, 0], expected, atol=BY_DIFFERENCES)


def test_pours_of_a_fresh_cup_are_those_of_its_parts() -> None:
    """The spread by pours alone, against a cup with one part poured a little off."""
    steady = replace(MIXING, pour_cv=0.0)
    posterior = told(panel(reads(RECIPE)))
    with_pours, without = (
        PosteriorPredictive(CURVES, replace(SHELF, mixing=m), posterior, LIGHT)
        for m in (MIXING, steady)
    )
    bare = replace(SHELF, additives=())
    assert bare.mixing.pour_cv > 0.0
    spread = with_pours.of_recipes([RECIPE]).sure - without.of_recipes([RECIPE]).sure
    one = 1 + SMALL
    # The house's additives, .1 of 21 parts, stay as they are.
    cups = [
        parse(f"{2 * a:.7f} marigold + {1 * b:.7f} dusk, 6:1, 4 coats over silver")
        for a, b in ((one, 1.0), (1.0, one), (1.0, 1.0))
    ]
    slopes = []
    for place, cup in enumerate(cups):
        amounts = [float(cup.blend["marigold"]), float(cup.blend["dusk"]), 18.0]
        amounts[2] *= one if place == 2 else 1.0
        whole = sum(amounts) + 2.1
        doses = np.zeros((1, len(CURVES.toners)))
        for name, amount in zip(("marigold", "dusk"), amounts[:2], strict=True):
            doses[0, CURVES.toners.index(name)] = 1.1 * 4 * amount / whole
        ground = np.array([CURVES.grounds.index("silver")])
        lab = lab_of(CURVES, reflectance(CURVES, doses, ground), LIGHT)[0]
        slopes.append((lab - reads(RECIPE)) / SMALL)
    expected = MIXING.pour_cv**2 * sum(np.outer(slope, slope) for slope in slopes)
    assert np.allclose(spread[:, 0], expected, atol=BY_DIFFERENCES)


def test_chances_are_those_of_drawn_panels() -> None:
    """The chance to pass against panels drawn from the mixture one by one."""
    read = reads(RECIPE, build=1.05)
    predictive = PosteriorPredictive(CURVES, SHELF, told(panel(read)), LIGHT)
    fresh = predictive.of_recipes([RECIPE])
    rng, draws = np.random.default_rng(5), 100_000
    which = rng.choice(len(fresh.weight), size=draws, p=fresh.weight)
    roots = np.linalg.cholesky(fresh.read[:, 0])
    labs = fresh.lab[which, 0] + np.einsum(
        "dij,dj->di", roots[which], rng.standard_normal((draws, 3))
    )
    from fewtone.colorimetry import delta_e_2000

    target = reads(RECIPE) + np.array([0.3, -0.2, 0.4])
    seen = np.mean(delta_e_2000(labs, target) <= 1.0)
    assert float(fresh.chance(target, 1.0)[0]) == pytest.approx(float(seen), abs=0.02)


def test_unevenness_is_between_nine_and_eleven_tenths_of_the_film() -> None:
    """As everywhere else: 90 % against 110 % of the film build."""
    from fewtone.colorimetry import delta_e_2000

    lab = reads(RECIPE)
    target = Target(
        (float(lab[0]), float(lab[1]), float(lab[2])), LIGHT, SHELF.measurement.geometry, "x"
    )
    result = adjust(CURVES, SHELF, RECIPE, target, [tuple(lab)])
    expected = delta_e_2000(reads(RECIPE, build=0.9), reads(RECIPE, build=1.1))
    assert result.after.unevenness == round(float(expected), 2)
    assert result.next_time.recipe == RECIPE


def test_pours_of_an_addition_are_those_of_the_cup() -> None:
    """The spread by what is poured in, against a cup that got a little more of one component."""
    posterior = told(panel(reads(RECIPE)))
    steady = replace(SHELF, mixing=replace(MIXING, pour_cv=0.0))
    added = np.zeros((1, len(CURVES.toners) + 1))
    added[0, CURVES.toners.index("dusk")], added[0, -1] = 12.0, 60.0
    with_pours, without = (
        PosteriorPredictive(CURVES, shelf, posterior, LIGHT)
        .of_plans(np.array([4.0]), added, 300.0)
        .sure[:, 0]
        for shelf in (SHELF, steady)
    )

    def lab(more_dusk: float, more_medium: float) -> FloatArray:
        dusk, medium = 12.0 * more_dusk, 60.0 * more_medium
        dose = recipe_dose(CURVES, RECIPE) * 300.0
        dose[CURVES.toners.index("dusk")] += 4.0 * 1.1 * dusk
        row = np.asarray(CURVES.grounds.index("silver"))
        return lab_of(CURVES, reflectance(CURVES, dose / (300.0 + dusk + medium), row), LIGHT)

    more = (lab(1.0 + SMALL, 1.0), lab(1.0, 1.0 + SMALL))
    slopes = [(one - lab(1.0, 1.0)) / SMALL for one in more]
    expected = MIXING.pour_cv**2 * sum(np.outer(slope, slope) for slope in slopes)
    assert np.allclose(with_pours - without, expected, atol=BY_DIFFERENCES)


def test_what_no_dose_explains_stays_for_the_next_panel() -> None:
    """A reading off across all that doses do is the curves' error, and comes again."""
    films = films_of(CURVES, *recipe_doses(CURVES, [RECIPE]), LIGHT)
    columns = [CURVES.toners.index(name) for name in RECIPE.blend]
    across = np.cross(*films.by_log_dose[0][:, columns].T)
    across /= np.linalg.norm(across)
    posterior = told(panel(reads(RECIPE) + 0.5 * across))
    predictive = PosteriorPredictive(CURVES, SHELF, posterior, LIGHT)
    nothing = np.zeros((1, len(CURVES.toners) + 1))
    fresh = predictive.of_plans(np.array([4.0]), nothing, 300.0)
    moved = (fresh.lab[:, 0] - reads(RECIPE)) @ across
    for hypothesis, by in zip(posterior.hypotheses, moved, strict=True):
        if hypothesis.curves_off:
            assert 0.4 < by < 0.5
        else:
            assert 0.2 < by < 0.4


def test_how_likely_a_change_makes_it_worse_is_the_share_of_draws() -> None:
    """Against mixes drawn one by one, and panels of each: another route to the same count."""
    from fewtone.colorimetry import delta_e_2000

    read = reads(RECIPE, build=1.05)
    predictive = PosteriorPredictive(CURVES, SHELF, told(panel(read)), LIGHT)
    added = np.zeros((2, len(CURVES.toners) + 1))
    added[1, -1] = 12.0
    fresh = predictive.of_plans(np.array([4.0, 4.0]), added, 300.0)
    target = reads(RECIPE, build=0.98) + np.array([0.2, 0.3, -0.2])
    rng, draws, panels = np.random.default_rng(8), 1000, 400
    lost = 0
    for which in rng.choice(len(fresh.weight), size=draws, p=fresh.weight):
        mean = fresh.deviations[which] @ rng.standard_normal(fresh.deviations.shape[-1])
        chances = []
        for plan in range(2):
            root = np.linalg.cholesky(fresh.sprayed[which, plan])
            labs = rng.standard_normal((panels, 3)) @ root.T + fresh.lab[which, plan] + mean[plan]
            chances.append(np.mean(delta_e_2000(labs, target) <= 1.0))
        lost += chances[1] < chances[0] - 0.05
    counted = fresh.worse(target, 1.0, 0.05)
    assert 0.1 < counted < 0.9
    assert counted == pytest.approx(lost / draws, abs=0.05)  # the draws' own .015, the panels'


def test_the_same_mix_is_never_worse_than_itself() -> None:
    """What is not known of both goes up and down together."""
    predictive = PosteriorPredictive(CURVES, SHELF, told(panel(reads(RECIPE, build=1.05))), LIGHT)
    twice = predictive.of_plans(
        np.array([4.0, 4.0]), np.zeros((2, len(CURVES.toners) + 1)), left_ml=300.0
    )
    assert twice.worse(reads(RECIPE), 1.0, 0.01) == 0.0
