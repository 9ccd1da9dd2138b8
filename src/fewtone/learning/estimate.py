"""Readings to curves: one joint estimate of everything at once.

Toners, grounds and the hand's variation are estimated together by maximum a posteriori: all
readings, single toners and blends, over all grounds, spectra and Labs alike. Residuals are
weighed by what an instrument repeats; where the film model itself misses by more than that (an
uncleared, matte or grainy coat), the noise is estimated from the readings and the priors weigh
accordingly more.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass, replace

import numpy as np
from threadpoolctl import threadpool_limits

from fewtone.learning.design import second_light, suggest
from fewtone.learning.diagnosis.implausible import check_columns, check_curves
from fewtone.learning.diagnosis.suspects import Diagnosis, diagnose
from fewtone.learning.findings import findings
from fewtone.learning.forward import Problem
from fewtone.learning.hyperparameters import (
    doubted_hand,
    infer_film,
    infer_flake,
    inferred_hand,
)
from fewtone.learning.keyed import mixing_links
from fewtone.learning.leave_one_out import Expectation, expectations, prediction_errors
from fewtone.learning.likely_dyes import with_likely_dyes
from fewtone.learning.model_check import uncertainty_factor
from fewtone.learning.model_error import ModelError
from fewtone.learning.noise import Noise
from fewtone.learning.observations import Observations, observe
from fewtone.learning.parameters import shared_prior
from fewtone.learning.refits import (
    CLEARLY_VARIES,
    SETTLED,
    scatters,
    with_phase,
    with_solids,
    with_variation,
    without_seeming_haze,
)
from fewtone.learning.report import FitReport, fit_report
from fewtone.learning.solver import Prior, Solution, robust_weights, solve
from fewtone.learning.starts import last_look, second_look, starting_point
from fewtone.learning.uncertainty import (
    LETDOWN_LIKELY,
    LETDOWN_WIDER,
    Unfollowed,
    bare_returns,
    common_letdown,
    data_shares,
    only_bare,
    reported_covariances,
    shared_covariance,
    uncertainty_of,
)
from fewtone.model.curves import Curves
from fewtone.model.readings import Readings
from fewtone.model.shelf import ShelfSettings
from fewtone.model.uncertainty import Uncertainty
from fewtone.model.variation import film_departures_rms
from fewtone.typing import FloatArray
from fewtone.version import __version__

__all__ = ["STEPS", "Judged", "Learnt", "estimate", "fit", "judge"]

STEPS = (
    "what toners and grounds do",
    "which panels do not fit",
    "how sure that is",
    "what to spray next",
)
"""What is worked out one after another."""

# How often a drift's size is found anew; not where readings scatter so many times as much as told:
# what is left then is what the film model misses.
_DRIFT_ROUNDS, _MISSED = 3, 2.0
# What a handheld repeats in reflectance, relative (common practice, no source).
_RELATIVE_NOISE = 0.002
# No reading is trusted further than its last digit.
_LEAST_ABSOLUTE_NOISE = 1e-4
# A Lab reading is never trusted further than its print.
_LEAST_LAB_NOISE = 0.03
_NOISE_ROUNDS, _ROBUST_ROUNDS, _FILM_ROUNDS = 3, 2, 2
# How far a stated surface may be off [1]: next to nothing.
_STATED_SURFACE_SD = 1e-5
_SECOND_LOOKS = 3
_WORTH_ANOTHER_LOOK = 1.0
# Below this the reduced_residual is what chance leaves, and the noise stays as it was.
_NOISE_CLEARLY_LARGER = 1.25


@dataclass(frozen=True, slots=True, eq=False)
class Learnt:
    """What learning found.

    Parameters
    ----------
    curves
        Of the toners, and the grounds.
    report
        How well they explain the readings.
    """

    curves: Curves
    report: FitReport


def estimate(
    settings: ShelfSettings,
    readings: Readings,
    *,
    leave_out: Collection[str] = (),
    progress: Callable[[int, int], None] | None = None,
) -> Learnt:
    """Learn a shelf's curves from its readings.

    Parameters
    ----------
    settings
        Geometry, film, hand and instrument; names of toners and grounds.
    readings
        What was read.
    leave_out
        Panels that are not to count.
    progress
        Is told how many of `STEPS` are done; None for nobody.

    Raises
    ------
    FewtoneError
        The readings cannot tell what they should: see `fewtone.learning.observations.observe`
        and `fewtone.learning.diagnosis.implausible`.
    """
    # Thousands of small factorisations: threads would wait for one another far longer than they
    # work, the more so beside another busy program.
    with threadpool_limits(limits=1, user_api="blas"):
        return _estimate(settings, readings, leave_out, progress or _nobody)


def _nobody(_: int, __: int) -> None:
    """Nobody is told how far it is."""


def _estimate(
    settings: ShelfSettings,
    readings: Readings,
    leave_out: Collection[str],
    progress: Callable[[int, int], None],
) -> Learnt:
    progress(0, len(STEPS))
    seen = observe(settings, readings, leave_out)
    check_columns(seen, settings)
    judged = judge(settings, readings, seen, lambda: progress(1, len(STEPS)))
    progress(2, len(STEPS))
    problem, prior, solution = judged.problem, judged.prior, judged.solution
    at, covariance, diagnosis = solution.at, judged.covariance, judged.diagnosis
    # What the surface adds and what the instrument's black takes off are one constant to a reading.
    seen_surface = settings.measurement.surface + at.black
    per_doubling = common_letdown(at, covariance)
    hand = doubted_hand(problem, prior, solution, settings.mixing)
    doubted = problem.with_variation(hand, problem.ground_cv)
    # Panels that are asked for by a wider doubt of the letdown are no better than random ones.
    reported, narrower = reported_covariances(doubted, prior, solution, (LETDOWN_WIDER, 1.0))
    (likely,) = reported_covariances(problem, prior, solution, (LETDOWN_LIKELY,))
    bare = bare_returns(problem, at, narrower)
    light = settings.measurement.light
    factor = uncertainty_factor(problem, judged.expected, solution.weights, light)

    def told(covariance: FloatArray) -> Uncertainty:
        return uncertainty_of(
            at,
            factor**2 * covariance,
            seen.wavelength_nm,
            Unfollowed(at.letdown - per_doubling, min(seen_surface, 0.0)),
            film_departures_rms(settings.mixing, problem.middle_letdown),
            bare,
            factor**2 * likely,
        )

    curves = Curves(
        wavelength_nm=seen.wavelength_nm,
        toners=seen.toners,
        absorption=at.absorption,
        scattering=at.scattering,
        grounds=seen.grounds,
        ground_reflectance=at.ground_reflectance,
        return_ratio=at.return_ratio,
        key_strength=at.key_strength,
        metallic=seen.metallic,
        optics=replace(problem.optics, surface=max(seen_surface, 0.0)),
        stated_index=settings.measurement.film_index,
        middle_letdown=problem.middle_letdown,
        per_doubling=per_doubling,
        thinning=problem.thinning,
        hand=inferred_hand(settings.mixing, problem.mixing),
        ground_cv=problem.ground_cv,
        uncertainty=told(reported),
        readings_digest=readings.digest,
        version=__version__,
    )
    not_learnt = tuple(
        name
        for names, known in ((settings.toners, seen.toners), (settings.grounds, seen.grounds))
        for name in names
        if name not in known
    )
    cautions = list(readings.cautions)
    if not_learnt:
        cautions.append(f"Never read, so not learnt: {', '.join(not_learnt)}.")
    stated = _stated_noise(settings)
    noise_factor = problem.noise.absolute / stated.absolute
    cautions += findings(problem, solution, settings, noise_factor, factor, per_doubling)
    if not solution.converged:
        cautions.append("The fit had not settled when it was stopped: take the curves with care.")
    if diagnosis.drift is not None:
        cautions.append(str(diagnosis.drift))
    progress(3, len(STEPS))
    report = fit_report(
        problem,
        at,
        settings.measurement.light,
        iterations=solution.iterations,
        converged=solution.converged,
        left_out=tuple(leave_out),
        leave_one_out_de00=prediction_errors(problem, judged.expected, light),
        data_share=data_shares(at, covariance, seen.wavelength_nm),
        suspects=diagnosis.suspects,
        not_learnt=not_learnt,
        spray_next=suggest(
            replace(curves, uncertainty=told(narrower)),
            settings,
            problem.noise,
            seen.lab_lights,
            feared=len(bare),
            only_bare=[seen.grounds[ground] for ground in only_bare(problem)],
        ),
        second_light=second_light(seen.lab_lights),
        cautions=tuple(cautions),
    )
    progress(4, len(STEPS))
    return Learnt(curves, report)


@dataclass(frozen=True, slots=True, eq=False)
class Judged:
    """A fit, and what it says of the readings.

    Parameters
    ----------
    problem, prior, solution
        The fit.
    covariance
        Of its shared parameters, shape ``(n_shared, n_shared)``.
    expected
        What all other panels say of each.
    diagnosis
        Which panels do not fit, and a drift of the instrument, which the fit has taken off.
    """

    problem: Problem
    prior: Prior
    solution: Solution
    covariance: FloatArray
    expected: list[Expectation]
    diagnosis: Diagnosis


def judge(
    settings: ShelfSettings,
    readings: Readings,
    seen: Observations,
    fitted: Callable[[], None] | None = None,
) -> Judged:
    """Fit, and judge the readings; where the instrument drifted, anew with that taken off.

    Parameters
    ----------
    settings, readings
        As `estimate` has them.
    seen
        The readings that count.
    fitted
        Called once the first fit is done; None for nobody.

    Raises
    ------
    FewtoneError
        Curves that are none: see `fewtone.learning.diagnosis.implausible`.
    """
    read, drift, rounds, stated = seen, None, 0, _stated_noise(settings)
    while True:
        problem, prior, solution = fit(settings, seen)
        check_curves(seen, solution.at)
        covariance = shared_covariance(problem, prior, solution.at, solution.weights)
        expected = expectations(problem, solution.at, covariance, solution.weights)
        if drift is None and fitted is not None:
            fitted()
        diagnosed = diagnose(
            problem,
            prior,
            solution.at,
            expected,
            readings,
            settings,
            undone=drift,
            settled=rounds == _DRIFT_ROUNDS
            or _surface_varies(settings, problem)
            or (drift is not None and problem.noise.absolute > _MISSED * stated.absolute),
        )
        if diagnosed.drift is None:
            diagnosis = Diagnosis(diagnosed.suspects, drift)
            return Judged(problem, prior, solution, covariance, expected, diagnosis)
        drift, rounds = diagnosed.drift, rounds + 1
        seen = drift.undone(read)


def fit(settings: ShelfSettings, seen: Observations) -> tuple[Problem, Prior, Solution]:
    """Find the most probable parameters, judging the noise by what is left over."""
    optics, noise = settings.measurement.optics, _stated_noise(settings)
    problem = Problem(seen, optics, settings.mixing, noise)
    prior = Prior(
        *shared_prior(problem.layout, problem.seen.wavelength_nm),
        mixing_links(problem.seen, problem.layout),
    )
    if settings.measurement.surface > 0.0:
        # A matte surface's constant cannot be told from the instrument's: what is said counts.
        prior.precision[problem.layout.black, problem.layout.black] = _STATED_SURFACE_SD**-2
    solution = _first_fit(problem, prior)
    # A bad panel must not decide what scatters, nor how far a hand varies.
    weights = robust_weights(problem, solution.at)
    solution = solve(problem, prior, solution.at, weights=weights, tolerance=SETTLED)
    hazy = scatters(problem, prior, solution)
    start = replace(solution.at, hazy=hazy)
    problem = problem.with_model_error(ModelError(hazy))
    solution = solve(problem, prior, start, weights=robust_weights(problem, start))
    solution = with_solids(problem, prior, solution)
    forwards, phased = with_phase(problem, prior, solution)
    fitted = _with_conditions(settings, forwards, prior, phased)
    if forwards is not problem and max(fitted[0].ground_cv) > CLEARLY_VARIES:
        # Over grounds that vary from panel to panel clear toners seem to be pearls.
        fitted = _with_conditions(settings, problem, prior, solution)
    problem, prior, solution = fitted
    other = last_look(problem, solution.at)
    if other is not None:
        solved = solve(problem, prior, other, weights=solution.weights, tolerance=SETTLED)
        if solved.cost < solution.cost:
            solution = solved
            if not _surface_varies(settings, problem):
                problem, prior, solution = _with_film(problem, prior, solution)
    # Only now: drawn to a wrong curve's dyes, no look would find the right one.
    prior = with_likely_dyes(problem, prior, solution)
    solution = solve(problem, prior, solution.at, weights=solution.weights)
    return problem, prior, solution


def _with_conditions(
    settings: ShelfSettings, problem: Problem, prior: Prior, solution: Solution
) -> tuple[Problem, Prior, Solution]:
    """The fit with flake, hand, grounds, noise and film as the readings say."""
    wider = infer_flake(problem, prior, solution)
    if wider is not prior:
        # What did not fit because all flake was to return alike must not pass for a bad panel.
        prior = wider
        solution = solve(problem, prior, solution.at, tolerance=SETTLED)
        weights = robust_weights(problem, solution.at)
        solution = solve(problem, prior, solution.at, weights=weights, tolerance=SETTLED)
    if settings.measurement.surface > 0.0:
        # First what the surface does: it must not pass for the hand.
        problem, solution = _with_noise(problem, prior, solution)
    if not _surface_varies(settings, problem):
        problem, solution = with_variation(problem, prior, solution)
        problem, solution = _with_noise(problem, prior, solution)
    for _ in range(_ROBUST_ROUNDS):
        weights = robust_weights(problem, solution.at)
        if np.array_equal(weights, solution.weights):
            break
        solution = solve(problem, prior, solution.at, weights=weights, tolerance=SETTLED)
    if not _surface_varies(settings, problem):
        problem, prior, solution = _with_film(problem, prior, solution)
        problem, solution = without_seeming_haze(problem, prior, solution)
    return problem, prior, solution


def _surface_varies(settings: ShelfSettings, problem: Problem) -> bool:
    """Whether an uncleared, matte surface makes readings scatter beyond the instrument.

    What it reflects differs from panel to panel and falls as the coat fills its texture. That
    passes for another hand, for grounds that differ, for another film and for a moved black: what
    shelf.toml says of these is then all that is known. Single coats of measured paints are so
    predicted from all others within ΔE00 1.15 in the median, and within 1.90 otherwise.
    """
    told = _stated_noise(settings).absolute
    return settings.measurement.surface > 0.0 and problem.noise.absolute > _MISSED * told


def _with_noise(problem: Problem, prior: Prior, solution: Solution) -> tuple[Problem, Solution]:
    """The fit with noise as large as its residuals say."""
    for _ in range(_NOISE_ROUNDS):
        factor = _reduced_residual(problem, solution)
        if factor < _NOISE_CLEARLY_LARGER:
            break
        problem = problem.with_noise(problem.noise.scaled(factor))
        solution = solve(problem, prior, solution.at, weights=solution.weights, tolerance=SETTLED)
    return problem, solution


def _with_film(
    problem: Problem, prior: Prior, solution: Solution
) -> tuple[Problem, Prior, Solution]:
    """The fit with film index, edge loss and thinning as the readings say."""
    for _ in range(_FILM_ROUNDS):
        before = problem
        problem, prior = infer_film(problem, prior, solution)
        if problem is before:
            break
        solution = solve(problem, prior, solution.at, weights=solution.weights, tolerance=SETTLED)
    return problem, prior, solution


def _first_fit(problem: Problem, prior: Prior) -> Solution:
    """The fit from where the search begins, or from a second look at hazy toners."""
    solution = solve(problem, prior, starting_point(problem))
    for _ in range(_SECOND_LOOKS):
        other = second_look(problem, solution.at)
        if other is None:
            break
        solved = solve(problem, prior, other)
        gain = solution.cost - solved.cost
        if gain > 0.0:
            solution = solved
        if gain < _WORTH_ANOTHER_LOOK:
            break
    return solution


def _stated_noise(settings: ShelfSettings) -> Noise:
    """What shelf.toml says that the instrument repeats, within reason."""
    return Noise(
        _RELATIVE_NOISE,
        max(settings.measurement.repeat_reflectance, _LEAST_ABSOLUTE_NOISE),
        max(settings.measurement.repeat_sd, _LEAST_LAB_NOISE),
    )


def _reduced_residual(problem: Problem, solution: Solution) -> float:
    """Typical residual of a panel in standard deviations of the noise."""
    residuals = problem.whitened_residuals(solution.at) or []
    spread = [np.sqrt((residual**2).mean(axis=1)) for residual in residuals]
    return float(np.median(np.concatenate(spread))) if spread else 1.0
