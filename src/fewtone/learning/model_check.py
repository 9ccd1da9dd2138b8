"""Whether panels miss what all others say of them by no more than was reckoned with.

Model
    Each reading of a film, predicted from all other panels, misses by r in Lab, of covariance
    O + f² U: noise, hand and gain of its own in O, what the others leave unsure of curves and
    grounds in U. A factor f above 1 says that the film model, the hand or the ground do what they
    are not taken to do, and so by how much more than told other predictions miss, too. It is found
    as the most probable one under a log-normal prior about 1. As readings of one toner miss
    together, each counts for a part.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from fewtone.colorimetry import Light, lab_jacobian, weights, white_point
from fewtone.learning.forward import Problem
from fewtone.learning.leave_one_out import Expectation
from fewtone.typing import FloatArray

__all__ = ["uncertainty_factor"]

# Calibrated in the booth, seeds 1, 2 and 4: sd of log f beforehand, what a reading counts for, and
# the factors that are tried: measured paints, uncleared, ask for 5.6. That panels agree better than
# told says nothing of what was never sprayed.
_LOG_SD, _READING_COUNTS = 0.3, 0.25
_FACTORS = np.exp(np.linspace(0.0, 2.0 * np.log(2.5), 47))


def uncertainty_factor(
    problem: Problem, expected: Sequence[Expectation], counted: FloatArray, light: Light
) -> float:
    """How many times as far as told predictions may be off [1], 1 or more.

    Parameters
    ----------
    problem
        What was read.
    expected
        What all other panels say of each.
    counted
        How far each panel counts [1], shape ``(n_panels,)``.
    light
        In which spectra are judged.
    """
    cost = (np.log(_FACTORS) / _LOG_SD) ** 2
    for one in expected:
        if not one.group.toners:
            continue
        share = _READING_COUNTS * counted[one.group.panels]
        for residual, noise, unsure in _in_lab(problem, one, light):
            for i, factor in enumerate(_FACTORS):
                covariance = noise + factor**2 * unsure
                solved = np.linalg.solve(covariance, residual[..., np.newaxis])[..., 0]
                apart = (residual * solved).sum(axis=1) + np.linalg.slogdet(covariance)[1]
                cost[i] += float(share @ apart)
    return float(_FACTORS[np.argmin(cost)])


def _in_lab(
    problem: Problem, one: Expectation, light: Light
) -> Iterator[tuple[FloatArray, FloatArray, FloatArray]]:
    """Residuals ``(n_panels, 3)`` of each reading, and covariances ``(n_panels, 3, 3)``."""
    seen = problem.seen
    matrix, white = weights(seen.wavelength_nm, light), white_point(light)
    for k, columns, lit in one.blocks():
        rows = one.group.readings[:, k]
        if lit is None:
            read = seen.spectral[rows]
            slope = lab_jacobian(np.maximum(read, 0.0) @ matrix, white) @ matrix.T
            slope = slope * problem.noise.of_reflectance(read)[:, np.newaxis]
        else:
            slope = problem.lab_sd[rows, lit][:, np.newaxis] * np.eye(3)
        turned = slope.swapaxes(1, 2)
        whole = slope @ one.covariance[:, columns, columns] @ turned
        unsure = slope @ one.unsure[:, columns, columns] @ turned
        residual = (slope @ one.residual[:, columns, np.newaxis])[..., 0]
        yield residual, whole - unsure, unsure
