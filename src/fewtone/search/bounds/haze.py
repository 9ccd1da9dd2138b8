"""Tables of the least and largest tristimulus values of films that scatter.

At every wavelength a film falls into a cell of depth and place (`fewtone.optics.ranges`), between
whose ends its reflectance is known to lie; weighted and summed over the wavelengths that gives ends
of X, Y and Z. A film's place does not change with the load and its depth is in proportion to it, so
loads from t to wider than t by a fixed factor fall into that cell and a fixed number of the next:
for them there is a second table, of the ends over as many cells.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from fewtone.colorimetry import Light, weights, white_point
from fewtone.optics.film import FilmOptics
from fewtone.optics.ranges import DEPTH_STEPS, SHARE_STEPS, depth_edges, reflectance_range
from fewtone.recipes.evaluate import Films
from fewtone.typing import FloatArray, IntArray

__all__ = ["HazeRanges", "HazeTable"]

# Grounds in one table: a table of so many stays below some 50 MB.
_GROUNDS = 4
# So many tables are kept: those of a shelf's grounds, and of what is tried where it does not reach.
_KEPT = 4
# The tables end at this optical depth; deeper films are of the last cell, which has no end.
_DEEPEST = 16.0
# Loads of a group are less than so many cells in depth apart.
GROUP = 4
# More than rounding to 32 bits moves a sum, relative to it.
_ROUNDING = 1e-5


class HazeTable:
    """Ends of X, Y, Z, X - Y and Y - Z over some grounds.

    Parameters
    ----------
    near
        Of each wavelength, shape ``(n_wavelengths, SHARE_STEPS, n_depths, n_grounds, 10)``, 32
        bits: the least of the five of films in a cell over a ground, then the largest. `GROUP`
        divides the number of depths.
    grounds
        Which grounds, as positions, shape ``(n_grounds,)``.
    """

    def __init__(self, near: FloatArray, grounds: IntArray) -> None:
        self.grounds = grounds
        shape = (len(near), SHARE_STEPS, -1, GROUP, len(grounds), 10)
        low, high = (
            near.reshape(shape)[..., :5].min(axis=3),
            near.reshape(shape)[..., 5:].max(axis=3),
        )
        # Films of a group that begins in one of these wider cells are in it or the next one.
        low[:, :, :-1] = np.minimum(low[:, :, :-1], low[:, :, 1:])
        high[:, :, :-1] = np.maximum(high[:, :, :-1], high[:, :, 1:])
        self.far = np.concatenate([low, high], axis=-1).reshape(len(near), -1, len(grounds) * 10)
        self.near = near.reshape(len(near), -1, 10)

    def over_groups(self, cells: IntArray) -> tuple[FloatArray, FloatArray]:
        """Ends over all loads of groups whose least load is in cells ``(n, n_wavelengths)``.

        Shape ``(n, n_grounds, 5)`` each.

        Parameters
        ----------
        cells
            Of the least load, shape ``(n, n_wavelengths)``.
        """
        return _ends(_summed(self.far, cells // GROUP).reshape(len(cells), -1, 10))

    def over_films(self, cells: IntArray, ground: IntArray) -> tuple[FloatArray, FloatArray]:
        """Ends of films in cells ``(n, n_wavelengths)`` over places of `grounds` ``(n,)``.

        Shape ``(n, 5)`` each.

        Parameters
        ----------
        cells
            Of each film, shape ``(n, n_wavelengths)``.
        ground
            Position of each film's ground among those of the table, shape ``(n,)``.
        """
        rows = cells * len(self.grounds) + ground[:, np.newaxis]
        return _ends(_summed(self.near, rows))


class HazeRanges:
    """Makes the tables of one shelf.

    Parameters
    ----------
    films
        The films and their light.
    loads
        The lattice's loads, ascending.
    """

    def __init__(self, films: Films, loads: FloatArray) -> None:
        self._films = films
        self.absorption = films.curves.absorption[list(films.toners)]
        self.scattering = films.curves.scattering[list(films.toners)]
        self._edges = depth_edges(_DEEPEST, GROUP)
        self.log_loads = DEPTH_STEPS * np.log2(loads)
        # Groups of loads: from the first load of each less than `GROUP` cells farther.
        starts = [0]
        for column, log_load in enumerate(self.log_loads):
            if log_load - self.log_loads[starts[-1]] > GROUP - _ROUNDING:
                starts.append(column)
        self.starts = np.array(starts)

    @property
    def blocks(self) -> range:
        """Numbers of the blocks of grounds that there are tables for."""
        return range(-(-len(self._films.grounds) // _GROUNDS))

    def table(self, block: int) -> HazeTable:
        """The table of a block of grounds.

        Parameters
        ----------
        block
            Its number.
        """
        curves = self._films.curves
        rows = list(self._films.grounds[block * _GROUNDS : (block + 1) * _GROUNDS])
        return _table(
            block,
            curves.optics,
            self._films.light,
            *(
                values.tobytes()
                for values in (
                    curves.wavelength_nm,
                    curves.ground_reflectance[rows],
                    curves.return_ratio[rows],
                )
            ),
        )

    def first_cells(self, curves: tuple[FloatArray, FloatArray]) -> tuple[IntArray, FloatArray]:
        """First cell and log depth at a load of 1 of blends with such absorption and scattering.

        Shapes ``(n, n_wavelengths)``; the depth in cells, 0 where the tables begin.

        Parameters
        ----------
        curves
            Absorption and scattering of blends at a load of 1 [1], shape ``(n, n_wavelengths)``
            each.
        """
        absorption, scattering = curves
        depth = np.maximum(absorption + scattering, 1e-30)
        position = SHARE_STEPS * (1.0 - np.sqrt(absorption / depth))
        row = np.minimum(position.astype(np.int32), SHARE_STEPS - 1) * self._n_depths
        return row, DEPTH_STEPS * np.log2(depth / self._edges[1])

    def cells(self, row: IntArray, depth: FloatArray, log_load: FloatArray) -> IntArray:
        """Cells of blends at loads, given by `DEPTH_STEPS` log₂.

        Parameters
        ----------
        row, depth
            As `first_cells` gives them, shape ``(n, n_wavelengths)`` each.
        log_load
            `DEPTH_STEPS` log₂ of the loads, shape ``(n,)`` or one that broadcasts with it.

        Returns
        -------
        Shape ``(n, n_wavelengths)``.
        """
        column = np.floor(depth + log_load).astype(np.int32) + 1
        return row + np.clip(column, 0, self._n_depths - 1, out=column)

    @property
    def _n_depths(self) -> int:
        return len(self._edges) - 1


# Toners and loads have no say in it: shelves that differ in these alone share it.
@lru_cache(maxsize=_KEPT)
def _table(
    block: int,
    optics: FilmOptics,
    light: Light,
    wavelengths: bytes,
    reflectances: bytes,
    ratios: bytes,
) -> HazeTable:
    """The table of a block of grounds, of arrays as bytes."""
    wavelength_nm, ratio = np.frombuffer(wavelengths), np.frombuffer(ratios)
    grounds = np.frombuffer(reflectances).reshape(len(ratio), -1)
    edges = depth_edges(_DEEPEST, GROUP)
    white = weights(wavelength_nm, light) / white_point(light)
    weight = np.hstack([white, white[:, :2] - white[:, 1:]]).astype(np.float32)
    shape = (len(white), SHARE_STEPS, len(edges) - 1, len(ratio), 10)
    near: FloatArray = np.empty(shape, dtype=np.float32)
    # Weights below 0 turn the ends round.
    above, below = np.maximum(weight, 0.0), np.minimum(weight, 0.0)
    of_ends = np.stack([np.hstack([above, below]), np.hstack([below, above])], axis=1)
    for row, ground in enumerate(grounds):
        ends = reflectance_range(optics, edges, ground, float(ratio[row]))
        both = np.stack([end.astype(np.float32) for end in ends], axis=-1)
        near[..., row, :] = both @ of_ends[:, np.newaxis]
    return HazeTable(near, block * _GROUNDS + np.arange(len(ratio)))


def _summed(tables: FloatArray, rows: IntArray) -> FloatArray:
    """Sum over the wavelengths of one row of each one's table, ``(n, n_columns)``."""
    total: FloatArray = tables[0].take(rows[:, 0], axis=0)
    for table, rows_of in zip(tables[1:], rows.T[1:], strict=True):
        total += table.take(rows_of, axis=0)
    return total


def _ends(sums: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Least and largest values, farther apart than rounding moves them."""
    low, high = sums[..., :5].astype(np.float64), sums[..., 5:].astype(np.float64)
    off = _ROUNDING * np.abs(high[..., :3]).sum(axis=-1, keepdims=True) + 1e-9
    return low - off, high + off
