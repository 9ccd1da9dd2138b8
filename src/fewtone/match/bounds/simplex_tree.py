"""The ratios of a support as a tree of ever smaller simplices.

The fractions of m toners are a point of the simplex with m corners, the ratios a finite set of
such points. Halving the longest edge again and again gives simplices whose ratios are alike; the
tree is the same for every support, so it is laid out once for each number of toners.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from fewtone.match.lattice import ratios_of
from fewtone.typing import FloatArray, IntArray

__all__ = ["Cell", "cells_of"]


@dataclass(frozen=True, slots=True, eq=False)
class Cell:
    """A simplex of blends and the ratios in it.

    Parameters
    ----------
    corners
        Fractions of the support's toners at each corner, shape ``(m, m)``.
    ratios
        Which ratios lie in it, positions in ``ratios_of``.
    shares
        Their barycentric coordinates in it, shape ``(n_ratios, m)``.
    sums
        Their sums of parts, shape ``(n_ratios,)``, rising.
    split
        The edge that is halved, as two corners; None for a leaf.
    parts
        The halves that hold ratios.
    """

    corners: FloatArray
    ratios: IntArray
    shares: FloatArray
    sums: IntArray
    split: tuple[int, int] | None
    parts: tuple[Cell, ...]


@lru_cache(maxsize=16)
def cells_of(size: int, max_part: int, few: int, depth: int) -> Cell:
    """The tree of all ratios of `size` toners; leaves hold `few` ratios or lie `depth` deep."""
    ratios = ratios_of(size, max_part)
    sums = ratios.sum(axis=1)
    return _cell(
        np.eye(size), np.arange(len(ratios)), ratios / sums[:, np.newaxis], sums, few, depth
    )


def _cell(
    corners: FloatArray,
    ratios: IntArray,
    shares: FloatArray,
    sums: IntArray,
    few: int,
    depth: int,
) -> Cell:
    size = len(corners)
    if depth == 0 or len(ratios) <= few or size == 1:
        return Cell(corners, ratios, shares, sums, None, ())
    edges = list(itertools.combinations(range(size), 2))
    lengths = [np.round(np.square(corners[i] - corners[j]).sum(), 9) for i, j in edges]
    first, second = edges[int(np.argmax(lengths))]
    middle = 0.5 * (corners[first] + corners[second])
    nearer = shares[:, first] >= shares[:, second]
    parts = []
    for side, kept, moved in ((nearer, first, second), (~nearer, second, first)):
        if side.any():
            # x = s·kept + t·moved with s >= t is (s - t)·kept + 2t·middle.
            inside = shares[side].copy()
            inside[:, kept] -= inside[:, moved]
            inside[:, moved] *= 2.0
            half = corners.copy()
            half[moved] = middle
            parts.append(_cell(half, ratios[side], inside, sums[side], few, depth - 1))
    return Cell(corners, ratios, shares, sums, (first, second), tuple(parts))
