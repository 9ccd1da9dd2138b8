"""Between what reflectances a film that scatters may lie, over whole cells of its two depths.

A cell is a span of the depth of absorption and scattering together, and one of its *place*
x = 1 - √(τ_a/(τ_a + τ_s)), the coordinates of the tables in `fewtone.optics.scatter`. Over a cell

- terms of a clear film fall with the depth: their ends are at the cell's;
- the tables are cubic B-splines: their slope in either direction is a mean of first differences of
  coefficients, so that over a cell they stay within the largest of these times half its width of
  their value at its middle;
- all else is arithmetic on intervals, formula by formula as in `fewtone.optics.flake`.

So the ends hold for every film of the cell, to rounding, without any being tried.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from fewtone.optics.film import FilmOptics
from fewtone.optics.flake import _escape_weight, _scattered_weight, clear_returns
from fewtone.optics.scatter import HazeTables, _Cell
from fewtone.typing import FloatArray

__all__ = ["DEPTH_STEPS", "SHARE_STEPS", "Interval", "depth_edges", "reflectance_range"]

SHARE_STEPS = 48
"""Cells across the place of the film between absorption alone and scattering alone."""

DEPTH_STEPS = 16
"""Cells in an octave of depth."""

# Cells are wider than that by more than rounding to 32 bits moves a film's place.
_MARGIN = 1e-5
# What the tables of clear films are right to, and more.
_TABLES = 1e-7


class Interval(NamedTuple):
    """Least and largest values.

    Parameters
    ----------
    low, high
        Arrays of one shape.
    """

    low: FloatArray
    high: FloatArray

    def plus(self, other: Interval) -> Interval:
        """Sums."""
        return Interval(self.low + other.low, self.high + other.high)

    def minus(self, other: Interval) -> Interval:
        """Differences."""
        return Interval(self.low - other.high, self.high - other.low)

    def times(self, other: Interval) -> Interval:
        """Products."""
        if self.low.min() >= 0.0 and other.low.min() >= 0.0:
            return Interval(self.low * other.low, self.high * other.high)
        ends = [mine * theirs for mine in self for theirs in other]
        low, high = np.minimum(ends[0], ends[1]), np.maximum(ends[0], ends[1])
        for end in ends[2:]:
            low, high = np.minimum(low, end), np.maximum(high, end)
        return Interval(low, high)

    def scaled(self, factor: FloatArray | float) -> Interval:
        """Products with factors that are not negative.

        Parameters
        ----------
        factor
            Not negative; any shape that broadcasts.
        """
        return Interval(self.low * factor, self.high * factor)


def depth_edges(deepest: float, multiple: int = 1) -> FloatArray:
    """Depths between which cells lie, ascending from 0 to beyond the deepest, ``(n_depths + 1,)``.

    The first cell reaches to where the tables begin, the next ones are `DEPTH_STEPS` an octave;
    `multiple` divides the number of cells.

    Parameters
    ----------
    deepest
        The largest optical depth [1].
    multiple
        By what the number of cells is divided.
    """
    begin = HazeTables.SHALLOWEST
    count = max(1, int(np.ceil(DEPTH_STEPS * np.log2(max(deepest, begin) / begin))) + 1)
    count = -(-(count + 1) // multiple) * multiple - 1
    return np.concatenate([[0.0], begin * 2.0 ** (np.arange(count + 1) / DEPTH_STEPS)])


def reflectance_range(
    optics: FilmOptics, edges: FloatArray, ground: FloatArray, return_ratio: float
) -> Interval:
    """The least and the largest reflectance over a ground in every cell.

    Parameters
    ----------
    optics
        The film's geometry, index and edges.
    edges
        Of the cells in depth, as `depth_edges` gives them, shape ``(n_depths + 1,)``; the last cell
        is taken to have no end.
    ground
        Reflectance of the ground inside the film [1], shape ``(n_wavelengths,)``.
    return_ratio
        Its internal-return ratio [1].

    Returns
    -------
    Of the reflectance factor [1], shape ``(n_wavelengths, SHARE_STEPS, n_depths)``.
    """
    share_root = np.linspace(0.0, 1.0, SHARE_STEPS + 1)[:, np.newaxis]
    shallow, deep = edges[:-1] * (1.0 - _MARGIN), edges[1:] * (1.0 + _MARGIN)
    deep[-1] = max(deep[-1], HazeTables.DEEPEST * 1e3)
    left = Interval(
        np.maximum(1.0 - share_root[1:] - _MARGIN, 0.0) ** 2,
        np.minimum(1.0 - share_root[:-1] + _MARGIN, 1.0) ** 2,
    )
    depth = Interval(shallow, deep)
    absorption = Interval(shallow * left.low, deep * left.high)
    scattering = Interval(shallow * (1.0 - left.high), deep * (1.0 - left.low))
    haze, brightening, returned = (
        scattering.times(each) for each in _per_depth(optics.haze, edges)
    )
    clear = [optics.terms(end) for end in absorption]
    direct = [optics.terms(end) for end in depth]
    t, most = return_ratio, float(optics.terms(0.0).trapped)
    rounds = [clear_returns(each, end, t, most) for each, end in zip(direct, depth, strict=True)]
    once, later = (Interval(*(rounds[end][kind] for end in (1, 0))) for kind in (0, 1))
    trapped = Interval(direct[1].trapped, direct[0].trapped)
    escape = Interval(direct[1].escape, direct[0].escape)
    full = Interval(clear[1].escape, clear[0].escape).times(
        Interval(np.exp(brightening.low), np.exp(brightening.high))
    )
    weight = Interval(
        _escape_weight(once.low, trapped.high, t), _escape_weight(once.high, trapped.low, t)
    )
    leaving = escape.plus(weight.times(full.minus(escape)))
    scattered = Interval(clear[1].trapped, clear[0].trapped).plus(returned).minus(trapped)
    share = Interval(
        _scattered_weight(np.asarray(t), scattering.low),
        _scattered_weight(np.asarray(t), scattering.high),
    )
    first = once.plus(share.times(scattered))
    last = later.plus(scattered.scaled(t))
    rho = np.asarray(ground)[:, np.newaxis, np.newaxis]
    # 1/(1 - ρ back₂), by its ends; no light is ever gained on the way.
    after = Interval(*(1.0 / np.maximum(1.0 - rho * end, _TABLES) for end in (last.low, last.high)))
    again = first.scaled(rho).times(after)
    seen = leaving.scaled(rho).times(Interval(1.0 + again.low, 1.0 + again.high))
    beside = optics.first_surface
    low = seen.low + haze.low + (beside - _TABLES)
    return Interval(low, seen.high + haze.high + (beside + _TABLES))


def _per_depth(tables: HazeTables, edges: FloatArray) -> list[Interval]:
    """What the tables hold, over every cell, shape ``(SHARE_STEPS, n_depths)`` each."""
    x = (np.arange(SHARE_STEPS) + 0.5) / SHARE_STEPS
    depth = np.sqrt(np.maximum(edges[:-1], HazeTables.SHALLOWEST * (1.0 - 1e-9)) * edges[1:])
    left = (1.0 - x[:, np.newaxis]) ** 2
    cell = _Cell.of(left * depth, (1.0 - left) * depth)
    middle = tables._look_up(cell, cell.across, cell.along)
    coefficients = tables.coefficients
    spread = np.zeros_like(middle)
    halves = (0.5 * (tables.coefficients.shape[0] - 3) / SHARE_STEPS, 2.0 / DEPTH_STEPS)
    for axis, half in enumerate(halves):
        slope = np.abs(np.diff(coefficients, axis=axis))
        # The three differences in that direction and the four columns across that a cell leans on.
        window = (3, 4) if axis == 0 else (4, 3)
        reach = np.lib.stride_tricks.sliding_window_view(slope, window, axis=(0, 1))
        largest = reach.max(axis=(-2, -1))
        spread += (half + _MARGIN * SHARE_STEPS) * largest[cell.row, cell.column]
    return [
        Interval(low, high)
        for low, high in zip(
            np.moveaxis(middle - spread, -1, 0), np.moveaxis(middle + spread, -1, 0), strict=True
        )
    ]
