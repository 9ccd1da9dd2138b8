"""The prior of a toner that was read as Lab alone, drawn to the dyes that its readings make likely.

One normal distribution over all dyes of the library says little about the one at hand: how a band's
far flank falls, say, depends on where the band lies. So once a first fit stands, the dyes are
weighed by what the readings tell of the toner, and the prior becomes the normal distribution of
those that count.

Model
    What the readings by themselves tell of a toner's log curve x, all else integrated out, is what
    its posterior N(μ, C) holds beyond its prior of mean m and precision P:

        Λ = C⁻¹ - P,    η = C⁻¹ μ - P m

    A dye y stands for the curves N(y, S), S being a free strength and a rough, short-ranged part.
    Up to a constant its log evidence is

        log ∫ exp(ηᵀx - ½ xᵀΛx) N(x; y, S) dx = η′ᵀy - ½ yᵀΛ′y,
        Λ′ = Λ - ΛBΛ,   η′ = η - ΛBη,   B = (Λ + S⁻¹)⁻¹

    Of thousands of dyes hardly one explains Labs to what an instrument repeats. So the evidences
    are raised to a power, at most 1, at which as many dyes count as a fixed number of equal ones,
    by the effective sample size 1/Σ w² of weights w that sum to 1.

Source
    Effective sample size: L. Kish, Survey Sampling (1965), section 11.7.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fewtone.learning.forward import Problem
from fewtone.learning.priors import Gaussian, dye_library, variety
from fewtone.learning.solver import Prior, Solution, schur_complement
from fewtone.typing import FloatArray

__all__ = ["likely_absorber", "with_likely_dyes"]

# So many dyes count. Chosen in the booth, seeds 21 and 22 of its own absorbers and of others: 100
# to 300 do alike, and 1000 less.
_COUNTED = 300.0
# Of the dyes' free strength, on the log, and of their rough part.
_LEVEL_SD, _ROUGH_SD = 0.3, 0.1
_HALVINGS = 40


def with_likely_dyes(problem: Problem, prior: Prior, solution: Solution) -> Prior:
    """The prior, of each toner that was read as Lab alone drawn to the dyes that are likely.

    Parameters
    ----------
    problem, prior, solution
        A first fit.
    """
    seen, layout = problem.seen, problem.layout
    spectral = seen.fractions[seen.has_spectrum] > 0.0
    read = (seen.fractions > 0.0).any(axis=0) & ~spectral.any(axis=0)
    if not read.any():
        return prior
    covariance = np.linalg.inv(schur_complement(problem, prior, solution.at, solution.weights))
    mean, precision = prior.mean.copy(), prior.precision.copy()
    for toner in np.flatnonzero(read).tolist():
        here = layout.toner(toner)
        block = np.ix_(here, here)
        known = np.linalg.inv(covariance[block])
        vector = known @ solution.at.shared[here] - prior.precision[block] @ prior.mean[here]
        likely = likely_absorber(seen.wavelength_nm, known - prior.precision[block], vector)
        mean[here], precision[block] = likely.mean, likely.precision
    return replace(prior, mean=mean, precision=precision)


def likely_absorber(
    wavelength_nm: FloatArray, information: FloatArray, vector: FloatArray
) -> Gaussian:
    """Prior of the logarithm of an absorption of which readings tell something.

    Parameters
    ----------
    wavelength_nm
        [nm], shape ``(n,)``.
    information, vector
        Λ and η: what they tell, shapes ``(n, n)`` and ``(n,)``; both zero if nothing.
    """
    values, axes = np.linalg.eigh(0.5 * (information + information.T))
    # Rounding must leave no direction that is known less than not at all.
    information = (axes * np.maximum(values, 0.0)) @ axes.T
    spread = variety(wavelength_nm, _LEVEL_SD, _ROUGH_SD)
    shrunk = information @ np.linalg.inv(information + np.linalg.inv(spread))
    dyes = np.log(dye_library(wavelength_nm))
    precision = dyes @ (information - shrunk @ information)
    evidence = dyes @ (vector - shrunk @ vector) - 0.5 * (precision * dyes).sum(axis=1)
    weight = _tempered(evidence)
    mean = weight @ dyes
    apart = (dyes - mean) * np.sqrt(weight)[:, np.newaxis]
    return Gaussian.of(mean, apart.T @ apart + spread)


def _tempered(evidence: FloatArray) -> FloatArray:
    """Weights by a power of the evidence, at most 1, at which enough dyes count, ``(n_dyes,)``."""

    def weights(power: float) -> FloatArray:
        weight = np.exp(power * (evidence - evidence.max()))
        return np.asarray(weight / weight.sum())

    low, high = 0.0, 2.0
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        counted = 1.0 / (weights(middle) ** 2).sum()
        low, high = (middle, high) if counted >= _COUNTED else (low, middle)
    return weights(min(low, 1.0))
