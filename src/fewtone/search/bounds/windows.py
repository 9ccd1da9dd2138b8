"""What X, Y and Z of a slice's films may be, as sums of exponentials have them."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from fewtone.search.bounds.exponentials import FLOOR, Exponentials
from fewtone.search.bounds.slices import Slice
from fewtone.typing import FloatArray

__all__ = ["ADDS", "TAKES", "Window", "window_of"]

# Places of what adds to the sum of a slice's side, and of what takes away from it, after F.
ADDS, TAKES = 3, 4
# Widens logarithms by more than rounding moves them.
_ROUNDING = 1e-9
# Either part of a side's sum is more than 0: the same is added to both.
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
        F, and the two parts of the side's sum: what adds to it is not less than what takes away.
    """

    least: FloatArray
    most: FloatArray
    lo: FloatArray
    hi: FloatArray
    sums: Exponentials


def window_of(sums: Exponentials, part: Slice) -> Window:
    """The window of the sums that holds every film whose colour is of a slice."""
    off = sums.error
    least = (part.low - off * (part.low + FLOOR)) * (1.0 - sums.rounding)
    most = (part.high + off * (part.high + FLOOR)) * (1.0 + sums.rounding)
    wider = sums.rounding + _ROUNDING
    lo, hi = (np.log(np.maximum(ends, 1e-300)) for ends in (least, most))
    return Window(least, most, lo - wider, hi + wider, _with_side(sums, part))


def _with_side(sums: Exponentials, part: Slice) -> Exponentials:
    """The sums F, then that of all that adds to a slice's side, and that of what takes away."""
    off = 1.001 * sums.error * float(np.abs(part.weights) @ (part.high + FLOOR))
    excess = float(part.weights @ sums.constant) - part.least + off
    each = (sums.matrix @ part.weights)[..., np.newaxis]
    parts = [max(sign * excess, 0.0) + _LEAST for sign in (1.0, -1.0)]
    return replace(
        sums,
        constant=np.concatenate([sums.constant, parts]),
        matrix=np.concatenate([sums.matrix, *(np.maximum(s * each, 0.0) for s in (1, -1))], axis=2),
    )
