"""Wavelength grids, and bringing spectra onto them.

The rule
    Colour is summed from 360 to 780 nm (CIE 15), so readings outside are left out. Readings 5 nm
    or more apart keep their own wavelengths. Finer ones are brought to the multiples of 10 nm
    inside their range, each new value being the mean of the readings within 10 nm of it under
    triangular weights, as a 10 nm instrument would have read it; at the first and last the
    triangle loses the half that was not read. Smooth film spectra change by less than what an
    instrument repeats, and learning has no use for neighbours that say the same.
"""

from __future__ import annotations

import numpy as np

from fewtone.typing import FloatArray, FloatLike, frozen

__all__ = ["STANDARD_GRID_NM", "learning_grid", "resampling"]

STANDARD_GRID_NM = frozen(np.arange(400.0, 701.0, 10.0))

_FIRST_NM, _LAST_NM = 360.0, 780.0
_FINEST_STEP_NM = 5.0
_COARSE_STEP_NM = 10.0


def learning_grid(wavelength_nm: FloatLike) -> FloatArray:
    """Wavelengths on which readings are learnt from.

    Parameters
    ----------
    wavelength_nm
        Those of the readings [nm], ascending, shape ``(n_read,)``.

    Returns
    -------
    [nm], ascending, shape ``(n_wavelengths,)``: the readings' own between 360 and 780 nm, or the
    multiples of 10 nm in their range where they are finer than 5 nm.
    """
    read = _seen(wavelength_nm)
    if read.size < 2 or float(np.diff(read).min()) >= _FINEST_STEP_NM:
        return frozen(read)
    first = np.ceil(read[0] / _COARSE_STEP_NM)
    last = np.floor(read[-1] / _COARSE_STEP_NM)
    return frozen(_COARSE_STEP_NM * np.arange(first, last + 1.0))


def resampling(wavelength_nm: FloatLike) -> FloatArray:
    """Weights that bring readings onto `learning_grid`.

    Parameters
    ----------
    wavelength_nm
        Those of the readings [nm], ascending, shape ``(n_read,)``.

    Returns
    -------
    Shape ``(n_read, n_wavelengths)``, each column summing to 1: ``reading @ weights``.
    """
    read = np.asarray(wavelength_nm, dtype=float)
    grid = learning_grid(read)
    apart = np.abs(read[:, np.newaxis] - grid)
    if np.isin(grid, read).all() and grid.size == _seen(read).size:
        return frozen(apart == 0.0)
    triangle = np.maximum(0.0, 1.0 - apart / _COARSE_STEP_NM)
    # Uneven readings count for the range they stand for, else a dense patch would outweigh it.
    triangle *= np.gradient(read)[:, np.newaxis]
    return frozen(triangle / triangle.sum(axis=0))


def _seen(wavelength_nm: FloatLike) -> FloatArray:
    read = np.asarray(wavelength_nm, dtype=float)
    return read[(read >= _FIRST_NM) & (read <= _LAST_NM)]
