"""What is known before any panel is sprayed: how absorbers and grounds look in general.

Absorbers
    The logarithm of a translucent absorber's curve has, over a library of random dyes, a mean and
    a covariance; a Gaussian of these two is the prior of every toner. The library's dyes are one to
    three skewed Gaussian bands in wavenumber over a flat base, at any place in or near the visible
    range. Two more terms widen it: a free strength, and a rough short-ranged part, so that what no
    such dye does (steps, narrow lines) is dear but not forbidden. With spectra the readings decide
    and the prior only calms what they leave open; with Lab alone it fills in what three numbers
    cannot say.

Grounds
    The logarithm of a ground's reflectance is a Gaussian process: a free level, a slow part that
    lets a warm metallic rise by a factor of four, and parts over some tens of nm for its edges.
    One that reads coloured may be as opaque coats that the library's dyes colour.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from fewtone.optics.opaque import opaque_reflectance
from fewtone.typing import FloatArray, FloatLike, frozen

__all__ = [
    "HAZE_MEAN",
    "HAZE_SD",
    "Gaussian",
    "absorber_prior",
    "colouredness",
    "dye_library",
    "ground_prior",
    "haze_basis",
    "variety",
]

# Log scattering: its level at 550 nm, its fall with log wavelength, and slow waves. A depth of .005
# per coat at unit fraction is out of sight; two standard deviations up is haze.
HAZE_MEAN = (-5.2, -0.7, 0.0, 0.0)
HAZE_SD = (2.0, 0.4, 0.1, 0.1)

# Standard deviations of the parts over 60 and 20 nm of a ground's log reflectance. Flake is smooth,
# yet fitted as rough as solids Lab alone finds it better: in the booth blends over grounds that
# were only read bare miss by .73 instead of .90 (seeds 1 to 3, nine in ten).
_ROUGH, _SMOOTH = (0.15, 0.05), (0.08, 0.02)

# Of the prior about all dyes: sd of a free strength, on the log, and of a rough part.
_VARIETY = (0.5, 0.12)

# A coloured ground is taken to be an opaque coat that such dyes colour, no white or grey one: their
# K/S in units of the library's, its spread, the share of their covariance, and K/S of the whitest;
# the chroma of the most coloured grey, and of what counts in full. From Lab alone blends over keyed
# grounds and their parents then miss by a sixth less (calibrated in the booth, seeds 901 to 903 of
# keyed grounds).
_OPAQUE_STRENGTH, _OPAQUE_LOG_SD, _OPAQUE_SHARE, _WHITE = 0.5, 1.5, 0.6, 0.003
_OPAQUE_SEED, _GREY, _FULL_CHROMA = 3, 5.0, 15.0

_LIBRARY_SIZE = 3000
_LIBRARY_SEED = 20_011


@dataclass(frozen=True, slots=True, eq=False)
class Gaussian:
    """A normal distribution.

    Parameters
    ----------
    mean
        Shape ``(n,)``.
    covariance, precision
        The covariance and its inverse, shape ``(n, n)``.
    """

    mean: FloatArray
    covariance: FloatArray
    precision: FloatArray

    @classmethod
    def of(cls, mean: FloatArray, covariance: FloatArray) -> Gaussian:
        """Build one from mean and covariance.

        Parameters
        ----------
        mean, covariance
            Shapes ``(n,)`` and ``(n, n)``.
        """
        return cls(frozen(mean), frozen(covariance), frozen(np.linalg.inv(covariance)))


def dye_library(wavelength_nm: FloatLike) -> FloatArray:
    """Absorption of random dyes, shape ``(n_dyes, n_wavelengths)``; always the same ones.

    Parameters
    ----------
    wavelength_nm
        [nm], shape ``(n_wavelengths,)``.
    """
    return _library(tuple(np.asarray(wavelength_nm, dtype=float)))


def absorber_prior(wavelength_nm: FloatLike) -> Gaussian:
    """Prior of the logarithm of a toner's absorption.

    Parameters
    ----------
    wavelength_nm
        [nm], shape ``(n_wavelengths,)``.
    """
    return _absorber_prior(tuple(np.asarray(wavelength_nm, dtype=float)))


def variety(wavelength_nm: FloatArray, level_sd: float, rough_sd: float) -> FloatArray:
    """Covariance of log absorptions about a dye's: a free strength and a rough, short-ranged part.

    Parameters
    ----------
    wavelength_nm
        [nm], shape ``(n_wavelengths,)``.
    level_sd, rough_sd
        Standard deviations of the two [1].

    Returns
    -------
    Shape ``(n_wavelengths, n_wavelengths)``.
    """
    rough = rough_sd**2 * _likeness(wavelength_nm, 15.0)
    return level_sd**2 + rough + 0.02**2 * np.eye(wavelength_nm.size)


def ground_prior(
    wavelength_nm: FloatLike, *, smooth: bool = False, coloured: float = 0.0
) -> Gaussian:
    """Prior of the logarithm of a ground's reflectance.

    Parameters
    ----------
    wavelength_nm
        [nm], shape ``(n_wavelengths,)``.
    smooth
        As smooth as flake is; a fit takes any ground to be rougher.
    coloured
        How coloured it reads, from 0 to 1 (`colouredness`).
    """
    grid = np.asarray(wavelength_nm, dtype=float)
    middling, short = _SMOOTH if smooth else _ROUGH
    covariance = (
        1.0**2
        + 0.5**2 * _likeness(grid, 200.0)
        + middling**2 * _likeness(grid, 60.0)
        + short**2 * _likeness(grid, 20.0)
        + 0.01**2 * np.eye(grid.size)
    )
    if coloured:
        covariance = covariance + coloured * _OPAQUE_SHARE * _opaque_covariance(tuple(grid))
    return Gaussian.of(np.full(grid.size, np.log(0.5)), covariance)


def colouredness(lab: FloatLike) -> FloatArray:
    """How coloured a ground is by its Lab [1], 0 up to a chroma of 5, 1 from one of 15 on.

    Parameters
    ----------
    lab
        CIELAB of the bare ground, shape ``(..., 3)``.
    """
    chroma = np.hypot(np.asarray(lab)[..., 1], np.asarray(lab)[..., 2])
    return np.asarray(np.clip((chroma - _GREY) / (_FULL_CHROMA - _GREY), 0.0, 1.0))


def haze_basis(wavelength_nm: FloatLike) -> FloatArray:
    """Functions that log scattering is made of, shape ``(n_functions, n_wavelengths)``.

    Parameters
    ----------
    wavelength_nm
        [nm], shape ``(n_wavelengths,)``.
    """
    grid = np.asarray(wavelength_nm, dtype=float)
    along = np.clip((grid - 400.0) / 300.0, 0.0, 1.0)
    waves = [np.cos(np.pi * (k + 2) * along) for k in range(len(HAZE_SD) - 2)]
    return frozen(np.stack([np.ones(grid.size), np.log(grid / 550.0), *waves]))


def _likeness(grid: FloatArray, length_nm: float) -> FloatArray:
    """exp(-½ ((λ - λ′)/length)²): how alike wavelengths are, shape ``(n, n)``."""
    apart = (grid[:, np.newaxis] - grid) / length_nm
    return np.asarray(np.exp(-0.5 * apart**2))


@lru_cache(maxsize=8)
def _absorber_prior(grid: tuple[float, ...]) -> Gaussian:
    """Mean and covariance of the library's log absorption, widened by level and bumps."""
    logs = np.log(_library(grid))
    nodes = np.array(grid)
    covariance = np.cov(logs, rowvar=False) + variety(nodes, *_VARIETY)
    return Gaussian.of(logs.mean(axis=0), covariance)


@lru_cache(maxsize=8)
def _opaque_covariance(grid: tuple[float, ...]) -> FloatArray:
    """Covariance of log reflectances of opaque coats that the library's dyes colour."""
    library = _library(grid)
    rng = np.random.default_rng(_OPAQUE_SEED)
    strength = np.exp(rng.normal(np.log(_OPAQUE_STRENGTH), _OPAQUE_LOG_SD, (len(library), 1)))
    logs = np.log(opaque_reflectance(strength * library + _WHITE))
    return np.asarray(np.cov(logs, rowvar=False))


@lru_cache(maxsize=8)
def _library(grid: tuple[float, ...]) -> FloatArray:
    """Dyes of one to three bands, Gaussian over wavenumber and wider to the blue, on a base."""
    rng = np.random.default_rng(_LIBRARY_SEED)
    wavenumber = 1e4 / np.array(grid)  # [1000/cm]
    # Evenly in wavelength: the trade's tints are spread by hue, not by energy.
    peak = 1e4 / rng.uniform(370.0, 730.0, (_LIBRARY_SIZE, 3))
    red_width = rng.uniform(0.55, 1.8, (_LIBRARY_SIZE, 3))
    blue_width = red_width * rng.uniform(1.0, 2.4, (_LIBRARY_SIZE, 3))
    height = rng.uniform(0.05, 0.7, (_LIBRARY_SIZE, 3))
    height[:, 0] = 1.0
    bands = rng.integers(1, 4, _LIBRARY_SIZE)
    height *= np.arange(3) < bands[:, np.newaxis]
    base = np.exp(rng.uniform(np.log(0.003), np.log(0.08), _LIBRARY_SIZE))
    # One in ten is a smoke or a brown: mostly base.
    base = np.where(rng.uniform(size=_LIBRARY_SIZE) < 0.1, rng.uniform(0.1, 2.0, base.size), base)
    strength = np.exp(rng.normal(np.log(3.0), 0.6, _LIBRARY_SIZE))
    offset = wavenumber - peak[..., np.newaxis]
    width = np.where(offset < 0.0, red_width[..., np.newaxis], blue_width[..., np.newaxis])
    shape = (height[..., np.newaxis] * np.exp(-0.5 * (offset / width) ** 2)).sum(axis=1)
    shape += base[:, np.newaxis]
    return frozen(strength[:, np.newaxis] * shape / shape.max(axis=1, keepdims=True))
