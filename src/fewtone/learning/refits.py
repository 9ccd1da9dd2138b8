"""Fits anew: what varies from panel to panel, and how solids and haze send light on, by them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fewtone.learning.forward import Problem
from fewtone.learning.hyperparameters import (
    infer_variation,
    unlikelihood,
    with_slanted_solids,
)
from fewtone.learning.model_error import ModelError
from fewtone.learning.parameters import GAIN_SD
from fewtone.learning.solver import Prior, Solution, schur_complement, solve
from fewtone.typing import BoolArray

__all__ = [
    "CLEARLY_VARIES",
    "SETTLED",
    "scatters",
    "with_phase",
    "with_solids",
    "with_variation",
    "without_seeming_haze",
]

SETTLED = 1e-3
"""Between rounds a fit need only settle so far."""
CLEARLY_VARIES = 2.0 * GAIN_SD
"""Grounds vary from panel to panel by more than panels lie differently under the instrument [1]."""

# Less haze than this, as scattering depth of the film that holds most of a toner, is out of sight;
# and of a level known no better than this, on the log, the readings say nothing: the toner passes
# for clear.
_LEAST_HAZE, _LEVEL_KNOWN = 0.05, 0.7
# Gains are of whole readings, solids reflect as Lambert has it and haze scatters alike in all
# directions unless that costs so much more: three standard deviations.
_CLEARLY_BETTER = 9.0
# Mean cosine of what coarse haze scatters: pearl sends most of it on.
_FORWARDS = 0.8


def scatters(problem: Problem, prior: Prior, solution: Solution) -> BoolArray:
    """Which toners scatter: so much that it shows, and surely more than nothing.

    Parameters
    ----------
    problem, prior, solution
        The fit.

    Returns
    -------
    Shape ``(n_toners,)``.
    """
    at = solution.at
    covariance = np.linalg.inv(schur_complement(problem, prior, at, solution.weights))
    levels = [problem.layout.haze(toner)[0] for toner in range(problem.layout.n_toners)]
    return np.asarray(
        (np.exp(at.shared[levels]) * problem.seen.most_dose > _LEAST_HAZE)
        & (np.sqrt(covariance[levels, levels]) < _LEVEL_KNOWN)
    )


def with_solids(problem: Problem, prior: Prior, solution: Solution) -> Solution:
    """The fit with solids that send light back slanted, where that is clearly the better one.

    Through the film that shelf.toml states: another index is not told from slanted light by what it
    does over solids, and is looked for after.

    Parameters
    ----------
    problem, prior, solution
        The fit.
    """
    slanted = with_slanted_solids(problem, solution.at)
    if slanted is None:
        return solution
    other = solve(problem, prior, slanted, weights=solution.weights, tolerance=SETTLED)
    return other if other.cost < solution.cost - _CLEARLY_BETTER else solution


def with_phase(problem: Problem, prior: Prior, solution: Solution) -> tuple[Problem, Solution]:
    """The fit with scattering that goes forwards, where spectra say that it is clearly better.

    Lab alone takes another hand, black or index for it (one shelf of a mild mix of all: 95 %
    intervals hold .88 instead of .98).

    Parameters
    ----------
    problem, prior, solution
        The fit.
    """
    if problem.seen.lab_lights or not solution.at.hazy.any():
        return problem, solution
    forwards = problem.with_film(replace(problem.optics, asymmetry=_FORWARDS), problem.thinning)
    shared = solution.at.shared.copy()
    hazy = np.flatnonzero(solution.at.hazy)
    levels = [problem.layout.haze(int(toner))[0] for toner in hazy]
    # What goes on hardly counts: as much goes back where more is scattered.
    shared[levels] -= np.log(1.0 - _FORWARDS)
    begin = replace(solution.at, shared=shared)
    other = solve(forwards, prior, begin, weights=solution.weights, tolerance=SETTLED)
    if other.cost < solution.cost - _CLEARLY_BETTER:
        return forwards, other
    return problem, solution


def without_seeming_haze(
    problem: Problem, prior: Prior, solution: Solution
) -> tuple[Problem, Solution]:
    """The fit without haze that only seemed to be there before hand, grounds and film were known.

    What the film model misses of a hazy film is far more, so that its readings would tell less.

    Parameters
    ----------
    problem, prior, solution
        The fit.
    """
    hazy = solution.at.hazy
    if hazy.any():
        hazy = hazy & scatters(problem, prior, solution)
    if np.array_equal(hazy, solution.at.hazy):
        return problem, solution
    problem, start = problem.with_model_error(ModelError(hazy)), replace(solution.at, hazy=hazy)
    return problem, solve(problem, prior, start, weights=solution.weights, tolerance=SETTLED)


def with_variation(problem: Problem, prior: Prior, solution: Solution) -> tuple[Problem, Solution]:
    """The fit with hand and grounds as unsteady as the readings say.

    Where grounds vary, a panel's gain is its ground's if that is clearly the likelier.

    Parameters
    ----------
    problem, prior, solution
        The fit, under the hand that shelf.toml says.
    """

    def varied(problem: Problem, solution: Solution) -> tuple[Problem, Solution]:
        varies = infer_variation(problem, prior, solution)
        problem = problem.with_variation(varies.mixing, varies.ground_cv)
        solved = solve(problem, prior, solution.at, weights=solution.weights, tolerance=SETTLED)
        return problem, solved

    stated = problem.mixing
    problem, solution = varied(problem, solution)
    if max(problem.ground_cv) < CLEARLY_VARIES:
        return problem, solution
    other = problem.with_gains_of_grounds()
    begin = solution.at
    if other.residuals(begin) is None:
        # The gain of a bad reading would make a ground that loses no light.
        begin = replace(begin, log_gain=np.zeros_like(begin.log_gain))
    solved = solve(other, prior, begin, weights=solution.weights, tolerance=SETTLED)
    other, solved = varied(other.with_variation(stated, other.ground_cv), solved)
    gain = unlikelihood(problem, prior, solution, stated)
    gain -= unlikelihood(other, prior, solved, stated)
    return (other, solved) if gain > _CLEARLY_BETTER else (problem, solution)
