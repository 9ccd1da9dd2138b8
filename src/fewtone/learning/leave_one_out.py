"""What the rest of the readings say about each panel, without a refit for each.

Model
    At the most probable parameters a panel's residuals are r + J s, for a small shift s of the
    shared parameters, with covariance C: noise, and the film builds and the gain of that panel at
    their prior, integrated out. Its information about the shared parameters is JᵀC⁻¹J. With V the
    shared parameters' covariance and H = J V Jᵀ, taking it out leaves (Woodbury)

        shift       s = V Jᵀ (C - H)⁻¹ r
        prediction  r + J s,  of covariance  C + H (C - H)⁻¹ C = C (C - H)⁻¹ C

    so that everything happens in the panel's own residuals, however many parameters there are.

Assumptions
    The shift is small enough for a Jacobian at the full fit (Laplace). A panel that is grossly
    wrong bends the fit further than that: whoever suspects one refits without it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fewtone.colorimetry import Light, delta_e_2000, lab_from_xyz, weights, white_point
from fewtone.learning.forward import Linear, Problem
from fewtone.learning.groups import Group
from fewtone.learning.model_error import blocks
from fewtone.learning.parameters import Parameters
from fewtone.model.variation import segment_covariance
from fewtone.typing import FloatArray

__all__ = [
    "Expectation",
    "expectations",
    "filmed_panels",
    "group_covariance",
    "prediction_errors",
]

# Flake that no other panel's film tells of may hold the light by so much more or less than the
# shelf's others, on the internal-return ratio's logit.
_UNSEEN_RETURN_SD = 0.08


@dataclass(frozen=True, slots=True, eq=False)
class Expectation:
    """What the other panels say about the panels of one group, at the hand's nominal film build.

    Parameters
    ----------
    group
        The panels.
    residual
        Prediction less reading in standard deviations of the noise, ``(n_panels, n_rows)``; linear
        in the film build, as the covariance is.
    nominal
        The same without the straight line: of the very film that was meant, ``(n_panels, n_rows)``.
    by_local
        Its Jacobian in the panel's own film builds and gain, ``(n_panels, n_rows, n_local)``.
    covariance
        Of the residual: noise, hand, gain and unsure curves, ``(n_panels, n_rows, n_rows)``.
    unsure
        The unsure curves' part of it, ``(n_panels, n_rows, n_rows)``.
    """

    group: Group
    residual: FloatArray
    nominal: FloatArray
    by_local: FloatArray
    covariance: FloatArray
    unsure: FloatArray

    @property
    def distance(self) -> FloatArray:
        """Squared Mahalanobis distance of each panel from its prediction, ``(n_panels,)``."""
        solved = np.linalg.solve(self.covariance, self.residual[..., np.newaxis])
        return np.asarray((self.residual * solved[..., 0]).sum(axis=1))

    @property
    def log_likelihood(self) -> FloatArray:
        """Of each panel's readings, but for a constant, ``(n_panels,)``."""
        return _log_likelihood(self.residual, self.covariance)

    def blocks(self) -> list[tuple[int, slice, int | None]]:
        """Which reading of a panel owns which residuals, in which light; None for a spectrum."""
        lab = 3 * sum(len(lights) for lights in self.group.lights)
        spectra = max(int(self.group.spectral.sum()), 1)
        return blocks(self.group, (self.residual.shape[1] - lab) // spectra)


def expectations(
    problem: Problem,
    at: Parameters,
    covariance: FloatArray,
    counted: FloatArray | None = None,
    films: FloatArray | None = None,
) -> list[Expectation]:
    """Predict each panel from all others.

    Parameters
    ----------
    problem
        What was read.
    at
        The most probable parameters.
    covariance
        Of the shared parameters there, ``(n_shared, n_shared)``.
    counted
        How much each panel counted in that fit, 1 or 0, ``(n_panels,)``; 1 if None.
    films
        How many panels with a film over each ground counted, ``(n_grounds,)``; those of this
        problem if None.

    Returns
    -------
    One for each of the problem's groups.
    """
    share = np.ones(len(problem.seen.panels)) if counted is None else counted
    films = filmed_panels(problem, share) if films is None else films
    nominal = problem.residuals(_nominal(at)) or []
    return [
        _expect(problem, group, linear, at, exact, covariance, share[group.panels], films)
        for group, linear, exact in zip(
            problem.groups, problem.linearise(at, with_held=True), nominal, strict=True
        )
    ]


def filmed_panels(problem: Problem, counted: FloatArray) -> FloatArray:
    """How many panels that counted have a film over each ground, ``(n_grounds,)``.

    Parameters
    ----------
    problem
        The fit.
    counted
        How far each panel counts in it [1], shape ``(n_panels,)``.
    """
    seen, films = problem.seen, np.zeros(len(problem.seen.grounds))
    for ground in range(films.size):
        over = np.unique(seen.panel[seen.is_film & (seen.ground == ground)])
        films[ground] = counted[over].sum()
    return films


def prediction_errors(problem: Problem, expected: list[Expectation], light: Light) -> FloatArray:
    """ΔE00 of each reading to what all other panels say of it, film build at its nominal value.

    Parameters
    ----------
    problem
        What was read.
    expected
        What the others say of each panel.
    light
        In which spectra are judged.

    Returns
    -------
    Shape ``(n_readings, 1 + n_lights)``: of the spectrum, then of the Lab in each light that was
    read; NaN where there is none.
    """
    seen, noise = problem.seen, problem.noise
    off = np.full((len(seen.readings), 1 + len(seen.lights)), np.nan)
    matrix, white = weights(seen.wavelength_nm, light), white_point(light)
    for one in expected:
        for k, columns, lit in one.blocks():
            rows, residual = one.group.readings[:, k], one.nominal[:, columns]
            if lit is None:
                read = seen.spectral[rows]
                sd = noise.of_reflectance(read)
                predicted = np.maximum(read + residual * sd, 0.0) @ matrix
                off[rows, 0] = delta_e_2000(
                    lab_from_xyz(predicted, white), lab_from_xyz(read @ matrix, white)
                )
            else:
                lab = seen.lab[rows, lit]
                off[rows, 1 + lit] = delta_e_2000(lab + residual * problem.lab_sd[rows, lit], lab)
    return off


def _nominal(at: Parameters) -> Parameters:
    """The same curves under films as thick as they were meant to be."""
    return replace(at, log_build=np.zeros_like(at.log_build), log_gain=np.zeros_like(at.log_gain))


def _expect(
    problem: Problem,
    group: Group,
    linear: Linear,
    at: Parameters,
    exact: FloatArray,
    covariance: FloatArray,
    share: FloatArray,
    films: FloatArray,
) -> Expectation:
    """What a group's panels are expected to read by all others: residual and covariance."""
    offset = _nominal_residual(group, linear, at)
    strip = _spread(linear.local, group.precision)
    shift, spread = _predict(problem, group, linear, at, offset, strip, covariance, share, films)
    unsure = spread - strip - problem.reading_covariance(group)
    afresh = _afresh(problem, group, linear)
    if afresh is not None:
        # The fit took the steps for a strip, and so did what it says of the curves without this
        # panel; only the panel's own film is judged the other way.
        other = spread - strip + afresh
        better = _log_likelihood(offset + shift, other) > _log_likelihood(offset + shift, spread)
        spread = np.where(better[:, np.newaxis, np.newaxis], other, spread)
    return Expectation(group, offset + shift, exact + shift, linear.local, spread, unsure)


def group_covariance(
    problem: Problem, group: Group, linear: Linear, at: Parameters
) -> tuple[FloatArray, FloatArray]:
    """What noise, hand, gain and the model make of a group's residuals, curves taken as known.

    Returns
    -------
    covariance
        Of each panel's residuals, ``(n_panels, n_rows, n_rows)``.
    residual
        At the hand's nominal film build and gain, ``(n_panels, n_rows)``.
    """
    residual = _nominal_residual(group, linear, at)
    return problem.reading_covariance(group) + _spread(linear.local, group.precision), residual


def _nominal_residual(group: Group, linear: Linear, at: Parameters) -> FloatArray:
    local = at.log_build[group.segments]
    local = np.concatenate([local, at.log_gain[group.panels][:, np.newaxis]], axis=1)
    return np.asarray(linear.residual - (linear.local @ local[..., np.newaxis])[..., 0])


def _afresh(problem: Problem, group: Group, linear: Linear) -> FloatArray | None:
    """Covariance of the residuals by a hand that sprays each step afresh.

    Steps under one panel id are taken for a strip, whose later steps contain the earlier coats; but
    some spray separate panels under one id. A panel is judged by whichever explains it better.
    None where there is one step only, or where the steps are told to be separate panels.

    Shape ``(n_panels, n_rows, n_rows)``.
    """
    seen, rows, count = problem.seen, group.readings, group.segments.shape[1]
    if count < 2 or np.any(seen.first_segment[rows] != group.segments[:, :1]):
        return None
    step = seen.end_segment[rows] - seen.first_segment[rows] - 1
    coats = np.cumsum(seen.segment_coats[group.segments], axis=1)
    whole = linear.local[..., :count].sum(axis=-1)
    by_step = np.zeros((*whole.shape, count))
    for k, columns, _ in blocks(group, seen.wavelength_nm.size):
        under = step[:, k, np.newaxis] == np.arange(count)
        by_step[:, columns] = whole[:, columns, np.newaxis] * under[:, np.newaxis]
    hand = np.stack([segment_covariance(of_panel, problem.mixing) for of_panel in coats])
    afresh = by_step @ hand @ by_step.swapaxes(1, 2)
    gain = linear.local[..., -1]
    afresh += gain[..., np.newaxis] * gain[:, np.newaxis] / group.precision[0, -1, -1]
    return np.asarray(afresh)


def _log_likelihood(residual: FloatArray, covariance: FloatArray) -> FloatArray:
    """Of each panel's residuals, but for a constant, ``(n_panels,)``."""
    solved = np.linalg.solve(covariance, residual[..., np.newaxis])[..., 0]
    return np.asarray(-0.5 * ((residual * solved).sum(axis=1) + np.linalg.slogdet(covariance)[1]))


def _predict(
    problem: Problem,
    group: Group,
    linear: Linear,
    at: Parameters,
    offset: FloatArray,
    hand: FloatArray,
    covariance: FloatArray,
    share: FloatArray,
    films: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """How the residuals shift once each panel is taken out, and their covariance then."""
    noise = problem.reading_covariance(group) + hand
    curves = linear.shared @ covariance[np.ix_(group.shared, group.shared)]
    curves = curves @ linear.shared.swapaxes(1, 2)
    # Of a panel that did not count there is nothing to take out.
    kept = share[:, np.newaxis, np.newaxis]
    rest = np.linalg.solve(
        noise - kept * curves, np.concatenate([offset[..., np.newaxis], noise], axis=-1)
    )
    spread = noise + curves @ rest[..., 1:]
    if group.toners:
        for ground in set(group.grounds) & set(at.layout.metallic):
            alone = films[ground] - share <= 0.0
            return_ratio = linear.shared[
                ..., np.flatnonzero(group.shared == at.layout.return_ratio_departure(ground))
            ]
            spread += (
                _UNSEEN_RETURN_SD**2
                * alone[:, np.newaxis, np.newaxis]
                * (return_ratio @ return_ratio.swapaxes(1, 2))
            )
    return share[:, np.newaxis] * (curves @ rest[..., :1])[..., 0], spread


def _spread(by_local: FloatArray, precision: FloatArray) -> FloatArray:
    """Covariance of the residuals that the local parameters' prior makes."""
    return np.asarray(by_local @ np.linalg.solve(precision, by_local.swapaxes(1, 2)))
