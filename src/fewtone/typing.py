"""Shorthand types for arrays."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["BoolArray", "FloatArray", "FloatLike", "IntArray", "frozen"]

FloatArray: TypeAlias = NDArray[np.float64]
IntArray: TypeAlias = NDArray[np.int64]
BoolArray: TypeAlias = NDArray[np.bool_]
FloatLike: TypeAlias = ArrayLike


def frozen(values: FloatLike) -> FloatArray:
    """Return a float64 copy that cannot be written to.

    Parameters
    ----------
    values
        Numbers, any shape.

    Returns
    -------
    Of the same shape.
    """
    array = np.array(values, dtype=np.float64)
    array.flags.writeable = False
    return array
