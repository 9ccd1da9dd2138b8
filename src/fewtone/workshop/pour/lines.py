"""The least mix that lies on a cup's lines, or a scale's steps, at a stated cost in colour.

Model
    Toners and medium are poured on whole steps; additives come on top in their share of what was
    poured. For a mix of N steps in all, each toner goes to the step below or above its exact
    amount, never to none, and the last component takes the rest. Of all N from the wanted volume
    on, the first at which some such pouring moves the colour by no more than the limit is taken,
    poured in the way that moves it least.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import product

import numpy as np

from fewtone.typing import FloatArray

__all__ = ["Poured", "least_on_steps"]

# Beyond this many times what is wanted a finer cup or a scale is the better answer.
_MOST_TIMES = 8
_MOST_SPLIT = 6  # toners that are tried on both sides; with more, each goes to its nearest step
_AT_ONCE = 64


@dataclass(frozen=True, slots=True)
class Poured:
    """A way to pour.

    Parameters
    ----------
    volumes_ml
        Volume of each toner and of the medium [ml], on whole steps.
    de00
        How far that is from the recipe's colour [ΔE00].
    """

    volumes_ml: Mapping[str, Fraction]
    de00: float


def least_on_steps(
    per_ml: Mapping[str, Fraction],
    shares: Mapping[str, Fraction],
    step: Fraction,
    wanted_ml: Fraction,
    limit: float,
    shifts: Callable[[FloatArray], FloatArray],
) -> Poured | None:
    """The least mix at or above a volume whose rounding to steps costs no more than a limit.

    Parameters
    ----------
    per_ml
        How much of each component one ml of paint holds, in the unit of `step`; toners first.
    shares
        Each component's share of the paint by volume; together 1, in the same order.
    step
        What cup or scale show [ml or g].
    wanted_ml
        Paint (toners and medium) that is wanted at least [ml].
    limit
        What rounding may cost [ΔE00].
    shifts
        From poured volumes [ml], shape ``(n, n_components)``, to ΔE00, shape ``(n,)``.

    Returns
    -------
    How to pour it; None where nothing up to eight times the wanted volume is near enough.
    """
    names = list(per_ml)
    whole = sum(per_ml.values(), Fraction(0))
    ml_per_step = [shares[name] / per_ml[name] * step for name in names]
    first = max(len(names), math.ceil(wanted_ml * whole / step) - len(names))
    last = math.ceil(_MOST_TIMES * wanted_ml * whole / step) + len(names)
    weights = [per_ml[name] / whole for name in names]
    for start in range(first, last + 1, _AT_ONCE):
        rows: list[tuple[int, tuple[int, ...]]] = []
        for total in range(start, min(start + _AT_ONCE, last + 1)):
            rows += [
                (total, counts)
                for counts in _splits(weights, total)
                if _volume(counts, ml_per_step) >= wanted_ml
            ]
        if not rows:
            continue
        table = np.array([counts for _, counts in rows], dtype=np.float64)
        moved = shifts(table * np.array([float(each) for each in ml_per_step]))
        near = [row for row in range(len(rows)) if moved[row] <= limit]
        if near:
            row = min(near, key=lambda row: (rows[row][0], moved[row], rows[row][1]))
            volumes = zip(rows[row][1], ml_per_step, strict=True)
            poured = [count * each for count, each in volumes]
            return Poured(dict(zip(names, poured, strict=True)), float(moved[row]))
    return None


def _volume(counts: Sequence[int], ml_per_step: Sequence[Fraction]) -> Fraction:
    return sum((n * each for n, each in zip(counts, ml_per_step, strict=True)), Fraction(0))


def _splits(weights: Sequence[Fraction], total: int) -> Iterator[tuple[int, ...]]:
    """Whole steps of each component that sum to a total, each next to its exact amount."""
    sides = []
    for weight in weights[:-1]:
        exact = weight * total
        below, nearest = math.floor(exact), math.floor(exact + Fraction(1, 2))
        both = {below, math.ceil(exact)} if len(weights) <= _MOST_SPLIT + 1 else {nearest}
        sides.append(sorted(max(1, count) for count in both))
    for counts in product(*(sorted(set(side)) for side in sides)):
        rest = total - sum(counts)
        if rest >= 1:
            yield *counts, rest
