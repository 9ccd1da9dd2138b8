"""A plain loop over every admissible recipe: the definition of the picks, word for word.

Written from the definition alone, with none of the search's parts: itertools for the recipes,
prediction, ΔE00 and chances of passing from the library for each by itself, Python's own tuples
for the order.
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
from fewtone.model.recipe import parse
from fewtone.model.shelf import ShelfSettings
from fewtone.prediction.forward import lab_of, reflectance
from fewtone.prediction.pass_probability import pass_probability
from invented import lab_target

__all__ = ["Answer", "plain_loop"]


@dataclass(frozen=True)
class Answer:
    """Recipe lines of the picks and the trade-off, and how many recipes there were."""

    simplest: str | None
    surest: str | None
    closest: str
    trade_off: tuple[str, ...]
    admissible: int


def plain_loop(
    curves: Curves,
    settings: ShelfSettings,
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
            loads[row] *= (count / 4.0) ** -curves.thinning
            places[row] = curves.grounds.index(ground)
            plural = "coat" if count == 1 else "coats"
            line = f"{words}, {letdown}:1, {count} {plural} over {ground}"
            recipes.append((len(blend), total, position, count, grounds.index(ground), line))

    doses = fractions * loads[:, np.newaxis]
    lab = lab_of(curves, reflectance(curves, doses, places), light)
    distance = np.round(delta_e_2000(lab, np.array(target)), 6)
    rows: list[dict[str, Any]] = []
    for row, (size, total, position, count, place, line) in enumerate(recipes):
        key = (size, total, position, count, distance[row], place, line)
        rows.append({"key": key, "de": distance[row], "line": line})
    within = [row for row in rows if row["de"] <= tolerance]
    known = curves.uncertainty is not None
    if known and within:
        chances = pass_probability(
            curves,
            settings,
            [parse(row["line"]) for row in within],
            lab_target(target, light),
            tolerance,
        )
        assert chances is not None
        for passer, chance in zip(within, chances.tolist(), strict=True):
            passer["percent"] = round(100 * chance)
    surest = min(within, key=lambda r: (-r["percent"], r["key"])) if known and within else None
    enough = within
    if surest is not None:
        enough = [row for row in within if 10 * row["percent"] >= 9 * surest["percent"]]
    least = min(row["de"] for row in rows)
    near = [row for row in rows if row["de"] <= round(least + 0.05, 6)]

    def worth(row: dict[str, Any]) -> float:
        """What the trade-off goes by, least first."""
        return float(row["de"]) if surest is None else -float(row["percent"])

    trade_off, least_worth = [], math.inf
    listed = rows if surest is None else within
    for _, group in itertools.groupby(sorted(listed, key=_key), key=lambda row: row["key"][:2]):
        best = min(group, key=lambda row: (worth(row), row["key"]))
        if worth(best) < least_worth:
            least_worth = worth(best)
            trade_off.append(best["line"])
    return Answer(
        simplest=min(enough, key=_key)["line"] if enough else None,
        surest=None if surest is None else surest["line"],
        closest=min(near, key=_key)["line"],
        trade_off=tuple(trade_off[:top]),
        admissible=len(rows),
    )


def _key(row: dict[str, Any]) -> Any:
    return row["key"]
