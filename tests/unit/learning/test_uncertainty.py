"""Uncertainty as directions of deviation."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from fewtone.colorimetry import lab_jacobian, weights, white_point
from fewtone.learning.estimate import fit
from fewtone.learning.observations import observe
from fewtone.learning.parameters import blank
from fewtone.learning.uncertainty import (
    LETDOWN_WIDER,
    Unfollowed,
    bare_returns,
    reported_covariances,
    shared_covariance,
    uncertainty_of,
)
from fewtone.typing import FloatArray
from unit.learning.shelves import D65, GROUNDS, curves_of, settings, spray

# A shop that sprays one number of coats at one letdown only: no film departs from the usual.
ONE_FILM = (0.0, 0.0)
# Standard deviation given to every unknown, half of its variance common to all.
SD = 0.1
# Far below it, and far above what rounding makes of it.
ROUNDING = 1e-3
# How far what returns is told to lie from what the shelf's other flake does where no film tells.
BARE_SD = 0.08
# Half the length of a ripple, in bands of 10 nm.
WAVE = 4


def test_what_lies_in_the_dark_does_not_deviate() -> None:
    """A band so strong that no light comes back deviates by no more than it was said to."""
    curves = curves_of(440.0, 530.0)
    lines = [
        (f"{name}-{c}", f"{name}, 6:1, {c} coats over white") for name in curves for c in (1, 4)
    ]
    seen = observe(settings(curves), spray(curves, lines))
    at = blank(seen)
    at.shared[at.layout.toner(0)[:9]] = np.log(np.linspace(20.0, 700.0, 9))
    size = at.layout.size
    covariance = SD**2 * 0.5 * (np.eye(size) + np.ones((size, size)))
    nothing = Unfollowed(np.zeros(at.layout.n_toners), 0.0)
    certainty = uncertainty_of(at, covariance, seen.wavelength_nm, nothing, ONE_FILM)
    relative = np.sqrt((certainty.absorption**2).sum(axis=0)) / at.absorption
    assert relative.max() < SD * (1.0 + ROUNDING)
    assert relative.max() > 0.5 * SD


def told(films_over: Iterable[str]) -> tuple[FloatArray, FloatArray]:
    """Return sds of what silver returns of its own and of its ripples: as fitted, and as told."""
    curves = curves_of(440.0, 530.0)
    lines = [
        (f"{name}-{c}-{ground}", f"{name}, 6:1, {c} coats over {ground}")
        for name in curves
        for c in (1, 4)
        for ground in films_over
    ]
    shelf = settings(curves)
    problem, prior, solution = fit(shelf, observe(shelf, spray(curves, lines, lights=[D65])))
    fitted = shared_covariance(problem, prior, solution.at, solution.weights)
    layout, silver = problem.layout, list(GROUNDS).index("silver")
    places = layout.ground(silver)
    each = np.eye(places.size)
    ripple = np.zeros((places.size - 2 * WAVE, layout.size))
    ripple[:, places] = each[: -2 * WAVE] - 2.0 * each[WAVE:-WAVE] + each[2 * WAVE :]
    departure = layout.return_ratio_departure(silver)
    (smooth,) = reported_covariances(problem, prior, solution, [LETDOWN_WIDER])
    bare = bare_returns(problem, solution.at, smooth)
    ratio = solution.at.return_ratio[silver]
    size = ratio * (1.0 - ratio / 2.0) * solution.at.ground_reflectance[silver].mean()
    both = (fitted, smooth + bare.T @ bare)
    return (
        size * np.sqrt([each[departure, departure] for each in both]),
        np.sqrt([np.trace(ripple @ each @ ripple.T) for each in (fitted, smooth)]),
    )


def test_flake_that_was_only_read_bare_is_told_to_hold_light_as_it_may() -> None:
    """A bare reading tells nothing of the return ratio: what is told is the wide prior itself."""
    fitted, as_told = told(["white"])[0]
    assert as_told > 2.0 * fitted
    assert np.isclose(as_told, BARE_SD, rtol=0.05)
    fitted, as_told = told(["white", "silver"])[0]
    assert np.isclose(as_told, fitted, rtol=0.05)


def test_flake_is_told_to_be_smooth() -> None:
    """From Lab alone a metallic ground ripples less than it was fitted with."""
    fitted, as_told = told(["white"])[1]
    assert as_told < 0.8 * fitted


def test_what_readings_pin_is_told_as_unsure_as_it_is() -> None:
    """Colours of bare grounds from Lab alone, whose spectra hardly anything tells.

    Few directions hold the covariance: what their Labs lose by it is next to nothing.
    """
    curves = curves_of(440.0, 530.0)
    lines = [
        (f"{name}-{c}", f"{name}, 6:1, {c} coats over white") for name in curves for c in (1, 4)
    ]
    shelf = settings(curves)
    seen = observe(shelf, spray(curves, lines, lights=[D65]))
    problem, prior, solution = fit(shelf, seen)
    at, layout = solution.at, problem.layout
    (covariance,) = reported_covariances(problem, prior, solution, [LETDOWN_WIDER])
    nothing = Unfollowed(np.zeros(layout.n_toners), 0.0)
    certainty = uncertainty_of(at, covariance, seen.wavelength_nm, nothing, ONE_FILM)
    matrix = weights(seen.wavelength_nm, D65)
    for ground, rho in enumerate(at.ground_reflectance):
        slope = lab_jacobian(rho @ matrix, white_point(D65)) @ matrix.T
        places = layout.ground(ground)
        of_log = slope * rho
        whole = np.sqrt(np.diag(of_log @ covariance[np.ix_(places, places)] @ of_log.T))
        kept = np.sqrt(((certainty.ground_reflectance[:, ground] @ slope.T) ** 2).sum(axis=0))
        assert np.all(kept > 0.9 * whole)
        assert np.all(kept < 1.001 * whole)
    assert len(certainty.absorption) < 0.7 * layout.size
