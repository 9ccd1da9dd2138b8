"""Uncertainty carried from the curves to Lab and to the chance to pass."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fewtone.colorimetry import Light, delta_e_2000
from fewtone.colorimetry.difference import delta_e_2000_metric
from fewtone.io.curves import CURVES_FILE, load_curves, save_curves
from fewtone.io.uncertainty import uncertainty_file
from fewtone.learning import estimate
from fewtone.model.curves import Curves
from fewtone.model.recipe import parse
from fewtone.model.shelf import Measurement, Mixing
from fewtone.model.uncertainty import ARRAYS
from fewtone.model.variation import film_build_sd, pour_deviations
from fewtone.prediction.forward import (
    departures_of,
    lab_jacobian_of,
    lab_of,
    lab_of_doses,
    recipe_doses,
    reflectance,
    reflectance_derivatives,
)
from fewtone.prediction.pass_probability import (
    PassProbability,
    _departing,
    chance_within,
    normal_points,
    pass_any_probability,
    pass_probability,
)
from fewtone.prediction.recipes import predict
from fewtone.prediction.uncertainty import (
    departing_deviations,
    lab_deviations,
    lab_deviations_of,
    reflectance_deviations,
)
from invented import invented_shelf, lab_target
from unit.learning.shelves import D65, GROUNDS, curves_of, settings, spray

CURVES = curves_of(440.0, 560.0)
SETTINGS = settings(CURVES)
LINES = [
    (f"{name}-{ground}-{coats}", f"{name}, 6:1, {coats} coats over {ground}")
    for name in CURVES
    for ground in GROUNDS
    for coats in (1, 2, 4)
]
RECIPE = parse("2 t0 + 1 t1, 6:1, 4 coats over silver")


@pytest.fixture(scope="module")
def learnt() -> Curves:
    """Return a small learnt shelf."""
    return estimate(SETTINGS, spray(CURVES, LINES)).curves


@pytest.mark.parametrize("kind", ["learnt", "hazy"])
def test_deviations_are_those_of_perturbed_curves(learnt: Curves, kind: str) -> None:
    """A deviation is what Lab does when the curves are moved in its direction."""
    recipe = RECIPE
    if kind == "hazy":
        learnt, _ = invented_shelf(7, 4, 2, hazy=2, unsure=0.01)
        recipe = parse("2 toner-00 + 1 toner-01 + 1 toner-03, 6:1, 4 coats over white")
    doses, ground = recipe_doses(learnt, [recipe])
    film = reflectance_derivatives(learnt, doses, ground)
    deviations = reflectance_deviations(learnt, film, doses, ground)
    assert deviations is not None
    off = lab_deviations(learnt, film.reflectance, deviations, D65)
    sure = learnt.uncertainty
    assert sure is not None
    base = predict(learnt, [recipe], D65).lab[0]
    for i in range(0, len(sure.return_ratio), 3):
        # No edge gains light: step the way that loses some.
        step = -1e-3 if sure.edge[i] < 0.0 else 1e-3
        moved = replace(
            learnt,
            absorption=learnt.absorption + step * sure.absorption[i],
            ground_reflectance=learnt.ground_reflectance + step * sure.ground_reflectance[i],
            return_ratio=learnt.return_ratio + step * sure.return_ratio[i],
            scattering=learnt.scattering + step * sure.scattering[i],
            optics=replace(
                learnt.optics,
                surface=learnt.optics.surface + step * sure.black[i],
                index=learnt.optics.index + step * sure.index[i],
                edge=learnt.optics.edge + step * sure.edge[i],
            ),
        )
        change = (predict(moved, [recipe], D65).lab[0] - base) / step
        # First-order in a step of a thousandth of a standard deviation; index and edge by steps of
        # .01, where the first bit of edge does a little more.
        assert off[0, i] == pytest.approx(change, rel=0.08, abs=2e-3)


def _chance(learnt: Curves, tolerance: float, mixing: Mixing, away: float = 0.0) -> float:
    lab = predict(learnt, [RECIPE], D65).lab
    target = lab_target(lab[0] + np.array([away, 0.0, 0.0]), D65)
    chance = pass_probability(learnt, replace(SETTINGS, mixing=mixing), [RECIPE], target, tolerance)
    assert chance is not None
    return float(chance[0])


def test_the_chance_to_pass_moves_as_it_should(learnt: Curves) -> None:
    """Wider tolerance, steadier hands and nearer targets all raise the chance; it is a chance."""
    shaky, steady = Mixing(panel_cv=0.10), Mixing(panel_cv=0.0, coat_cv=0.01, pour_cv=0.0)
    assert 0.0 <= _chance(learnt, 0.5, shaky) < _chance(learnt, 1.0, shaky)
    assert _chance(learnt, 1.0, shaky) < _chance(learnt, 1.0, steady)
    assert _chance(learnt, 1.0, shaky, away=1.0) < _chance(learnt, 1.0, shaky)
    assert _chance(learnt, 50.0, shaky) == 1.0
    assert _chance(learnt, 1.0, shaky) == _chance(learnt, 1.0, shaky)


def test_chances_leave_out_what_is_only_feared(learnt: Curves) -> None:
    """As if those directions deviated by so much less; intervals hold them whole."""
    sure = learnt.uncertainty
    assert sure is not None
    feared = np.linspace(0.0, 1.0, len(sure.black))
    doubted = replace(learnt, uncertainty=replace(sure, feared=feared))

    def scaled(array: np.ndarray) -> np.ndarray:
        return np.asarray(np.sqrt(1.0 - feared).reshape(-1, *[1] * (array.ndim - 1)) * array)

    less: dict[str, Any] = {
        name: scaled(getattr(sure, name)) for name in ARRAYS if name != "feared"
    }
    likely = replace(learnt, uncertainty=replace(sure, **less, feared=np.zeros_like(feared)))
    recipe, shelf = RECIPE.with_(medium_parts=4), replace(SETTINGS, mixing=Mixing(panel_cv=0.02))
    target = lab_target(predict(learnt, [recipe], D65).lab[0], D65)
    none = replace(learnt, uncertainty=replace(sure, feared=np.zeros_like(feared)))
    chances = [pass_probability(c, shelf, [recipe], target, 0.5) for c in (doubted, likely, none)]
    left_out, as_if, whole_chance = (float(c[0]) for c in chances if c is not None)
    assert left_out == as_if
    assert left_out > whole_chance
    whole, same = (predict(c, [recipe], D65, deviations=True).lab_sd for c in (learnt, doubted))
    np.testing.assert_array_equal(whole, same)


def test_deviations_of_many_films_are_those_of_each(learnt: Curves) -> None:
    """Lab deviations by matrix products are those that go by way of spectra, coats and letdowns.

    Two toners at one letdown do not tell what another does: at 4:1 and 1 coat that shows.
    """
    lines = ("2 t0 + 1 t1, 6:1, 4 coats over silver", "t1, 4:1, 1 coat over white")
    recipes = [parse(line) for line in lines]
    doses, ground = recipe_doses(learnt, recipes)
    film = reflectance_derivatives(learnt, doses, ground)
    jacobian = lab_jacobian_of(learnt, film.reflectance, D65)
    departures = departures_of(learnt, recipes)
    spectra = reflectance_deviations(learnt, film, doses, ground, departures)
    assert spectra is not None
    wanted = lab_deviations(learnt, film.reflectance, spectra, D65)
    usual = lab_deviations_of(learnt, film, jacobian, doses, ground)
    by_log_dose = (jacobian * film.d_tau[:, np.newaxis]) @ learnt.absorption.T
    by_log_dose += (jacobian * film.d_scattering[:, np.newaxis]) @ learnt.scattering.T
    further = departing_deviations(learnt, by_log_dose.swapaxes(1, 2) * doses[:, :, np.newaxis])
    assert further is not None
    by_film = departures[:, :, np.newaxis, np.newaxis]
    found = usual + by_film[:, 0] * further[0] + by_film[:, 1] * further[1]
    assert np.abs(found[1] - usual[1]).max() > 0.02
    # The longer way ends with the film model's own three directions.
    assert np.allclose(found, wanted[:, :-3], rtol=1e-9, atol=1e-12)


@pytest.mark.parametrize(
    ("line", "mixing", "away", "tolerance"),
    [
        ("2 t0 + 1 t1, 6:1, 4 coats over silver", Mixing(), (0.3, -0.5, 0.4), 1.0),
        ("2 t0 + 1 t1, 6:1, 1 coat over silver", Mixing(coat_cv=0.1), (0.2, 0.1, 0.0), 1.0),
        ("2 t0 + 1 t1, 6:1, 6 coats over silver", Mixing(coat_cv=0.1), (0.2, 0.1, 0.0), 1.0),
        ("3 t0 + 1 t1, 4:1, 3 coats over white", Mixing(pour_cv=0.06), (0.0, 0.6, 0.3), 1.5),
        ("t1, 8:1, 2 coats over white", Mixing(panel_cv=0.12), (-0.7, 0.0, 0.9), 2.0),
    ],
)
def test_the_chance_is_that_of_panels_sprayed_one_by_one(
    learnt: Curves, line: str, mixing: Mixing, away: tuple[float, float, float], tolerance: float
) -> None:
    """Of many panels with hand, pours and instrument drawn for each, as many pass as was said.

    Film builds and pours go through the film itself, coat by coat and component by component, and
    every panel is judged by ΔE00.
    """
    recipe, rng, n = parse(line), np.random.default_rng(1), 40_000
    measurement = Measurement(repeat_sd=0.15)
    target = predict(learnt, [recipe], D65).lab[0] + np.array(away)
    doses, ground = recipe_doses(learnt, [recipe])
    coats = int(recipe.coats)
    poured = np.append(doses[0] / coats, 1.0 - doses.sum() / coats)
    poured = poured * np.exp(mixing.pour_cv * rng.standard_normal((n, len(poured))))
    volume = poured[:, :-1] / poured.sum(axis=1, keepdims=True)
    hand = np.exp(mixing.panel_cv * rng.standard_normal(n))
    film = hand * np.exp(mixing.coat_cv * rng.standard_normal((n, coats))).sum(axis=1)
    labs = lab_of_doses(learnt, volume * film[:, np.newaxis], recipe.ground, D65)
    derivatives = reflectance_derivatives(learnt, doses, ground)
    departures = departures_of(learnt, [recipe])
    spectra = reflectance_deviations(learnt, derivatives, doses, ground, departures)
    assert spectra is not None
    off = lab_deviations(learnt, derivatives.reflectance, spectra, D65)[0]
    labs = labs + rng.standard_normal((n, len(off))) @ off
    labs += measurement.repeat_sd * rng.standard_normal((n, 3))
    passed = float(np.mean(delta_e_2000(labs, target) <= tolerance))
    shop = replace(SETTINGS, mixing=mixing, measurement=measurement)
    chance = pass_probability(learnt, shop, [recipe], lab_target(target, D65), tolerance)
    assert chance is not None
    assert 0.1 < passed < 0.9
    # Sampling to .0025, rounding to .005, the rest for taking hand and pours as linear.
    assert chance[0] == pytest.approx(passed, abs=0.02)
    assert chance[0] == round(chance[0], 2)


def test_a_panels_covariance_is_the_sum_of_all_that_varies() -> None:
    """Curves, hand, pours, ground and instrument, each as outer products of what it moves."""
    curves, shelf = invented_shelf(7, 4, 2, hazy=2, unsure=0.01)
    curves = replace(curves, ground_cv=(0.02, 0.05))
    mixing = replace(shelf.mixing, pour_cv=0.1, panel_cv=0.07, coat_cv=0.05)
    shelf = replace(shelf, mixing=mixing)
    recipe = parse("3 toner-00 + 2 toner-02 + 1 toner-03, 6:1, 3 coats over white")
    light, step = shelf.measurement.light, 1e-4
    doses, ground = recipe_doses(curves, [recipe])
    ups, downs = doses * np.exp(step * np.eye(4)), doses * np.exp(-step * np.eye(4))
    labs = [lab_of_doses(curves, moved, recipe.ground, light) for moved in (ups, downs)]
    by_toner = (labs[0] - labs[1]) / (2 * step)
    moves = [pour_deviations(doses[0] / 3, mixing) @ by_toner]
    moves.append(film_build_sd(np.array([3.0]), mixing) * by_toner.sum(axis=0, keepdims=True))
    film = reflectance_derivatives(curves, doses, ground)
    spectra = reflectance_deviations(curves, film, doses, ground, departures_of(curves, [recipe]))
    assert spectra is not None
    moves.append(lab_deviations(curves, film.reflectance, spectra, light)[0])
    bright, dark = (lab_of(curves, film.reflectance * (1 + s), light) for s in (step, -step))
    moves.append(curves.ground_cv[0] * (bright - dark) / (2 * step))
    moves.append(shelf.measurement.repeat_sd * np.eye(3))
    chance = PassProbability(curves, shelf, lab_target(film.reflectance[0, :3], light), 1.0)
    spread = chance.spread(doses, ground)
    found = chance._covariance(spread, np.array([0]), np.array([3.0]), np.array([6.0]))[0]
    assert curves.return_ratio[ground[0]] == 1.0
    assert found == pytest.approx(sum(each.T @ each for each in moves), rel=1e-5, abs=1e-9)


def test_certainty_is_kept_beside_its_curves(learnt: Curves, tmp_path: Path) -> None:
    """What was saved predicts the same standard deviations when it is loaded again."""
    save_curves(tmp_path, learnt)
    again = load_curves(tmp_path)
    found, kept = (predict(c, [RECIPE], D65, deviations=True).lab_sd for c in (again, learnt))
    assert found is not None
    assert found == pytest.approx(kept, rel=1e-4)


def test_certainty_of_other_curves_counts_for_nothing(learnt: Curves, tmp_path: Path) -> None:
    """Beside curves that were changed, or damaged itself, it says nothing rather than wrong."""
    save_curves(tmp_path, learnt)
    file = uncertainty_file(tmp_path, (tmp_path / CURVES_FILE).read_bytes())
    kept = file.read_bytes()
    file.write_bytes(kept[: len(kept) // 2])
    assert predict(load_curves(tmp_path), [RECIPE], D65, deviations=True).lab_sd is None
    file.write_bytes(kept)
    text = (tmp_path / CURVES_FILE).read_text()
    (tmp_path / CURVES_FILE).write_text(text.replace("# surface: ", "# surface: 1"))
    assert predict(load_curves(tmp_path), [RECIPE], D65, deviations=True).lab_sd is None


def test_what_a_killed_writer_left_is_swept(learnt: Curves, tmp_path: Path) -> None:
    """The next `learn` removes half an uncertainty file of a `learn` that was killed."""
    litter = tmp_path / ".uncertainty-0123456789abcdef.npz.x1.fewtone-part"
    litter.write_bytes(b"half")
    save_curves(tmp_path, learnt)
    assert not litter.exists()


# Of 40,000 draws, three standard deviations, and the quadrature's own error.
DRAWS, DRAWN = 40_000, 0.012


@pytest.mark.parametrize("lab", [(50.0, 5.0, -60.0), (38.0, -18.0, 9.0), (70.0, 30.0, 60.0)])
def test_the_chance_is_that_of_draws(lab: tuple[float, float, float]) -> None:
    """Whichever way the mean is off and the covariance lies, in blue too, where ΔE00 turns."""
    rng, count = np.random.default_rng(5), 12
    target = np.array(lab)
    mean = target + rng.normal(size=(count, 3)) * [0.5, 0.7, 0.7]
    root = rng.normal(size=(count, 3, 3)) * rng.uniform(0.1, 0.6, (count, 1, 3))
    off = mean - target + np.einsum("kij,nkj->nki", root, rng.normal(size=(DRAWS, count, 3)))
    metric = delta_e_2000_metric(0.5 * (mean + target))
    de00 = np.sqrt(np.einsum("nki,kij,nkj->nk", off, metric, off))
    for tolerance in (0.5, 1.0, 2.0):
        found = chance_within(mean, root @ root.swapaxes(1, 2), target, tolerance)
        assert found == pytest.approx((de00 <= tolerance).mean(axis=0), abs=DRAWN)


@pytest.mark.parametrize(("size", "chance"), [(0.99, 1.0), (1.01, 0.0)])
def test_what_is_sure_passes_or_does_not(size: float, chance: float) -> None:
    """Without any spread the chance is 1 within the tolerance and 0 beyond it."""
    target = np.array([50.0, 0.0, 0.0])
    mean = np.add(target, [size / np.sqrt(delta_e_2000_metric(target)[0, 0]), 0.0, 0.0])
    found = chance_within(mean[np.newaxis], np.zeros((1, 3, 3)), target, 1.0)
    assert found[0] == pytest.approx(chance, abs=2e-3)  # as far as the nodes tell


def test_the_chance_of_any_version_is_that_of_panels(learnt: Curves) -> None:
    """One version, itself twice, and two that lie apart: of the one, of the one, nearly the sum."""
    recipes = [RECIPE, RECIPE.with_(coats=3), RECIPE.with_(coats=5)]
    labs = predict(learnt, recipes[:2], D65).lab
    one, other = (lab_target(lab, D65) for lab in labs)
    shaky = replace(SETTINGS, mixing=Mixing(panel_cv=0.05))
    alone = [pass_probability(learnt, shaky, recipes, target, 1.0) for target in (one, other)]
    for targets, wanted in (((one,), alone[0]), ((one, one), alone[0]), ((other,), alone[1])):
        found = pass_any_probability(learnt, shaky, recipes, [[each] for each in targets], 1.0)
        assert found is not None
        assert found == pytest.approx(wanted, abs=0.011)  # both are rounded to .01
    both = pass_any_probability(learnt, shaky, recipes, [[one], [other]], 1.0)
    assert both is not None
    assert alone[0] is not None
    assert alone[1] is not None
    assert both == pytest.approx(alone[0] + alone[1], abs=0.02)
    assert both[:2].min() > 0.1
    for chance in (both, *alone):
        assert chance is not None
        np.testing.assert_array_equal(chance, np.round(chance, 2))  # as a person reads it


@pytest.mark.parametrize("tolerance", [0.8, 1.0])
def test_the_chance_in_several_lights_is_that_of_spectra(learnt: Curves, tolerance: float) -> None:
    """Panels drawn as spectra and looked at in two lights: in one of them, and in both."""
    recipe, rng = RECIPE, np.random.default_rng(11)
    lights = (D65, Light("A", 10), Light("LED-B3", 10))
    shaky = replace(SETTINGS, mixing=Mixing(panel_cv=0.06, coat_cv=0.0, pour_cv=0.0))
    doses, ground = recipe_doses(learnt, [recipe])
    film = reflectance_derivatives(learnt, doses, ground)
    departures = departures_of(learnt, [recipe])
    off = reflectance_deviations(learnt, film, doses, ground, departures)
    assert off is not None
    builds = np.exp(0.06 * rng.normal(size=DRAWS))
    spectra = reflectance(learnt, doses * builds[:, np.newaxis], np.full(DRAWS, ground[0]))
    spectra += rng.normal(size=(DRAWS, off.shape[1])) @ off[0]
    level = learnt.ground_cv[0] if learnt.return_ratio[ground[0]] < 1.0 else learnt.ground_cv[1]
    spectra *= 1.0 + level * rng.normal(size=(DRAWS, 1))
    assert learnt.uncertainty is not None
    noise = np.hypot(shaky.measurement.repeat_sd, learnt.uncertainty.model_sd)
    misread = noise * rng.normal(size=(DRAWS, 3))
    targets, passes = [], []
    for light, away in zip(
        lights, ((0.6, 0.0, 0.0), (-0.3, 0.2, -0.2), (0.2, 0.1, 0.0)), strict=True
    ):
        lab = predict(learnt, [recipe], light).lab[0] + away
        targets.append(lab_target(lab, light))
        panels = lab_of(learnt, spectra, light) + misread
        passes.append(delta_e_2000(panels, lab) <= tolerance)
    for versions, wanted in (
        ([[targets[0]], [targets[1]]], passes[0] | passes[1]),
        ([targets[:2]], passes[0] & passes[1]),
        ([targets], passes[0] & passes[1] & passes[2]),
    ):
        found = pass_any_probability(learnt, shaky, [recipe], versions, tolerance)
        assert found is not None
        assert 0.2 < found[0] < 0.9
        assert found[0] == pytest.approx(wanted.mean(), abs=DRAWN + 0.01)


def test_points_are_those_of_the_published_sequence() -> None:
    """Of two dimensions: steps 1/g and 1/g² of the plastic number, taken by Box and Muller.

    The number as M. Roberts prints it (The Unreasonable Effectiveness of Quasirandom Sequences,
    2018).
    """
    plastic = 1.32471795724474602596
    found = normal_points(5, 2)
    for n in range(1, 6):
        first, second = ((0.5 + n / plastic**power) % 1.0 for power in (1, 2))
        radius, angle = math.sqrt(-2.0 * math.log(first)), 2.0 * math.pi * second
        wanted = (radius * math.cos(angle), radius * math.sin(angle))
        assert found[n - 1] == pytest.approx(wanted, abs=1e-9)


def test_what_coats_and_letdown_add_is_a_covariance_multiplied_out() -> None:
    """Times how far coats and letdown depart, the terms give the square of the sum."""
    rng = np.random.default_rng(6)
    off, by_coats, by_letdown = rng.normal(size=(3, 4, 7, 3))
    terms = _departing(off, by_coats, by_letdown)
    for coats, letdown in ((0.3, 0.0), (0.0, -0.7), (0.4, 1.1)):
        whole = off + coats * by_coats + letdown * by_letdown
        wanted = np.einsum("nki,nkj->nij", whole, whole) - np.einsum("nki,nkj->nij", off, off)
        factors = np.array([coats, letdown, coats**2, coats * letdown, letdown**2])
        np.testing.assert_allclose(np.einsum("t,ntij->nij", factors, terms), wanted, atol=1e-12)
