"""Wavelength grids, and bringing spectra onto them.

The rule
    Colour is summed from 360 to 780 nm (CIE 15), so readings outside are left out. Readings 5 nm
    or more apart keep their own wavelengths. Finer ones are brought to the multiples of 10 nm
    inside their range, each new value being the mean of the readings within 10 nm of it under
    triangular weights, as a 10 nm instrument would have read it; at the first and last the
    triangle loses the half that was not read. Smooth film spectra change by less than what an
    instrument repeats, and learning has no use for neighbours that say the same.

    Onto wavelengths that are given (the columns of a file), the same readings are brought so:
    where each of them was read, those readings are kept; readings finer than 5 nm are averaged
    under triangles of 10 nm, or of the given step if that is finer; all others are interpolated
    by the cubic through the four nearest readings, as in ASTM E2022. Nothing is extrapolated.
"""

from __future__ import annotations

import numpy as np

from fewtone.errors import Fault, FewtoneError
from fewtone.typing import FloatArray, FloatLike, frozen

__all__ = ["STANDARD_GRID_NM", "interpolation", "learning_grid", "resampling", "resampling_onto"]

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
    return _averages(read, grid, _COARSE_STEP_NM)


def resampling_onto(wavelength_nm: FloatLike, grid_nm: FloatLike) -> FloatArray:
    """Weights that bring readings onto given wavelengths; the rule stands in the docstring above.

    Parameters
    ----------
    wavelength_nm
        Those of the readings [nm], ascending, shape ``(n_read,)``.
    grid_nm
        The wavelengths wanted [nm], ascending, shape ``(n_wavelengths,)``.

    Returns
    -------
    Shape ``(n_read, n_wavelengths)``, each column summing to 1: ``reading @ weights``.

    Raises
    ------
    FewtoneError
        The readings do not reach from the first of the wavelengths to the last.
    """
    read, grid = np.asarray(wavelength_nm, dtype=float), np.asarray(grid_nm, dtype=float)
    if not read[0] <= grid[0] <= grid[-1] <= read[-1]:
        raise FewtoneError(
            Fault(
                f"Readings from {read[0]:g} to {read[-1]:g} nm do not reach from {grid[0]:g} to "
                f"{grid[-1]:g} nm, and what was not read cannot be known.",
                fix="Read or export the instrument's full range.",
            )
        )
    finest = float(np.diff(read).min())
    step = float(np.diff(grid).min()) if grid.size > 1 else _COARSE_STEP_NM
    half_width = min(_COARSE_STEP_NM, step)
    if finest < _FINEST_STEP_NM and finest < half_width:
        return _averages(read, grid, half_width)
    if np.isin(grid, read).all():
        return frozen(read[:, np.newaxis] == grid)
    return interpolation(read, grid)


def interpolation(wavelength_nm: FloatLike, grid_nm: FloatLike) -> FloatArray:
    """Weights of local Lagrange interpolation: the cubic through the four nearest readings.

    Beyond the first and last reading the spectrum is held. Source of the rule: ASTM E2022.

    Parameters
    ----------
    wavelength_nm
        Those of the readings [nm], ascending, at least four, shape ``(n_read,)``.
    grid_nm
        The wavelengths wanted [nm], shape ``(n_wavelengths,)``.

    Returns
    -------
    Shape ``(n_read, n_wavelengths)``, each column summing to 1: ``reading @ weights``.
    """
    nodes = np.asarray(wavelength_nm, dtype=float)
    grid = np.clip(np.asarray(grid_nm, dtype=float), nodes[0], nodes[-1])
    first = np.clip(np.searchsorted(nodes, grid, side="right") - 2, 0, nodes.size - 4)
    used = first[:, np.newaxis] + np.arange(4)
    near = nodes[used]
    weights = np.zeros((nodes.size, grid.size))
    for j in range(4):
        others = near[:, [k for k in range(4) if k != j]]
        share = (grid[:, np.newaxis] - others) / (near[:, j, np.newaxis] - others)
        weights[used[:, j], np.arange(grid.size)] = share.prod(axis=1)
    return frozen(weights)


def _averages(read: FloatArray, grid: FloatArray, half_width: float) -> FloatArray:
    """Weights of the mean of the readings around each wavelength, under triangles."""
    triangle = np.maximum(0.0, 1.0 - np.abs(read[:, np.newaxis] - grid) / half_width)
    # Uneven readings count for the range they stand for, else a dense patch would outweigh it.
    triangle *= np.gradient(read)[:, np.newaxis]
    return frozen(triangle / triangle.sum(axis=0))


def _seen(wavelength_nm: FloatLike) -> FloatArray:
    read = np.asarray(wavelength_nm, dtype=float)
    return read[(read >= _FIRST_NM) & (read <= _LAST_NM)]
