"""Curves of bottles of another strength, and of coats that get thinner."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from fewtone import Light, parse
from fewtone.io.curves import load_curves, save_curves
from fewtone.model.curves import Curves
from fewtone.model.recipe import Recipe
from fewtone.model.uncertainty import Uncertainty
from fewtone.prediction.recipes import predict
from fewtone.workshop.look.letdown import letdown
from fewtone.workshop.look.steadiness import with_other_film
from fewtone.workshop.panel.posterior import Depth, SprayedPanel, infer_posterior
from fewtone.workshop.panel.predictive import PosteriorPredictive
from invented import invented_shelf

ROUNDING = 1e-12


def test_a_stronger_bottle_is_more_of_it() -> None:
    """Absorption and scattering alike: 1.25 times as strong is a quarter more coats."""
    curves, _ = invented_shelf(3, 4, 3, hazy=2)
    name, other = curves.toners[:2]
    strong = curves.with_strengths({name: 1.25, "nobody": 3.0})
    found = predict(strong, [parse(f"{name}, 6:1, 4 coats over silver")], Light("D65", 10)).lab
    more = predict(curves, [parse(f"{name}, 6:1, 5 coats over silver")], Light("D65", 10)).lab
    np.testing.assert_allclose(found, more, atol=ROUNDING)
    np.testing.assert_array_equal(strong.absorption[1:], curves.absorption[1:])
    assert curves.with_strengths({other: 1.0}) is curves


def test_what_it_may_be_off_by_grows_with_it() -> None:
    """The deviations of its curves keep their share of them; the grounds' stay."""
    curves, _ = invented_shelf(3, 4, 3, hazy=2)
    sure = Uncertainty(
        absorption=0.02 * curves.absorption[np.newaxis],
        scattering=0.05 * curves.scattering[np.newaxis],
        ground_reflectance=0.01 * curves.ground_reflectance[np.newaxis],
        return_ratio=0.02 * curves.return_ratio[np.newaxis],
        model_sd=0.06,
    )
    strong = replace(curves, uncertainty=sure).with_strengths({curves.toners[0]: 0.8})
    assert strong.uncertainty is not None
    np.testing.assert_allclose(strong.uncertainty.absorption[0], 0.02 * strong.absorption)
    np.testing.assert_allclose(strong.uncertainty.scattering[0], 0.05 * strong.scattering)
    np.testing.assert_array_equal(strong.uncertainty.ground_reflectance, sure.ground_reflectance)
    assert strong.uncertainty.model_sd == sure.model_sd


def test_a_phase_function_is_kept(tmp_path: Path) -> None:
    """How far forwards the film scatters stands in curves.csv, and a hazy blend's colour by it."""
    curves, _ = invented_shelf(3, 4, 3, hazy=2)
    forwards = replace(curves, optics=replace(curves.optics, asymmetry=0.8))
    save_curves(tmp_path, forwards)
    read = load_curves(tmp_path)
    assert read.optics == forwards.optics
    haziest = curves.toners[int(curves.scattering.max(axis=1).argmax())]
    recipe, light = [parse(f"{haziest}, 6:1, 4 coats over silver")], Light("D65", 10)
    labs = [predict(each, recipe, light).lab for each in (forwards, read, curves)]
    np.testing.assert_allclose(labs[0], labs[1], atol=1e-4)
    assert np.abs(labs[0] - labs[2]).max() > 0.1


def test_later_coats_that_are_thinner_make_less_film() -> None:
    """With a power of .1 six coats make 4 (6/4)^.9; a mist is as thick as half a coat."""
    curves, _ = invented_shelf(3, 4, 3, hazy=2)
    thin, light = replace(curves, thinning=0.1), Light("D65", 10)
    four = parse(f"2 {curves.toners[0]} + 1 {curves.toners[3]}, 6:1, 4 coats over silver")
    six = predict(thin, [four.with_(coats=6)], light).lab
    np.testing.assert_allclose(six, predict(curves, [four], light, build=1.5**0.9).lab)
    np.testing.assert_allclose(predict(thin, [four], light).lab, predict(curves, [four], light).lab)
    np.testing.assert_allclose(thin.films([1, 2, 6]), [1.0, 2.0**0.9, 6.0**0.9])
    np.testing.assert_allclose(thin.films([0.0, 0.1, 0.5]), np.array([0.0, 0.1, 0.5]) * 2.0**0.1)
    np.testing.assert_array_equal(curves.films([0.0, 0.3, 7.0]), [0.0, 0.3, 7.0])


def test_whoever_counts_coats_counts_them_so(tmp_path: Path) -> None:
    """Letdowns, a coat more, panels of a job and the kept curves agree with `predict`."""
    curves, settings = invented_shelf(3, 4, 3, coats=(1, 6))
    thin, light = replace(curves, thinning=0.15), settings.measurement.light
    recipe = parse(f"2 {curves.toners[0]} + 1 {curves.toners[3]}, 6:1, 4 coats over silver")
    strip = [recipe.with_(coats=count) for count in range(7)]
    labs = predict(thin, strip, light).lab
    steps = letdown(thin, settings, recipe, grounds=["silver"]).strips[0].steps
    np.testing.assert_allclose([step.lab for step in steps], labs)
    changes = {each.what: each.lab for each in with_other_film(thin, recipe, light, None)}
    np.testing.assert_allclose(changes["one coat less"], labs[3])
    np.testing.assert_allclose(changes["one coat more"], labs[5])
    np.testing.assert_allclose(
        changes["10 % light"], predict(thin, [recipe], light, build=0.9).lab[0]
    )
    # Panels as predicted leave nothing to explain, and say the same of other coats.
    for read, right in ((thin, True), (curves, False)):
        panel = [_read_at(read, recipe.with_(coats=count), light) for count in (1, 6)]
        depths = tuple(depth for one in panel for depth in one.depths)
        job = infer_posterior(thin, settings, [SprayedPanel(recipe, depths)], light)
        assert (job.reduced_residual < 0.05) is right
        if right:
            fresh = PosteriorPredictive(thin, settings, job, light)
            np.testing.assert_allclose(fresh.of_recipes([strip[2]]).mean[0], labs[2], atol=0.05)
    save_curves(tmp_path, thin)
    assert load_curves(tmp_path).thinning == thin.thinning


def _read_at(curves: Curves, recipe: Recipe, light: Light) -> SprayedPanel:
    lab = predict(curves, [recipe], light).lab[0].tolist()
    return SprayedPanel(recipe, (Depth(float(recipe.coats), (lab[0], lab[1], lab[2]), 1),))
