"""How far an instrument's readings scatter, spectra and Labs, in the light and in the dark."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fewtone.colorimetry import Light, lab_jacobian, weights, white_point, xyz_from_lab
from fewtone.learning.observations import Observations
from fewtone.typing import FloatArray

__all__ = ["Noise", "lab_noise"]


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
        """Standard deviation of a reading of this reflectance [1], the same shape.

        Parameters
        ----------
        reflectance
            Reflectance factor [1], any shape.
        """
        return np.asarray(np.hypot(self.relative * reflectance, self.absolute))

    def of_lab(self, xyz: FloatArray, wavelength_nm: FloatArray, light: Light) -> FloatArray:
        """Standard deviation of each coordinate of Labs of these XYZ ``(..., 3)``, same shape.

        √(lab² + Σ_λ (∂Lab/∂R(λ) · absolute)²): the cube root of CIELAB is steep where it is dark.

        Parameters
        ----------
        xyz
            X, Y, Z, white having Y = 100, shape ``(..., 3)``.
        wavelength_nm
            Of the curves [nm], shape ``(n_wavelengths,)``.
        light
            Illuminant and observer.
        """
        matrix = weights(wavelength_nm, light)
        slope = lab_jacobian(np.maximum(xyz, 0.0), white_point(light)) * self.absolute
        spread = np.einsum("...ci,ij,...cj->...c", slope, matrix.T @ matrix, slope)
        return np.asarray(np.sqrt(self.lab**2 + spread))

    def scaled(self, factor: float) -> Noise:
        """The same noise, larger by a factor.

        Parameters
        ----------
        factor
            How much larger [1].
        """
        return Noise(self.relative * factor, self.absolute * factor, self.lab * factor)


def lab_noise(seen: Observations, noise: Noise) -> FloatArray:
    """Standard deviation of each Lab coordinate read, ``(n_readings, n_lights, 3)``."""
    sds = np.full(seen.lab.shape, np.nan)
    for i, light in enumerate(seen.lights):
        read = np.flatnonzero(~np.isnan(seen.lab[:, i, 0]))
        xyz = xyz_from_lab(seen.lab[read, i], white_point(light))
        sds[read, i] = noise.of_lab(xyz, seen.wavelength_nm, light)
    return sds
