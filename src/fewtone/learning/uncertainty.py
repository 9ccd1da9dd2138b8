"""How sure the estimate is: Laplace's approximation at the most probable parameters.

The inverse of the reduced normal matrix is the covariance of the shared parameters with all film
builds and gains integrated out. Beside it stands what the film model itself misses.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from scipy.linalg import cho_factor, cho_solve, eigh

from fewtone.colorimetry import Light, lab_jacobian, weights, white_point
from fewtone.learning.forward import Problem
from fewtone.learning.keyed import strength_deviations
from fewtone.learning.model_error import MODEL_SD
from fewtone.learning.parameters import Parameters, return_ratio_slope
from fewtone.learning.priors import absorber_prior, ground_prior
from fewtone.learning.solver import Prior, Solution, schur_complement
from fewtone.model.uncertainty import Uncertainty
from fewtone.typing import FloatArray

__all__ = [
    "LETDOWN_LIKELY",
    "LETDOWN_WIDER",
    "Unfollowed",
    "bare_returns",
    "common_letdown",
    "data_shares",
    "only_bare",
    "reported_covariances",
    "shared_covariance",
    "uncertainty_of",
]

# Directions are kept until they hold this share of all variance, as colour grades it: bare Labs
# that three readings pin are told as unsure as they are, beside spectra that Lab leaves open.
_VARIANCE_KEPT = 0.9999
# What of a spectrum's deviation neither of these lights shows counts by this share.
_LIGHTS, _UNSEEN = (Light("D65", 10), Light("A", 10)), 0.2
# A middling recipe, to weigh parameters by what they do to colour: its dose of one toner.
_DOSE = 0.4
_PATH = 2.3
# Of what light that comes round does to reflectance, by ρ² d(return ratio); what index and edge do
# to it, by their change.
_RETURNED, _OPTICS_DOES = 0.6, 0.3
# The strength leans on the letdown if it does so by as many standard deviations, and at least so
# much per doubling.
_CLEAR, _LEAST_LETDOWN = 3.0, 0.01
# How far what returns from flake that was only read bare, its reflectance times its return ratio,
# may lie from what the shelf's other flake makes likely [1], and the most by which the ratio may:
# calibrated in the booth, seeds 4 and 5 of unlike flakes.
_BARE_RETURNED_SD, _MOST_BARE_RETURN_SD = 0.08, 0.5
# How many times as far as the fit takes it to strength may lean on the letdown, so that two thirds
# of the intervals of the booth's 8 % between 4:1 and 8:1, read at 6:1, hold what they should;
# calibrated there, seeds 1 to 3.
LETDOWN_WIDER = 1.18
# What is only feared is as likely not so: half its variance.
_AS_LIKELY_NOT = 0.5
LETDOWN_LIKELY = _AS_LIKELY_NOT**0.5
# So far below the weight of what shows, a deviation is rounding.
_LEAST_WEIGHT = 1e-10


def reported_covariances(
    problem: Problem, prior: Prior, solution: Solution, letdown: Sequence[float]
) -> list[FloatArray]:
    """Covariances of the shared parameters, ``(n_shared, n_shared)`` each.

    Flake is smoother than the fit takes any ground to be.

    Parameters
    ----------
    problem, prior, solution
        The fit; the problem's hand as unsteady as it may be.
    letdown
        For each, how many times as far as the fit takes it to strength may lean on the letdown [1].
    """
    layout, grid = problem.layout, problem.seen.wavelength_nm
    precision = schur_complement(problem, prior, solution.at, solution.weights)
    for ground in set(layout.metallic) - {mix.ground for mix in layout.keyed}:
        coloured = layout.coloured[ground] if layout.coloured else 0.0
        smoother = ground_prior(grid, smooth=True, coloured=coloured).precision
        smoother = smoother - ground_prior(grid, coloured=coloured).precision
        precision[np.ix_(layout.ground(ground), layout.ground(ground))] += smoother
    letdowns = np.ix_(*2 * [[layout.letdown(toner) for toner in range(layout.n_toners)]])
    fitted, covariances = precision[letdowns].copy(), []
    for wider in letdown:
        precision[letdowns] = fitted - (1.0 - wider**-2) * prior.precision[letdowns]
        covariances.append(np.asarray(cho_solve(cho_factor(precision), np.eye(len(precision)))))
    return covariances


def bare_returns(problem: Problem, at: Parameters, covariance: FloatArray) -> FloatArray:
    """Deviations by the return ratios of flake that was only read bare, ``(n_bare, n_shared)``.

    Beside `covariance`, in which such a departure i has the variance v that the fit's narrow prior
    leaves it, and all else follows it along c = covariance[i] / v: with the wider variance w that
    is told, √(w - v) c.

    Parameters
    ----------
    problem, at
        The fit.
    covariance
        Of the shared parameters, ``(n_shared, n_shared)``.
    """
    layout, bare = problem.layout, only_bare(problem)
    off: FloatArray = np.zeros((len(bare), layout.size))
    for row, ground in enumerate(bare):
        departure, ratio = layout.return_ratio_departure(ground), at.return_ratio[ground]
        fitted = covariance[departure, departure]
        sd = min(_BARE_RETURNED_SD / at.ground_reflectance[ground].mean(), _MOST_BARE_RETURN_SD)
        variance = (sd / return_ratio_slope(ratio)) ** 2
        off[row] = covariance[departure] / fitted * np.sqrt(max(variance - fitted, 0.0))
    return off


def only_bare(problem: Problem) -> list[int]:
    """Flake that no film was read over, keyed grounds apart.

    Parameters
    ----------
    problem
        What was read.
    """
    layout = problem.layout
    keyed = {mix.ground for mix in layout.keyed}
    return sorted(set(layout.metallic) - keyed - problem.seen.filmed_grounds)


def shared_covariance(
    problem: Problem, prior: Prior, at: Parameters, weights: FloatArray | None = None
) -> FloatArray:
    """Covariance of the shared parameters, ``(n_shared, n_shared)``.

    `weights` is how much each panel counts [1], shape ``(n_panels,)``; 1 if None.
    """
    precision = schur_complement(problem, prior, at, weights)
    return np.asarray(cho_solve(cho_factor(precision), np.eye(len(precision))))


class Unfollowed(NamedTuple):
    """What was found but predictions do not follow: as far off as it is.

    Parameters
    ----------
    letdown
        Log strength of each toner per doubling of the letdown beside that of all [1],
        ``(n_toners,)``.
    below
        What readings are below nothing by [1], 0 or less.
    """

    letdown: FloatArray
    below: float


def common_letdown(at: Parameters, covariance: FloatArray) -> float:
    """Log strength of all toners per doubling of the letdown [1], 0 unless it is clearly not.

    Parameters
    ----------
    at, covariance
        The most probable parameters, and the covariance of the shared ones, shape
        ``(n_shared, n_shared)``.
    """
    columns = [at.layout.letdown(toner) for toner in range(at.layout.n_toners)]
    mean = float(at.letdown.mean())
    sd = float(np.sqrt(covariance[np.ix_(columns, columns)].mean()))
    return mean if abs(mean) > max(_CLEAR * sd, _LEAST_LETDOWN) else 0.0


def uncertainty_of(
    at: Parameters,
    covariance: FloatArray,
    wavelength_nm: FloatArray,
    unfollowed: Unfollowed,
    departures: tuple[float, float],
    beside: FloatArray | None = None,
    likely: FloatArray | None = None,
) -> Uncertainty:
    """The covariance as few directions of deviation.

    Parameters
    ----------
    at
        The most probable parameters.
    covariance
        Of the shared parameters, ``(n_shared, n_shared)``.
    wavelength_nm
        [nm], shape ``(n_wavelengths,)``.
    unfollowed
        What predictions do not follow.
    departures
        Root mean squares of `film_departures` over what the shop sprays.
    beside
        Deviations beside the covariance that are only feared, ``(n, n_shared)``.
    likely
        As `covariance`, ``(n_shared, n_shared)``, without what is only feared; None where nothing
        is.
    """
    layout, curves = at.layout, at.absorption
    weight, left = _weights(at, departures), np.exp(-_PATH * _DOSE * curves)
    # And each curve's deviation by how much of it the eye sees, through a middling film.
    grades = [
        (layout.ground(ground), at.ground_reflectance[ground]) for ground in range(layout.n_grounds)
    ]
    grades += [(layout.toner(toner), left[toner]) for toner in range(layout.n_toners)]
    turned = [(here, *_graded(reflectance, wavelength_nm)) for here, reflectance in grades]
    scaled = weight[:, np.newaxis] * covariance * weight
    for here, root, _ in turned:
        scaled[here] = root @ scaled[here]
        scaled[:, here] = scaled[:, here] @ root
    values, vectors = eigh(scaled)
    values, vectors = values[::-1], vectors[:, ::-1]
    # A return ratio that nothing tells must not crowd the curves out.
    is_counted = np.ones(layout.size, dtype=np.bool_)
    is_counted[layout.return_ratio : layout.black] = False
    dropped = (1.0 - _VARIANCE_KEPT) * float(np.diag(scaled)[is_counted].sum())
    kept = 1 + int(np.searchsorted(np.cumsum(values), values.sum() - dropped))
    # Back from weighed parameters to parameters; what has no weight never deviates: of it the
    # directions hold rounding alone.
    ease = np.divide(1.0, weight, out=np.zeros_like(weight), where=weight > _LEAST_WEIGHT)
    deviations = (vectors[:, :kept] * np.sqrt(np.maximum(values[:kept], 0.0))).T
    for here, _, back in turned:
        deviations[:, here] = deviations[:, here] @ back
    deviations *= ease
    feared: FloatArray = np.zeros(kept)
    if likely is not None:
        along = vectors[:, :kept].copy()
        for here, root, _ in turned:
            along[here] = root @ along[here]
        along *= weight[:, np.newaxis]
        feared = 1.0 - ((likely @ along) * along).sum(axis=0) / values[:kept]
    apart = _departures(at, covariance, unfollowed, departures)
    known: FloatArray = np.zeros((2, layout.size))
    known[0, layout.black] = unfollowed.below
    columns = [layout.letdown(toner) for toner in range(layout.n_toners)]
    known[1, columns] = unfollowed.letdown
    known = known[known.any(axis=1)]
    more = np.zeros((0, layout.size)) if beside is None else beside
    feared = np.concatenate([np.clip(feared, 0.0, 1.0), np.full(len(more), _AS_LIKELY_NOT)])
    deviations = np.concatenate([deviations, more, known, apart])
    return Uncertainty(
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
            [
                deviations[:, layout.ground(i)] * at.ground_reflectance[i]
                for i in range(layout.n_grounds)
            ],
            axis=1,
        ),
        return_ratio=_return_ratio_deviations(at, deviations),
        model_sd=MODEL_SD,
        lasting=len(known) + len(apart),
        apart=len(apart),
        black=deviations[:, layout.black],
        index=deviations[:, layout.index],
        edge=deviations[:, layout.edge],
        key_strength=strength_deviations(at, covariance),
        letdown=deviations[:, [layout.letdown(i) for i in range(layout.n_toners)]],
        thinning=deviations[:, layout.thinning],
        feared=np.concatenate([feared, np.zeros(len(known) + len(apart))]),
    )


def _weights(at: Parameters, departures: tuple[float, float]) -> FloatArray:
    """What each unknown does to the reflectance of a middling film [1], ``(n_shared,)``.

    What is tiny or deep in the dark may be as unsure as it likes.
    """
    layout, curves = at.layout, at.absorption
    left = np.exp(-_PATH * _DOSE * curves)
    weight = np.ones(layout.size)
    for toner in range(layout.n_toners):
        weight[layout.toner(toner)] = _PATH * _DOSE * curves[toner] * left[toner]
        weight[layout.haze(toner)] = _DOSE * at.scattering[toner].mean()
    for ground in range(layout.n_grounds):
        weight[layout.ground(ground)] = at.ground_reflectance[ground]
    # What moves all wavelengths together counts at each of them.
    every = np.sqrt(curves.shape[1])
    if layout.metallic:
        grounds = list(layout.metallic)
        ratio = at.return_ratio[grounds]
        light = (at.ground_reflectance[grounds] ** 2).mean(axis=1)
        does = _RETURNED * return_ratio_slope(ratio) * light
        weight[layout.return_ratio] = every * does.mean()
        weight[[layout.return_ratio_departure(ground) for ground in grounds]] = every * does
    weight[layout.black] = every
    weight[[layout.index, layout.edge]] = every * _OPTICS_DOES
    # Strengths tell of grounds that are none yet.
    weight[[layout.key_strength(ground) for ground in layout.parents]] = 0.0
    by_dose = np.array([np.linalg.norm(weight[layout.toner(i)]) for i in range(layout.n_toners)])
    log_coats, doublings = departures
    weight[[layout.letdown(toner) for toner in range(layout.n_toners)]] = doublings * by_dose
    weight[layout.thinning] = log_coats * by_dose.mean()
    return weight


def _graded(reflectance: FloatArray, wavelength_nm: FloatArray) -> tuple[FloatArray, FloatArray]:
    """What deviations of a spectrum are multiplied by to be as large as they look, and its inverse.

    Both symmetric, ``(n_wavelengths, n_wavelengths)``; what is off by the same everywhere stays as
    it is.
    """
    derivatives = []
    for light in _LIGHTS:
        matrix = weights(wavelength_nm, light)
        jacobian = lab_jacobian(reflectance @ matrix, white_point(light)) @ matrix.T
        derivatives.append(jacobian / np.linalg.norm(jacobian.sum(axis=1)))
    seen = np.concatenate(derivatives) * np.sqrt(wavelength_nm.size / len(_LIGHTS))
    values, vectors = np.linalg.eigh(seen.T @ seen + _UNSEEN**2 * np.eye(wavelength_nm.size))
    root = np.sqrt(values)
    return (vectors * root) @ vectors.T, (vectors / root) @ vectors.T


def _departures(
    at: Parameters, covariance: FloatArray, unfollowed: Unfollowed, departures: tuple[float, float]
) -> FloatArray:
    """Deviations by letdown and coats of films that are known by their doses alone.

    A toner's log dose is off by its strength per doubling times how often the letdown doubles, and
    all of them by the thinning times log coats: by their root mean squares over what the shop
    sprays. Strength per doubling that was found but is not followed counts as unsure.
    """
    layout = at.layout
    log_coats, doublings = departures
    columns = [layout.letdown(toner) for toner in range(layout.n_toners)]
    by_letdown = doublings * np.sqrt(covariance[columns, columns] + unfollowed.letdown**2)
    by_coats = log_coats * np.sqrt(covariance[layout.thinning, layout.thinning])
    off: FloatArray = np.zeros((layout.n_toners + 1, layout.size))
    for toner in range(layout.n_toners):
        off[toner, layout.toner(toner)] = by_letdown[toner]
        off[toner, layout.haze(toner)[0]] = by_letdown[toner]
        off[-1, layout.toner(toner)] = by_coats
        off[-1, layout.haze(toner)[0]] = by_coats
    return np.asarray(off[off.any(axis=1)])


def data_shares(at: Parameters, covariance: FloatArray, wavelength_nm: FloatArray) -> FloatArray:
    """How much of each toner's curve is data, the rest being prior, ``(n_toners,)``.

    1 less the standard deviation that is left of that over all dyes, on the log, averaged over the
    wavelengths by how much is absorbed there.

    Parameters
    ----------
    at
        The most probable parameters.
    covariance
        Of the shared parameters, shape ``(n_shared, n_shared)``.
    wavelength_nm
        [nm], shape ``(n_wavelengths,)``.
    """
    shares = []
    before = np.sqrt(np.diag(absorber_prior(wavelength_nm).covariance))
    for toner in range(at.layout.n_toners):
        columns = at.layout.toner(toner)
        after = np.sqrt(covariance[columns, columns])
        shares.append(1.0 - np.average(after / before, weights=at.absorption[toner]))
    return np.array(shares)


def _return_ratio_deviations(at: Parameters, deviations: FloatArray) -> FloatArray:
    """∂t/∂logit · deviation, shape ``(n_directions, n_grounds)``."""
    return_ratios = np.zeros((len(deviations), at.layout.n_grounds))
    for ground in at.layout.metallic:
        return_ratio = at.return_ratio[ground]
        logit = (
            deviations[:, at.layout.return_ratio]
            + deviations[:, at.layout.return_ratio_departure(ground)]
        )
        return_ratios[:, ground] = return_ratio_slope(return_ratio) * logit
    return return_ratios
