"""Write ``colorimetry.npy``, the standard lights and observers that fewtone carries.

Run ``python src/fewtone/data/make_colorimetry.py`` with colour-science installed. The packaged
file is what this script writes, byte for byte, so that commands start without colour-science.

Rules
    One grid, 360 to 780 nm by 1 nm: the range over which the CIE tabulates its illuminants.
    Observers are the CIE's own 1 nm tables. Illuminants are tabulated by 5 nm and interpolated
    linearly (CIE 15:2018, 4.1; ISO/CIE 11664-2); illuminant A follows its defining formula at
    every wavelength. Fluorescent lamps and LEDs are tabulated from 380 nm: zero below.

The file is a plain array with named columns: a zip archive of arrays takes thirty times as long
to open.
"""

from __future__ import annotations

from pathlib import Path

import colour
import numpy as np
from numpy.typing import NDArray

TABLE_FILE = Path(__file__).with_name("colorimetry.npy")
WAVELENGTH_NM: NDArray[np.float64] = np.arange(360.0, 781.0)

OBSERVERS = {
    2: "CIE 1931 2 Degree Standard Observer",
    10: "CIE 1964 10 Degree Standard Observer",
}
# CIE 15 calls the fluorescent lamps FL1 to FL12; benches and instruments say F1 to F12.
TABULATED = {
    "C": "C",
    "D50": "D50",
    "D55": "D55",
    "D65": "D65",
    "D75": "D75",
    "F2": "FL2",
    "F7": "FL7",
    "F11": "FL11",
    "F12": "FL12",
    "LED-B1": "LED-B1",
    "LED-B2": "LED-B2",
    "LED-B3": "LED-B3",
    "LED-B4": "LED-B4",
    "LED-B5": "LED-B5",
}


def table() -> NDArray[np.void]:
    """The table as one array with the named columns ``wavelength_nm``, ``x2``, …, ``LED-B5``."""
    columns = {"wavelength_nm": WAVELENGTH_NM}
    for degrees, name in OBSERVERS.items():
        wavelength_nm, values = _sampled(colour.MSDS_CMFS[name])
        kept = np.searchsorted(wavelength_nm, WAVELENGTH_NM)
        for axis, label in enumerate("xyz"):
            columns[f"{label}{degrees}"] = values[kept, axis]
    shape = colour.SpectralShape(WAVELENGTH_NM[0], WAVELENGTH_NM[-1], 1)
    columns["A"] = _sampled(colour.sd_CIE_standard_illuminant_A(shape))[1]
    for light, name in TABULATED.items():
        wavelength_nm, values = _sampled(colour.SDS_ILLUMINANTS[name])
        columns[light] = np.interp(WAVELENGTH_NM, wavelength_nm, values, left=0.0, right=0.0)
    rows = np.empty(WAVELENGTH_NM.size, dtype=[(name, "<f8") for name in columns])
    for name, values in columns.items():
        rows[name] = values
    return rows


def _sampled(distribution: object) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Wavelengths [nm] and values of one of colour-science's spectral distributions."""
    wavelengths = np.asarray(getattr(distribution, "wavelengths"), dtype=np.float64)  # noqa: B009
    return wavelengths, np.asarray(getattr(distribution, "values"), dtype=np.float64)  # noqa: B009


if __name__ == "__main__":
    np.save(TABLE_FILE, table())
