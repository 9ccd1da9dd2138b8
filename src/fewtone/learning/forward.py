"""From the parameters to what should have been read, and how that leans on each unknown.

Panels that hold the same toners over the same grounds and were read alike are one *group*: they
lean on the same shared parameters, so their Jacobians stack into one array and all of linear
algebra runs on whole groups.

A reading of reflectance leans on the parameters through R(λ) alone; a Lab reading sees the same R
through the 3 x n_wavelengths slopes of Lab in R. Only that last link differs.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from fewtone.colorimetry import (
    Light,
    lab_from_xyz,
    lab_jacobian,
    weights,
    white_point,
    xyz_from_lab,
)
from fewtone.learning.observations import Observations
from fewtone.learning.parameters import GAIN_SD, ParameterLayout, Parameters
from fewtone.model.shelf import Mixing
from fewtone.model.variation import segment_covariance
from fewtone.optics.film import FilmOptics
from fewtone.prediction.forward import reflectance, reflectance_derivatives
from fewtone.typing import BoolArray, FloatArray, IntArray

__all__ = ["Group", "Linear", "Noise", "Problem"]


@dataclass(frozen=True, slots=True)
class Noise:
    """Standard deviations of readings.

    Parameters
    ----------
    relative, absolute
        Of a reflectance: a share of it, and what is there in the dark as well [1].
    lab
        Of a Lab coordinate whose colour is light; in the dark the absolute part adds to it.
    """

    relative: float
    absolute: float
    lab: float

    def of_reflectance(self, reflectance: FloatArray) -> FloatArray:
        """Standard deviation of a reading of this reflectance [1], the same shape."""
        return np.asarray(np.hypot(self.relative * reflectance, self.absolute))

    def of_lab(self, xyz: FloatArray, wavelength_nm: FloatArray, light: Light) -> FloatArray:
        """Standard deviation of each coordinate of Labs of these XYZ ``(..., 3)``, same shape.

        √(lab² + Σ_λ (∂Lab/∂R(λ) · absolute)²): the cube root of CIELAB is steep where it is dark.
        """
        matrix = weights(wavelength_nm, light)
        slope = lab_jacobian(np.maximum(xyz, 0.0), white_point(light)) * self.absolute
        spread = np.einsum("...ci,ij,...cj->...c", slope, matrix.T @ matrix, slope)
        return np.asarray(np.sqrt(self.lab**2 + spread))

    def scaled(self, factor: float) -> Noise:
        """The same noise, larger by a factor."""
        return Noise(self.relative * factor, self.absolute * factor, self.lab * factor)


@dataclass(frozen=True, slots=True, eq=False)
class Group:
    """Panels that lean on the same shared parameters in the same pattern.

    Parameters
    ----------
    panels
        Numbers of the panels, shape ``(n_panels,)``.
    readings
        Their readings, shape ``(n_panels, n_read)``.
    spectral
        Whether each of the `n_read` is a spectrum, shape ``(n_read,)``.
    lights
        Rows of the lights that each of the `n_read` was read in; empty for a spectrum.
    toners, grounds
        The toners and grounds involved.
    shared
        Places of the shared parameters involved: the toners' curves, the grounds', the return
        ratio's.
    segments
        Their segments, shape ``(n_panels, n_segments)``.
    precision
        Prior precision of the local parameters, segments then gain if there is one, shape
        ``(n_panels, n_local, n_local)``.
    """

    panels: IntArray
    readings: IntArray
    spectral: BoolArray
    lights: tuple[tuple[int, ...], ...]
    toners: tuple[int, ...]
    grounds: tuple[int, ...]
    shared: IntArray
    segments: IntArray
    precision: FloatArray

    @property
    def has_gain(self) -> bool:
        """Whether a spectrum was read, so that there is a gain."""
        return bool(self.spectral.any())


@dataclass(frozen=True, slots=True, eq=False)
class Linear:
    """A group's residuals ``(n_panels, n_rows)`` in standard deviations, and their slopes.

    `shared` is ``(n_panels, n_rows, n_shared_here)``, `local` ``(n_panels, n_rows, n_local)``.
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
        self, seen: Observations, optics: FilmOptics, mixing: Mixing, noise: Noise
    ) -> None:
        self.seen, self.optics, self.mixing, self.noise = seen, optics, mixing, noise
        self.layout = ParameterLayout.of(seen)
        self.groups = tuple(_groups(seen, self.layout, mixing))
        grid = seen.wavelength_nm
        self._colour = [(weights(grid, light), white_point(light)) for light in seen.lights]
        self.lab_sd = _lab_sd(seen, noise)

    def with_noise(self, noise: Noise) -> Problem:
        """The same problem under another noise."""
        other = object.__new__(Problem)
        other.__dict__.update(self.__dict__, noise=noise, lab_sd=_lab_sd(self.seen, noise))
        return other

    def films(self, at: Parameters) -> FloatArray:
        """Film under each reading in standard coats, shape ``(n_readings,)``."""
        return self.seen.films(at.log_build)

    def reflectance(self, at: Parameters, films: FloatArray | None = None) -> FloatArray:
        """Reflectance of each reading's panel without gain [1], ``(n_readings, n_waves)``."""
        films = self.films(at) if films is None else films
        seen = self.seen
        dose = (films * seen.rate)[:, np.newaxis] * seen.fractions
        return reflectance(_Constants.of(at, self.optics), dose, seen.ground)

    def residuals(self, at: Parameters) -> list[FloatArray] | None:
        """Residuals of each group; None where the parameters make no physical sense."""
        if np.any(
            self.optics.most_returned(at.return_ratio)[:, np.newaxis] * at.ground_reflectance
            >= _MOST_TRAPPED
        ):
            return None
        reflectance = self.reflectance(at)
        return [self._residual(group, reflectance, at) for group in self.groups]

    def linearise(self, at: Parameters) -> list[Linear]:
        """Residuals of each group and their slopes in the parameters."""
        seen = self.seen
        films = self.films(at)
        dose = (films * seen.rate)[:, np.newaxis] * seen.fractions
        constants = _Constants.of(at, self.optics)
        film = reflectance_derivatives(constants, dose, seen.ground)
        tau, scattering = dose @ constants.absorption, dose @ constants.scattering
        rho = constants.ground_reflectance[seen.ground]
        return_ratio = constants.return_ratio[seen.ground, np.newaxis]
        curves = _Slopes(
            dose=dose,
            reflectance=film.reflectance,
            d_tau=film.d_tau,
            d_scattering=film.d_scattering,
            by_log_film=film.d_tau * tau + film.d_scattering * scattering,
            by_log_rho=film.d_ground * rho,
            by_logit=film.d_return_ratio * return_ratio * (1.0 - return_ratio),
            absorption=constants.absorption,
            scattering=constants.scattering,
        )
        return [self._linear(group, curves, at, films) for group in self.groups]

    def _residual(self, group: Group, reflectance: FloatArray, at: Parameters) -> FloatArray:
        parts = []
        for k in range(group.readings.shape[1]):
            rows = group.readings[:, k]
            if group.spectral[k]:
                gain = np.exp(at.log_gain[group.panels])[:, np.newaxis]
                read = self.seen.spectral[rows]
                parts.append((reflectance[rows] * gain - read) / self.noise.of_reflectance(read))
            for light in group.lights[k]:
                matrix, white = self._colour[light]
                lab = lab_from_xyz(reflectance[rows] @ matrix, white)
                parts.append((lab - self.seen.lab[rows, light]) / self.lab_sd[rows, light])
        return np.concatenate(parts, axis=1)

    def _linear(self, group: Group, curves: _Slopes, at: Parameters, films: FloatArray) -> Linear:
        shared, local = [], []
        for k in range(group.readings.shape[1]):
            rows = group.readings[:, k]
            columns = self._columns(group, rows, curves, at, films)
            if group.spectral[k]:
                gain = np.exp(at.log_gain[group.panels])[:, np.newaxis]
                link = gain / self.noise.of_reflectance(self.seen.spectral[rows])
                shared.append(columns.spectral(link))
                local.append(columns.local(link, curves.reflectance[rows]))
            for light in group.lights[k]:
                matrix, white = self._colour[light]
                bend = lab_jacobian(curves.reflectance[rows] @ matrix, white)
                link = (bend / self.lab_sd[rows, light, :, np.newaxis]) @ matrix.T
                shared.append(columns.seen_through(link))
                local.append(columns.local_through(link))
        return Linear(
            self._residual(group, curves.reflectance, at),
            np.concatenate(shared, axis=1),
            np.concatenate(local, axis=1),
        )

    def _columns(
        self, group: Group, rows: IntArray, curves: _Slopes, at: Parameters, films: FloatArray
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
        segments = []
        for j in range(group.segments.shape[1]):
            place = group.segments[:, j]
            grown = self.seen.segment_coats[place] * np.exp(at.log_build[place])
            under = (self.seen.first_segment[rows] <= place) & (place < self.seen.end_segment[rows])
            share = np.where(under, grown / np.where(under, films[rows], 1.0), 0.0)
            segments.append(by_log_film * share[:, np.newaxis])
        return _Columns(full, single, segments, group.has_gain)


# Light that comes round more often than this is no film over a ground any more.
_MOST_TRAPPED = 0.98


@dataclass(frozen=True, slots=True, eq=False)
class _Slopes:
    """What every reading's R(λ) leans on, shape ``(n_readings, n_wavelengths)``.

    But `dose` is ``(n_readings, n_toners)``, the curves ``(n_toners, n_wavelengths)``.
    """

    dose: FloatArray
    reflectance: FloatArray
    d_tau: FloatArray
    d_scattering: FloatArray
    by_log_film: FloatArray
    by_log_rho: FloatArray
    by_logit: FloatArray
    absorption: FloatArray
    scattering: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class _Columns:
    """Slopes of R(λ), each ``(n_panels, n_wavelengths)``.

    `full` has an unknown at each wavelength, `single` and `segments` one for all wavelengths.
    """

    full: list[FloatArray]
    single: list[FloatArray]
    segments: list[FloatArray]
    has_gain: bool

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

    def local(self, link: FloatArray, reflectance: FloatArray) -> FloatArray:
        """Slopes of spectral residuals in the local parameters."""
        return np.stack([*(link * c for c in self.segments), link * reflectance], axis=-1)

    def seen_through(self, link: FloatArray) -> FloatArray:
        """Slopes of Lab residuals in the shared parameters; `link` ``(n_panels, 3, n_waves)``."""
        full = [link * column[:, np.newaxis] for column in self.full]
        single = [(link @ column[..., np.newaxis]) for column in self.single]
        return np.concatenate([*full, *single], axis=-1)

    def local_through(self, link: FloatArray) -> FloatArray:
        """Slopes of Lab residuals in the local parameters; a gain is none of Lab's."""
        columns = [link @ column[..., np.newaxis] for column in self.segments]
        if self.has_gain:
            columns.append(np.zeros((*link.shape[:2], 1)))
        return np.concatenate(columns, axis=-1) if columns else np.zeros((*link.shape[:2], 0))


def _groups(seen: Observations, layout: ParameterLayout, mixing: Mixing) -> Iterator[Group]:
    by_panel: dict[int, list[int]] = {}
    for row, panel in enumerate(seen.panel):
        by_panel.setdefault(int(panel), []).append(row)
    segments: dict[int, list[int]] = {panel: [] for panel in by_panel}
    for place, panel in enumerate(seen.segment_panel):
        segments[int(panel)].append(place)
    alike: dict[_Pattern, list[int]] = {}
    for panel, rows in by_panel.items():
        alike.setdefault(_Pattern.of(seen, rows, len(segments[panel])), []).append(panel)
    for pattern, panels in alike.items():
        shared = [layout.toner(i) for i in pattern.toners]
        shared += [layout.ground(i) for i in pattern.grounds]
        metallic = [i for i in pattern.grounds if i in layout.metallic]
        if metallic:
            shared.append(
                np.array([layout.return_ratio, *(layout.return_ratio_own(i) for i in metallic)])
            )
        shared += [layout.haze(i) for i in pattern.toners]
        own = np.array([segments[panel] for panel in panels], dtype=np.int64)
        own = own.reshape(len(panels), pattern.n_segments)
        yield Group(
            panels=np.array(panels, dtype=np.int64),
            readings=np.array([by_panel[panel] for panel in panels], dtype=np.int64),
            spectral=np.array(pattern.spectral),
            lights=pattern.lights,
            toners=pattern.toners,
            grounds=pattern.grounds,
            shared=np.concatenate(shared),
            segments=own,
            precision=_local_precision(seen, own, any(pattern.spectral), mixing),
        )


def _lab_sd(seen: Observations, noise: Noise) -> FloatArray:
    """Standard deviation of each Lab coordinate read, ``(n_readings, n_lights, 3)``."""
    sds = np.full(seen.lab.shape, np.nan)
    for i, light in enumerate(seen.lights):
        read = np.flatnonzero(~np.isnan(seen.lab[:, i, 0]))
        xyz = xyz_from_lab(seen.lab[read, i], white_point(light))
        sds[read, i] = noise.of_lab(xyz, seen.wavelength_nm, light)
    return sds


class _Pattern(NamedTuple):
    """What panels of one group have in common."""

    lights: tuple[tuple[int, ...], ...]
    spectral: tuple[bool, ...]
    toners: tuple[int, ...]
    grounds: tuple[int, ...]
    n_segments: int

    @classmethod
    def of(cls, seen: Observations, rows: list[int], n_segments: int) -> _Pattern:
        known = ~np.isnan(seen.lab[rows, :, 0])
        return cls(
            lights=tuple(tuple(int(i) for i in np.flatnonzero(row)) for row in known),
            spectral=tuple(bool(read) for read in seen.has_spectrum[rows]),
            toners=tuple(int(i) for i in np.flatnonzero(seen.fractions[rows].any(axis=0))),
            grounds=tuple(int(i) for i in np.unique(seen.ground[rows])),
            n_segments=n_segments,
        )


def _local_precision(
    seen: Observations, segments: IntArray, has_gain: bool, mixing: Mixing
) -> FloatArray:
    panels, count = segments.shape
    precision = np.zeros((panels, count + has_gain, count + has_gain))
    if count:
        for i, place in enumerate(segments):
            coats = seen.segment_coats[place]
            precision[i, :count, :count] = np.linalg.inv(segment_covariance(coats, mixing))
    if has_gain:
        precision[:, -1, -1] = GAIN_SD**-2
    return precision
