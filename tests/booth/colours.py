"""From spectra to CIELAB and ΔE00, through colour-science alone.

The tristimulus weights are those of ASTM E308 as colour-science makes them, found once for a grid
and a light by passing unit spectra through `colour.sd_to_XYZ` (the method is linear).
"""

from __future__ import annotations

import warnings
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

with warnings.catch_warnings():
    # It says at import that it cannot draw without a plotting library; nothing is drawn here.
    warnings.simplefilter("ignore")
    import colour

__all__ = ["delta_e", "lab", "xyz_weights"]

Array = NDArray[np.float64]

OBSERVERS = {
    2: "CIE 1931 2 Degree Standard Observer",
    10: "CIE 1964 10 Degree Standard Observer",
}


@lru_cache(maxsize=64)
def _weights(wavelength_nm: tuple[float, ...], light: str) -> Array:
    illuminant, observer = light.split("/")
    # colour-science names the CIE fluorescent lights FL2, FL11.
    named = f"FL{illuminant[1:]}" if illuminant.startswith("F") else illuminant
    with warnings.catch_warnings():
        # It tells of trimming its tables to the reading's range, which is what E308 asks for.
        warnings.simplefilter("ignore")
        rows = [
            colour.sd_to_XYZ(
                colour.SpectralDistribution(unit, wavelength_nm),
                cmfs=colour.MSDS_CMFS[OBSERVERS[int(observer)]],
                illuminant=colour.SDS_ILLUMINANTS[named],
                method="ASTM E308",
            )
            for unit in np.eye(len(wavelength_nm))
        ]
    weights = np.asarray(rows, dtype=np.float64)
    weights.flags.writeable = False
    return weights


def xyz_weights(wavelength_nm: ArrayLike, light: str) -> Array:
    """Return the weights `(n_wavelengths, 3)` that turn a reflectance into XYZ, Y = 100."""
    return _weights(tuple(np.asarray(wavelength_nm, dtype=np.float64).tolist()), light)


def lab(reflectance: ArrayLike, wavelength_nm: ArrayLike, light: str = "D65/10") -> Array:
    """Return CIELAB `(..., 3)` of reflectances `(..., n_wavelengths)` [0..1] under a light."""
    weights = xyz_weights(wavelength_nm, light)
    white = weights.sum(axis=0)
    xyz = np.asarray(reflectance, dtype=np.float64) @ weights
    return np.asarray(colour.XYZ_to_Lab(xyz / white[1], colour.XYZ_to_xy(white / white[1])))


def delta_e(lab_1: ArrayLike, lab_2: ArrayLike) -> Array:
    """Return ΔE00 `(...)` between two arrays of CIELAB `(..., 3)`."""
    return np.asarray(colour.delta_E(lab_1, lab_2, method="CIE 2000"))
