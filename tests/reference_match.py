"""A plain loop over every admissible recipe: the definition of the picks, word for word.

Written from the definition alone, with none of the search's parts: itertools for the recipes,
prediction and ΔE00 from the library for their colours, Python's own tuples for the order.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

import numpy as np

from fewtone.colorimetry import Light, delta_e_2000
from fewtone.model.blend import Number
from fewtone.model.curves import Curves
from fewtone.prediction.forward import lab_of, reflectance
from fewtone.typing import FloatArray

__all__ = ["Answer", "plain_loop"]


@dataclass(frozen=True)
class Answer:
    """Recipe lines of the picks and the trade-off, and how many recipes there were."""

    simplest: str | None
    closest: str
    evenest: str | None
    trade_off: tuple[str, ...]
    admissible: int


def plain_loop(
    curves: Curves,
    target: Sequence[float],
    light: Light,
    *,
    toners: Sequence[str],
    grounds: Sequence[str],
    medium_parts: Sequence[Number],
    coats: tuple[int, int],
    max_part: int,
    max_toners: int,
    tolerance: float,
    top: int,
) -> Answer:
    """Evaluate every admissible recipe and pick as the definition says."""
    blends = [
        dict(zip(names, parts, strict=True))
        for size in range(1, max_toners + 1)
        for names in itertools.combinations(toners, size)
        for parts in itertools.product(range(1, max_part + 1), repeat=size)
        if math.gcd(*parts) == 1
    ]
    films = list(
        itertools.product(range(len(medium_parts)), range(coats[0], coats[1] + 1), grounds)
    )
    recipes: list[tuple[int, int, int, int, int, str]] = []
    fractions = np.zeros((len(blends) * len(films), len(curves.toners)))
    loads, places = np.zeros(len(fractions)), np.zeros(len(fractions), dtype=np.int64)
    for blend in blends:
        total = sum(blend.values())
        words = " + ".join(
            f"{part} {name}" for name, part in sorted(blend.items(), key=lambda t: (-t[1], t[0]))
        )
        for position, count, ground in films:
            row = len(recipes)
            for name, part in blend.items():
                fractions[row, curves.toners.index(name)] = part / total
            letdown = medium_parts[position]
            loads[row] = float(Fraction(count) / (1 + Fraction(letdown)))
            places[row] = curves.grounds.index(ground)
            plural = "coat" if count == 1 else "coats"
            line = f"{words}, {letdown}:1, {count} {plural} over {ground}"
            recipes.append((len(blend), total, position, count, grounds.index(ground), line))

    def lab(build: float) -> FloatArray:
        doses = fractions * (loads * build)[:, np.newaxis]
        return lab_of(curves, reflectance(curves, doses, places), light)

    distance = np.round(delta_e_2000(lab(1.0), np.array(target)), 6)
    uneven = np.round(delta_e_2000(lab(0.9), lab(1.1)), 2)
    rows: list[dict[str, Any]] = []
    for row, (size, total, position, count, place, line) in enumerate(recipes):
        key = (size, total, position, count, distance[row], place, line)
        rows.append({"key": key, "de": distance[row], "uneven": uneven[row], "line": line})
    within = [row for row in rows if row["de"] <= tolerance]
    least = min(row["de"] for row in rows)
    near = [row for row in rows if row["de"] <= round(least + 0.05, 6)]
    trade_off, nearest = [], math.inf
    for _, group in itertools.groupby(sorted(rows, key=_key), key=lambda row: row["key"][:2]):
        best = min(group, key=lambda row: (row["de"], row["key"]))
        if best["de"] < nearest:
            nearest = best["de"]
            trade_off.append(best["line"])
    return Answer(
        simplest=min(within, key=_key)["line"] if within else None,
        closest=min(near, key=_key)["line"],
        evenest=min(within, key=lambda r: (r["uneven"], -r["key"][3], r["key"]))["line"]
        if within
        else None,
        trade_off=tuple(trade_off[:top]),
        admissible=len(rows),
    )


def _key(row: dict[str, Any]) -> Any:
    return row["key"]
