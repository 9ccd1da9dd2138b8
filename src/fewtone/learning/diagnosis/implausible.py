"""Readings that no film makes, and curves that are none: refused, with the likely cause."""

from __future__ import annotations

import numpy as np

from fewtone.colorimetry import Light
from fewtone.errors import Fault, FewtoneError
from fewtone.learning.observations import Observations
from fewtone.learning.parameters import Parameters
from fewtone.model.readings import Reading
from fewtone.model.shelf import ShelfSettings
from fewtone.typing import FloatArray

__all__ = ["check_columns", "check_curves"]

_FILE = "readings.csv"
# More coats of a translucent film are darker: so many of a shelf's steps from one number of coats
# to more must lower L, and another column is taken for it only if nearly all lower that.
_DARKER, _SURELY_DARKER = 0.5, 0.9
_LEAST_STEPS = 4
# Optical depth of one standard coat at unit volume fraction beyond which nothing is a toner: at a
# letdown of 100:1 one coat of it would still let nothing through.
_MOST_STRENGTH = 1e4


def check_columns(seen: Observations, settings: ShelfSettings) -> None:
    """Refuse Labs whose columns are exchanged.

    Raises
    ------
    FewtoneError
        Under some light, L does not fall with coats, and what stands under a or b does.
    """
    faults = []
    for i, light in enumerate(seen.lights):
        steps = _steps(seen, i)
        if len(steps) < _LEAST_STEPS:
            continue
        falls = (steps < 0.0).mean(axis=0)
        lowest = np.nanmin(seen.lab[:, i], axis=0)
        likely = [k for k in (1, 2) if falls[k] >= _SURELY_DARKER and lowest[k] >= 0.0]
        if (falls[0] < _DARKER or lowest[0] < 0.0) and likely:
            lightness, other = (_title(k, light, settings) for k in (0, likely[0]))
            faults.append(
                Fault(
                    f"The columns {lightness} and {other} look exchanged: more coats make a panel "
                    f"darker, and it is {other} that falls with coats here, not {lightness}.",
                    fix=f"Put the lightness under {lightness}; check a and b too.",
                    file=_FILE,
                    row=1,
                    column=lightness,
                )
            )
    if faults:
        raise FewtoneError(*faults)


def check_curves(seen: Observations, at: Parameters) -> None:
    """Refuse a curve that is no toner's.

    Raises
    ------
    FewtoneError
        A toner is stronger than anything can be, or its curve is not finite.
    """
    faults = []
    for i, name in enumerate(seen.toners):
        curve = at.absorption[i]
        if np.isfinite(curve).all() and curve.max() < _MOST_STRENGTH:
            continue
        first: Reading = seen.readings[int(np.flatnonzero(seen.fractions[:, i])[0])]
        faults.append(
            Fault(
                f"The readings of {name} lead to no curve: it would have to absorb "
                f"{curve.max():.0e} times over.",
                fix="Likely causes: columns exchanged or shifted (L under a, a row pasted one "
                "column aside), readings of another panel, or a scale other than shelf.toml says. "
                f"Compare the rows of {name} with the instrument's own list.",
                file=_FILE,
                row=first.row,
                column="blend",
                value=name,
            )
        )
    if faults:
        raise FewtoneError(*faults)


def _steps(seen: Observations, light: int) -> FloatArray:
    """How L, a and b change from each number of coats to the next higher, ``(n_steps, 3)``."""
    series: dict[object, list[tuple[float, int]]] = {}
    for row, item in enumerate(seen.readings):
        if seen.is_film[row] and not np.isnan(seen.lab[row, light, 0]):
            blend = tuple(sorted(item.blend.fractions.items()))
            key = (item.ground, blend, item.medium_parts)
            series.setdefault(key, []).append((float(item.coats), row))
    changes = [
        seen.lab[other, light] - seen.lab[one, light]
        for steps in series.values()
        for (fewer, one), (more, other) in zip(sorted(steps), sorted(steps)[1:], strict=False)
        if more > fewer
    ]
    return np.array(changes).reshape(-1, 3)


def _title(coordinate: int, light: Light, settings: ShelfSettings) -> str:
    in_shelf_light = light == settings.measurement.light
    return "Lab"[coordinate] if in_shelf_light else f"{'Lab'[coordinate]} {light}"
