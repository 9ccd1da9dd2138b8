"""How sure learning is of the curves it found."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fewtone.typing import FloatArray, frozen

__all__ = ["Uncertainty"]


@dataclass(frozen=True, slots=True, eq=False)
class Uncertainty:
    """Independent directions in which the curves may be off, by one standard deviation each.

    A curve's covariance is the sum over the directions of the outer product of its deviation with
    itself; toners and grounds that lean on the same readings deviate together.

    Parameters
    ----------
    absorption, scattering
        Deviations of the toners' curves [1], shape ``(n_directions, n_toners, n_wavelengths)``.
    ground_reflectance
        Deviations of the grounds [1], shape ``(n_directions, n_grounds, n_wavelengths)``.
    return_ratio
        Deviations of the grounds' internal-return ratios [1], shape ``(n_directions, n_grounds)``.
    model_sd
        What the film model itself misses, standard deviation per Lab coordinate.
    """

    absorption: FloatArray
    scattering: FloatArray
    ground_reflectance: FloatArray
    return_ratio: FloatArray
    model_sd: float

    def __post_init__(self) -> None:
        for name in ("absorption", "scattering", "ground_reflectance", "return_ratio"):
            object.__setattr__(self, name, frozen(getattr(self, name)))

    @property
    def absorption_sd(self) -> FloatArray:
        """Standard deviation of each toner's curve [1], ``(n_toners, n_wavelengths)``."""
        return np.asarray(np.sqrt((self.absorption**2).sum(axis=0)))
