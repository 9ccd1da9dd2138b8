"""How sure the estimate is: Laplace's approximation at the most probable unknowns.

The inverse of the reduced normal matrix is the covariance of the shared unknowns with all film
builds and gains integrated out. Tried in the booth it is a little too sure where the film model
itself errs: a metallic ground that no film was ever read over may hold another flake than those
that were, every predicted Lab carries a small error of the model's own, and over flake the film
model takes a little of the lobe's doing for haze: over ideal grounds the learnt level of scattering
is right within 4 %, over flake it is some 8 % too high, so that hazy toners are less sure than the
readings alone would have it.
"""

from __future__ import annotations

import numpy as np
from scipy.linalg import cho_factor, cho_solve, eigh

from fewtone.learning.forward import Problem
from fewtone.learning.solver import Prior, reduced_precision
from fewtone.learning.unknowns import Unknowns
from fewtone.model.certainty import Certainty
from fewtone.typing import FloatArray

__all__ = [
    "MODEL_SD",
    "UNSEEN_TRAP_SD",
    "certainty_of",
    "data_shares",
    "shared_covariance",
    "with_model_error",
]

# Standard deviation of the trap fraction's logit over a metallic ground that no film was read
# over, beyond what the prior allows one metallic to differ from the others.
UNSEEN_TRAP_SD = 0.1
# What the film model misses per Lab coordinate, judged in the booth.
MODEL_SD = 0.045
# What it misses of toners that scatter, judged in the booth: their standard deviations are wider by
# this factor, and log scattering carries an error of its own.
_HAZY_FACTOR, _HAZY_LEVEL_SD = 1.3, 0.1
# Directions are kept until they hold this share of all variance, as colour grades it.
_VARIANCE_KEPT = 0.998
# A middling recipe, to weigh unknowns by what they do to colour: its dose of one toner.
_DOSE = 0.4
_PATH = 2.3
# So far below the weight of what shows, a deviation is rounding.
_LEAST_WEIGHT = 1e-10


def shared_covariance(
    problem: Problem, prior: Prior, at: Unknowns, weights: FloatArray | None = None
) -> FloatArray:
    """Covariance of the shared unknowns, ``(n_shared, n_shared)``.

    `weights` is how much each panel counts [1], shape ``(n_panels,)``; 1 if None.
    """
    precision = reduced_precision(problem, prior, at, weights)
    return np.asarray(cho_solve(cho_factor(precision), np.eye(len(precision))))


def with_model_error(problem: Problem, at: Unknowns, covariance: FloatArray) -> FloatArray:
    """The covariance, wider by what the film model itself misses of unread flake and of haze."""
    seen, wider = problem.seen, np.ones(len(covariance))
    hazy = [int(toner) for toner in np.flatnonzero(at.hazy)]
    for toner in hazy:
        wider[at.layout.toner(toner)] = wider[at.layout.haze(toner)] = _HAZY_FACTOR
    out = covariance * np.outer(wider, wider)
    levels = [at.layout.haze(toner)[0] for toner in hazy]
    out[levels, levels] += _HAZY_LEVEL_SD**2
    filmed = set(seen.ground[seen.is_film].tolist())
    for ground in at.layout.metallic:
        if ground not in filmed:
            own = at.layout.trap_own(ground)
            out[own, own] += UNSEEN_TRAP_SD**2
    return out


def certainty_of(at: Unknowns, covariance: FloatArray) -> Certainty:
    """The covariance as few directions of deviation.

    Parameters
    ----------
    at
        The most probable unknowns.
    covariance
        Of the shared unknowns, ``(n_shared, n_shared)``.
    """
    layout, curves = at.layout, at.absorption
    # Weigh each unknown by what it does to the reflectance of a middling film: what is tiny or
    # deep in the dark may be as unsure as it likes.
    left = np.exp(-_PATH * _DOSE * curves)
    weight = np.ones(layout.size)
    for toner in range(layout.n_toners):
        weight[layout.toner(toner)] = _PATH * _DOSE * curves[toner] * left[toner]
        weight[layout.haze(toner)] = _DOSE * at.scattering[toner].mean()
    for ground in range(layout.n_grounds):
        weight[layout.ground(ground)] = at.ground[ground]
    scaled = weight[:, np.newaxis] * covariance * weight
    values, vectors = eigh(scaled)
    values, vectors = values[::-1], vectors[:, ::-1]
    kept = 1 + int(np.searchsorted(np.cumsum(values), _VARIANCE_KEPT * values.sum()))
    # Back from weighed unknowns to unknowns; what has no weight never deviates: of it the
    # directions hold rounding alone.
    ease = np.divide(1.0, weight, out=np.zeros_like(weight), where=weight > _LEAST_WEIGHT)
    deviations = (vectors[:, :kept] * np.sqrt(np.maximum(values[:kept], 0.0))).T * ease
    return Certainty(
        absorption=np.stack(
            [deviations[:, layout.toner(i)] * curves[i] for i in range(layout.n_toners)], axis=1
        ),
        scattering=np.stack(
            [
                deviations[:, layout.haze(i)] @ at.waves * at.scattering[i]
                for i in range(layout.n_toners)
            ],
            axis=1,
        ),
        ground_reflectance=np.stack(
            [deviations[:, layout.ground(i)] * at.ground[i] for i in range(layout.n_grounds)],
            axis=1,
        ),
        trap=_trap_deviations(at, deviations),
        model_sd=MODEL_SD,
    )


def data_shares(at: Unknowns, covariance: FloatArray, prior: Prior) -> FloatArray:
    """How much of each toner's curve is data, the rest being prior, ``(n_toners,)``.

    1 less the standard deviation that is left of the prior's, on the log, averaged over the
    wavelengths by how much is absorbed there.
    """
    shares = []
    for toner in range(at.layout.n_toners):
        place = at.layout.toner(toner)
        before = np.sqrt(np.diag(np.linalg.inv(prior.precision[np.ix_(place, place)])))
        after = np.sqrt(covariance[place, place])
        shares.append(1.0 - np.average(after / before, weights=at.absorption[toner]))
    return np.array(shares)


def _trap_deviations(at: Unknowns, deviations: FloatArray) -> FloatArray:
    traps = np.zeros((len(deviations), at.layout.n_grounds))
    for ground in at.layout.metallic:
        trap = at.trap[ground]
        logit = deviations[:, at.layout.trap] + deviations[:, at.layout.trap_own(ground)]
        traps[:, ground] = trap * (1.0 - trap) * logit
    return traps
