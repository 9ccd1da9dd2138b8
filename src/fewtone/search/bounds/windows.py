"""What X, Y and Z of a slice's films may be, as sums of exponentials have them."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from fewtone.search.bounds.exponentials import FLOOR, Exponentials
from fewtone.search.bounds.slices import Slice
from fewtone.typing import FloatArray

__all__ = ["Window", "window_of"]

# Widens logarithms by more than rounding moves them.
_ROUNDING = 1e-9
# Both parts of a side's sum are above 0: the same is added to either.
_LEAST = 1e-20


class Window(NamedTuple):
    """What F may be, widened by the error of the sums.

    Parameters
    ----------
    least, most
        Ends of F, shape ``(3,)``.
    lo, hi
        Ends of log F, shape ``(3,)``.
    sums
        F, then what adds to the sum of each side, then what takes away from it: not more than that.
    """

    least: FloatArray
    most: FloatArray
    lo: FloatArray
    hi: FloatArray
    sums: Exponentials

    @property
    def sides(self) -> tuple[slice, slice]:
        """Places of what adds to the sum of each side, and of what takes away from it."""
        after = self.sums.matrix.shape[2]
        return slice(3, (after + 3) // 2), slice((after + 3) // 2, after)


def window_of(sums: Exponentials, part: Slice) -> Window:
    """The window of the sums that holds every film whose colour is of a slice."""
    off = sums.error
    least = (part.low - off * (part.low + FLOOR)) * (1.0 - sums.rounding)
    most = (part.high + off * (part.high + FLOOR)) * (1.0 + sums.rounding)
    wider = sums.rounding + _ROUNDING
    lo, hi = (np.log(np.maximum(ends, 1e-300)) for ends in (least, most))
    return Window(least, most, lo - wider, hi + wider, _with_sides(sums, part))


def _with_sides(sums: Exponentials, part: Slice) -> Exponentials:
    """The sums F, then those of what adds to a slice's sides, and those of what takes away."""
    off = 1.001 * sums.error * (np.abs(part.weights) @ (part.high + FLOOR))
    excess = part.weights @ sums.constant - part.least + off
    each = sums.matrix @ part.weights.T
    parts = [np.maximum(sign * excess, 0.0) + _LEAST for sign in (1.0, -1.0)]
    return replace(
        sums,
        constant=np.concatenate([sums.constant, *parts]),
        matrix=np.concatenate([sums.matrix, *(np.maximum(s * each, 0.0) for s in (1, -1))], axis=2),
    )
