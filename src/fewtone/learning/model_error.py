"""What the film model itself misses of a reading: a covariance beside the instrument's noise.

Of a spectrum it misses a share that is alike over some tens of nm; of a hazy film more, and over
flake a share of all light that such a film sends back, since haze spreads the lobe. The many
numbers of a panel have these errors in common and tell of curves and grounds no more than a few
would: taken for noise, they would bend both, and be sure of it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fewtone.learning.groups import Group
from fewtone.learning.noise import Noise
from fewtone.learning.observations import Observations
from fewtone.typing import BoolArray, FloatArray

__all__ = ["MODEL_SD", "ModelError", "blocks"]

# What the film model misses per Lab coordinate, judged in the booth.
MODEL_SD = 0.015
# What it misses of a spectrum: this share of it, alike over so many nm; judged in the booth, where
# flake is a lobe and the model knows two directions only.
_RELATIVE, _LENGTH_NM = 0.001, 60.0
# So many times as much of a hazy film's,
_HAZE_HARDER = 8.0
# and of all light that a hazy film over flake sends back, as haze spreads the lobe.
_HAZE_OVER_FLAKE = 0.015


@dataclass(frozen=True, slots=True, eq=False)
class ModelError:
    """How far the film model errs.

    Parameters
    ----------
    hazy
        Which toners scatter, ``(n_toners,)``.
    """

    hazy: BoolArray

    def covariance(
        self, seen: Observations, noise: Noise, lab_sd: FloatArray, group: Group
    ) -> FloatArray:
        """Of a group's residuals in standard deviations of the noise.

        Parameters
        ----------
        seen, noise
            What was read, and the instrument's noise.
        lab_sd
            Noise of each Lab coordinate, ``(n_readings, n_lights, 3)``.
        group
            The panels.

        Returns
        -------
        Shape ``(n_panels, n_rows, n_rows)``.
        """
        apart = (seen.wavelength_nm[:, np.newaxis] - seen.wavelength_nm) / _LENGTH_NM
        hazy = bool(self.hazy[list(group.toners)].any())
        share = _HAZE_HARDER if hazy else 1.0
        likeness = (share * _RELATIVE) ** 2 * np.exp(-0.5 * apart**2)
        parts = blocks(group, seen.wavelength_nm.size)
        rows = parts[-1][1].stop
        out = np.zeros((len(group.panels), rows, rows))
        level = np.zeros((len(group.panels), rows))
        for k, columns, lit in parts:
            reading = group.readings[:, k]
            if lit is None:
                read = seen.spectral[reading]
                size = read / noise.of_reflectance(read)
                out[:, columns, columns] = likeness * size[:, np.newaxis] * size[..., np.newaxis]
            else:
                # L + 16, a and b go with the cube root of the light.
                sd = lab_sd[reading, lit]
                size = (seen.lab[reading, lit] + np.array([16.0, 0.0, 0.0])) / 3.0 / sd
                out[:, columns, columns] = (share * MODEL_SD / sd[:, np.newaxis]) ** 2 * np.eye(3)
            level[:, columns] = size * seen.metallic[seen.ground[reading]][:, np.newaxis]
        if hazy:
            level *= _HAZE_OVER_FLAKE
            out += level[:, np.newaxis] * level[..., np.newaxis]
        return out


def blocks(group: Group, width: int) -> list[tuple[int, slice, int | None]]:
    """Which reading of a panel owns which residuals, in which light; None for a spectrum.

    `width` is how many wavelengths a spectrum has.
    """
    parts: list[tuple[int, slice, int | None]] = []
    start = 0
    for k, is_spectral in enumerate(group.spectral):
        if is_spectral:
            parts.append((k, slice(start, start + width), None))
            start += width
        for light in group.lights[k]:
            parts.append((k, slice(start, start + 3), light))
            start += 3
    return parts
