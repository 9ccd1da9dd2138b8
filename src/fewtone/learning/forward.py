"""From the parameters to what should have been read, and how that leans on each unknown.

It is worked out for whole groups of panels (`fewtone.learning.groups`).

A reading of reflectance leans on the parameters through R(λ) alone; a Lab reading sees the same R
through the 3 x n_wavelengths derivatives of Lab in R. Only that last link differs.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from fewtone.colorimetry import lab_from_xyz, lab_jacobian, weights, white_point
from fewtone.learning.groups import Group, group_panels, local_precision
from fewtone.learning.model_error import ModelError
from fewtone.learning.noise import Noise, lab_noise
from fewtone.learning.observations import Observations
from fewtone.learning.parameters import ParameterLayout, Parameters, return_ratio_slope
from fewtone.model.shelf import Mixing
from fewtone.model.variation import film_departures
from fewtone.optics.film import FilmOptics
from fewtone.prediction.forward import optics_derivatives, reflectance, reflectance_derivatives
from fewtone.typing import FloatArray, IntArray

__all__ = ["Linear", "Problem"]


@dataclass(frozen=True, slots=True, eq=False)
class Linear:
    """A group's residuals and their Jacobians.

    Parameters
    ----------
    residual
        In standard deviations of the noise [1], shape ``(n_panels, n_rows)``.
    shared, local
        Its derivatives in the group's shared and in its local parameters, shapes ``(n_panels,
        n_rows, n_shared_here)`` and ``(n_panels, n_rows, n_local)``.
    """

    residual: FloatArray
    shared: FloatArray
    local: FloatArray


class _Constants(NamedTuple):
    """Parameters as `fewtone.prediction.forward.OpticalConstants`, each worked out once."""

    absorption: FloatArray
    scattering: FloatArray
    ground_reflectance: FloatArray
    return_ratio: FloatArray
    optics: FilmOptics

    @classmethod
    def of(cls, at: Parameters, optics: FilmOptics) -> _Constants:
        """The optical constants that some parameters stand for."""
        return cls(at.absorption, at.scattering, at.ground_reflectance, at.return_ratio, optics)


class Problem:
    """Observations, film, noise and the hand's variation: all that the residuals need.

    `lab_sd` is the noise of each Lab coordinate read, ``(n_readings, n_lights, 3)``.
    """

    def __init__(
        self,
        seen: Observations,
        optics: FilmOptics,
        mixing: Mixing,
        noise: Noise,
        ground_cv: tuple[float, float] = (0.0, 0.0),
        middle_letdown: float | None = None,
    ) -> None:
        self.middle_letdown = seen.middle_letdown if middle_letdown is None else middle_letdown
        self.seen, self.optics, self.mixing, self.noise = seen, optics, mixing, noise
        self.ground_cv, self.thinning, self.by_ground = ground_cv, 0.0, False
        self.layout = ParameterLayout.of(seen)
        self.groups = tuple(group_panels(seen, self.layout, mixing, ground_cv))
        self.log_coats, self.doublings = np.zeros(len(seen.readings)), np.zeros(len(seen.readings))
        film = np.flatnonzero(seen.is_film)
        if film.size:
            self.log_coats[film], self.doublings[film] = film_departures(
                [float(seen.readings[row].coats) for row in film],
                [float(seen.readings[row].medium_parts or 0) for row in film],
                self.middle_letdown,
            ).T
        grid = seen.wavelength_nm
        self._colour = [(weights(grid, light), white_point(light)) for light in seen.lights]
        self.lab_sd = lab_noise(seen, noise)
        self.error: ModelError | None = None
        self._covariances: list[FloatArray] = []
        self._whiteners: list[FloatArray] = []

    def over(self, seen: Observations) -> Problem:
        """The same film, instrument and hand, and other observations of the same toners."""
        other = Problem(
            seen, self.optics, self.mixing, self.noise, self.ground_cv, self.middle_letdown
        )
        other.thinning, other.by_ground = self.thinning, self.by_ground
        return other if self.error is None else other.with_model_error(self.error)

    def with_noise(self, noise: Noise) -> Problem:
        """The same problem under another noise."""
        other = self._with(noise=noise, lab_sd=lab_noise(self.seen, noise))
        return other if self.error is None else other.with_model_error(self.error)

    def with_film(self, optics: FilmOptics, thinning: float) -> Problem:
        """The same problem through another film or instrument, and another law of coats.

        Parameters
        ----------
        optics
            The film's index and the instrument.
        thinning
            How much thinner a coat on many gets [1].
        """
        return self._with(optics=optics, thinning=thinning)

    def with_variation(self, mixing: Mixing, ground_cv: tuple[float, float]) -> Problem:
        """The same problem under another hand, and other variation of solids and of metallics.

        Parameters
        ----------
        mixing
            How the hand varies.
        ground_cv
            Variation of solid and of metallic grounds from panel to panel [1].
        """
        groups = tuple(
            replace(
                group,
                precision=local_precision(
                    self.seen,
                    group.segments,
                    bool(group.spectral.any()),
                    mixing,
                    ground_cv[bool(self.seen.metallic[list(group.grounds)].any())],
                ),
            )
            for group in self.groups
        )
        return self._with(groups=groups, mixing=mixing, ground_cv=ground_cv)

    def with_gains_of_grounds(self) -> Problem:
        """The same problem, a panel's gain being its ground's, not that of the whole reading.

        Light that comes round makes more of a lighter ground than its share.
        """
        return self._with(by_ground=True)

    def with_model_error(self, error: ModelError) -> Problem:
        """The same problem, the film model being off by so much."""
        covariances = [
            np.eye(each.shape[-1]) + each
            for each in (
                error.covariance(self.seen, self.noise, self.lab_sd, group) for group in self.groups
            )
        ]
        return self._with(error=error, _covariances=covariances, _whiteners=[])

    def reading_covariance(self, group: Group) -> FloatArray:
        """Covariance of a group's residuals by noise and model, ``(n_panels, n_rows, n_rows)``."""
        return self._covariances[[each.panels[0] for each in self.groups].index(group.panels[0])]

    def _with(self, **changed: object) -> Problem:
        other = object.__new__(Problem)
        other.__dict__.update(self.__dict__, **changed)
        return other

    def _optics_of(self, at: Parameters) -> tuple[_Constants, IntArray, FloatArray]:
        """The optical constants, the row of each reading's ground in them, and its gain.

        Of shapes ``(n_readings,)`` and ``(n_readings, 1)``. Where gains are of grounds, each
        reading has a ground of its own.
        """
        constants, ground = _Constants.of(at, self.optics), self.seen.ground
        gain = np.exp(at.log_gain[self.seen.panel])[:, np.newaxis]
        if not self.by_ground:
            return constants, ground, gain
        own = constants._replace(
            ground_reflectance=constants.ground_reflectance[ground] * gain,
            return_ratio=constants.return_ratio[ground],
        )
        return own, np.arange(ground.size), np.ones_like(gain)

    def _whitened(self, parts: list[FloatArray]) -> list[FloatArray]:
        """Residuals or Jacobians of each group in directions that noise leaves unrelated."""
        if self.error is None:
            return parts
        if not self._whiteners:
            self._whiteners += [np.linalg.inv(np.linalg.cholesky(c)) for c in self._covariances]
        return [root @ part for root, part in zip(self._whiteners, parts, strict=True)]

    def films(self, at: Parameters) -> FloatArray:
        """Film under each reading in standard coats, shape ``(n_readings,)``."""
        return self.seen.films(at.log_build) * np.exp(-self.thinning * self.log_coats)

    def doses(self, at: Parameters, films: FloatArray | None = None) -> FloatArray:
        """Dose of each toner on each reading's panel [standard coats], ``(n_readings, n_toners)``.

        film · rate · fraction · exp(doublings of the letdown · the toner's departure).

        Parameters
        ----------
        at
            Parameters.
        films
            Film of each reading's panel [standard coats], shape ``(n_readings,)``; worked out if
            None.
        """
        films = self.films(at) if films is None else films
        strength = np.exp(self.doublings[:, np.newaxis] * at.letdown)
        return np.asarray((films * self.seen.rate)[:, np.newaxis] * self.seen.fractions * strength)

    def reflectance(self, at: Parameters, films: FloatArray | None = None) -> FloatArray:
        """Reflectance of each reading's panel, gain and all [1], ``(n_readings, n_waves)``.

        Parameters
        ----------
        at
            Parameters.
        films
            Film of each reading's panel [standard coats], shape ``(n_readings,)``; worked out if
            None.
        """
        constants, ground, gain = self._optics_of(at)
        film = reflectance(constants, self.doses(at, films), ground)
        return np.asarray((at.black + film) * gain)

    def residuals(self, at: Parameters) -> list[FloatArray] | None:
        """Residuals of each group; None where the parameters make no physical sense.

        Parameters
        ----------
        at
            Parameters.

        Returns
        -------
        In standard deviations [1], for each group shape ``(n_panels, n_residuals)``.
        """
        constants, _, _ = self._optics_of(at)
        returned = self.optics.most_returned(constants.return_ratio)[:, np.newaxis]
        if np.any(returned * constants.ground_reflectance >= _MOST_TRAPPED):
            return None
        reflectance = self.reflectance(at)
        return [self._residual(group, reflectance) for group in self.groups]

    def whitened_residuals(self, at: Parameters) -> list[FloatArray] | None:
        """`residuals` with noise and model error unrelated and of unit size, the same shapes."""
        residuals = self.residuals(at)
        if residuals is None:
            return None
        return [
            part[..., 0] for part in self._whitened([one[..., np.newaxis] for one in residuals])
        ]

    def whitened(self, at: Parameters, *, with_held: bool = False) -> list[Linear]:
        """`linearise` with noise and model error unrelated and of unit size."""
        linears = self.linearise(at, with_held=with_held)
        residuals = self._whitened([one.residual[..., np.newaxis] for one in linears])
        shared = self._whitened([one.shared for one in linears])
        local = self._whitened([one.local for one in linears])
        return [
            Linear(residual[..., 0], by_shared, by_local)
            for residual, by_shared, by_local in zip(residuals, shared, local, strict=True)
        ]

    def linearise(self, at: Parameters, *, with_held: bool = False) -> list[Linear]:
        """Residuals of each group and their derivatives in the parameters.

        Those in what the solver holds are left at zero unless `with_held`.
        """
        dose = self.doses(at)
        constants, ground, gain = self._optics_of(at)
        film = reflectance_derivatives(constants, dose, ground)
        tau, scattering = dose @ constants.absorption, dose @ constants.scattering
        return_ratio = constants.return_ratio[ground, np.newaxis]
        by_log_film = film.d_tau * tau + film.d_scattering * scattering
        held = (np.zeros_like(tau),) * 3
        if with_held:
            by_log_coats = -self.log_coats[:, np.newaxis] * by_log_film
            held = (*optics_derivatives(constants, dose, ground), by_log_coats)
        by_log_rho = film.d_ground * constants.ground_reflectance[ground]
        ungained = film.reflectance + at.black
        curves = _ReflectanceJacobian(
            dose=dose,
            gain=gain,
            reflectance=ungained * gain,
            by_log_gain=by_log_rho if self.by_ground else ungained,
            by_optics=held[:2],
            by_log_coats=held[2],
            d_tau=film.d_tau,
            d_scattering=film.d_scattering,
            by_log_film=by_log_film,
            by_log_rho=by_log_rho,
            by_logit=film.d_return_ratio * return_ratio_slope(return_ratio),
            absorption=constants.absorption,
            scattering=constants.scattering,
        )
        return [self._linear(group, curves, at) for group in self.groups]

    def _residual(self, group: Group, reflectance: FloatArray) -> FloatArray:
        """(predicted - read)/sd of a group's readings, shape ``(n_panels, n_residuals)``."""
        parts = []
        for k in range(group.readings.shape[1]):
            rows = group.readings[:, k]
            if group.spectral[k]:
                read = self.seen.spectral[rows]
                parts.append((reflectance[rows] - read) / self.noise.of_reflectance(read))
            for light in group.lights[k]:
                matrix, white = self._colour[light]
                lab = lab_from_xyz(reflectance[rows] @ matrix, white)
                parts.append((lab - self.seen.lab[rows, light]) / self.lab_sd[rows, light])
        return np.concatenate(parts, axis=1)

    def _linear(self, group: Group, curves: _ReflectanceJacobian, at: Parameters) -> Linear:
        """The residuals of a group with their Jacobians in the shared and the local parameters."""
        shared, local = [], []
        for k in range(group.readings.shape[1]):
            rows = group.readings[:, k]
            columns, gain = self._columns(group, rows, curves, at), curves.gain[rows]
            if group.spectral[k]:
                link = gain / self.noise.of_reflectance(self.seen.spectral[rows])
                shared.append(columns.spectral(link))
                local.append(columns.local(link))
            for light in group.lights[k]:
                matrix, white = self._colour[light]
                bend = lab_jacobian(curves.reflectance[rows] @ matrix, white)
                bend = bend * (gain / self.lab_sd[rows, light])[..., np.newaxis]
                link = bend @ matrix.T
                shared.append(columns.seen_through(link))
                local.append(columns.local_through(link))
        return Linear(
            self._residual(group, curves.reflectance),
            np.concatenate(shared, axis=1),
            np.concatenate(local, axis=1),
        )

    def _columns(
        self, group: Group, rows: IntArray, curves: _ReflectanceJacobian, at: Parameters
    ) -> _Columns:
        """Slopes of R(λ) in everything that a group's reading leans on."""
        d_tau, d_scattering = curves.d_tau[rows], curves.d_scattering[rows]
        dose = curves.dose[rows]
        full, single = [], []
        for toner in group.toners:
            share = dose[:, toner, np.newaxis]
            full.append(d_tau * share * curves.absorption[toner])
            if at.hazy[toner]:
                by_log = d_scattering * share * curves.scattering[toner]
                single += [by_log * wave for wave in at.waves]
            else:
                single += [np.zeros_like(d_tau)] * len(at.waves)
        by_log_rho, by_logit = curves.by_log_rho[rows], curves.by_logit[rows]
        return_ratios = []
        for ground in group.grounds:
            here = (self.seen.ground[rows] == ground)[:, np.newaxis]
            full.append(by_log_rho * here)
            if ground in self.layout.metallic:
                return_ratios.append(by_logit * here)
        if return_ratios:
            single = [np.sum(return_ratios, axis=0), *return_ratios, *single]
        by_log_film = curves.by_log_film[rows]
        single += [
            np.ones_like(d_tau),
            *(by_optics[rows] for by_optics in curves.by_optics),
            curves.by_log_coats[rows],
        ]
        for toner in group.toners:
            share = (dose[:, toner] * self.doublings[rows])[:, np.newaxis]
            by_share = d_tau * curves.absorption[toner] + d_scattering * curves.scattering[toner]
            single.append(share * by_share)
        films = self.seen.films(at.log_build)
        segments = []
        for j in range(group.segments.shape[1]):
            built = group.segments[:, j]
            grown = self.seen.segment_coats[built] * np.exp(at.log_build[built])
            under = (self.seen.first_segment[rows] <= built) & (built < self.seen.end_segment[rows])
            share = np.where(under, grown / np.where(under, films[rows], 1.0), 0.0)
            segments.append(by_log_film * share[:, np.newaxis])
        return _Columns(full, single, segments, curves.by_log_gain[rows])


# Light that comes round more often than this is no film over a ground any more.
_MOST_TRAPPED = 0.98


@dataclass(frozen=True, slots=True, eq=False)
class _ReflectanceJacobian:
    """What every reading's R(λ) leans on, shape ``(n_readings, n_wavelengths)``.

    But `dose` is ``(n_readings, n_toners)``, `gain` ``(n_readings, 1)``, the curves
    ``(n_toners, n_wavelengths)``. `reflectance` has its gain, all derivatives are without it.
    """

    dose: FloatArray
    gain: FloatArray
    reflectance: FloatArray
    by_log_gain: FloatArray
    d_tau: FloatArray
    d_scattering: FloatArray
    by_log_film: FloatArray
    by_log_rho: FloatArray
    by_logit: FloatArray
    by_optics: tuple[FloatArray, FloatArray]
    by_log_coats: FloatArray
    absorption: FloatArray
    scattering: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class _Columns:
    """Slopes of R(λ), each ``(n_panels, n_wavelengths)``.

    `full` has an unknown at each wavelength, `single` and `segments` one for all wavelengths;
    `by_log_gain` is that of the panel.
    """

    full: list[FloatArray]
    single: list[FloatArray]
    segments: list[FloatArray]
    by_log_gain: FloatArray

    def spectral(self, link: FloatArray) -> FloatArray:
        """Derivatives of spectral residuals in the shared parameters, a wavelength each."""
        panels, width = link.shape
        out = np.zeros((panels, width, len(self.full) * width + len(self.single)))
        each = np.arange(width)
        for i, column in enumerate(self.full):
            out[:, each, i * width + each] = link * column
        for i, column in enumerate(self.single):
            out[:, :, len(self.full) * width + i] = link * column
        return out

    def local(self, link: FloatArray) -> FloatArray:
        """Derivatives of spectral residuals in the local parameters."""
        return np.stack([link * column for column in (*self.segments, self.by_log_gain)], axis=-1)

    def seen_through(self, link: FloatArray) -> FloatArray:
        """Slopes of Lab residuals in the shared parameters; `link` ``(n_panels, 3, n_waves)``."""
        full = [link * column[:, np.newaxis] for column in self.full]
        single = [(link @ column[..., np.newaxis]) for column in self.single]
        return np.concatenate([*full, *single], axis=-1)

    def local_through(self, link: FloatArray) -> FloatArray:
        """Derivatives of Lab residuals in the local parameters."""
        columns = [link @ c[..., np.newaxis] for c in (*self.segments, self.by_log_gain)]
        return np.concatenate(columns, axis=-1)
