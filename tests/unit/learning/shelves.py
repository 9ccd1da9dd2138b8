"""Small shelves and exact readings for the tests of learning."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal

import numpy as np

from fewtone.colorimetry import Light, lab_from_xyz, white_point, xyz
from fewtone.model.blend import Blend
from fewtone.model.readings import Reading, Readings
from fewtone.model.recipe import parse
from fewtone.model.shelf import Ground, Measurement, Mixing, ShelfSettings, Toner
from fewtone.optics.film import FilmOptics
from fewtone.typing import FloatArray

__all__ = [
    "CURVES_OF_FOUR",
    "D65",
    "GRID",
    "GROUNDS",
    "TRAP",
    "curves_of",
    "film",
    "settings",
    "spray",
]

GRID = np.arange(400.0, 701.0, 10.0)
D65 = Light("D65", 10)
TRAP = {"white": 1.0, "silver": 0.4}
GROUNDS = {
    "white": 0.85 - 0.2 * np.exp(-(GRID - 400.0) / 20.0),
    "silver": 0.62 + 0.0001 * (GRID - 400.0),
}


def curves_of(*peaks: float) -> dict[str, FloatArray]:
    """Return made-up absorbers: one band at each peak [nm] over a small base."""
    return {
        f"t{i}": 0.05 + 3.0 * np.exp(-0.5 * ((1e4 / GRID - 1e4 / peak) / 1.1) ** 2)
        for i, peak in enumerate(peaks)
    }


CURVES_OF_FOUR = curves_of(430.0, 500.0, 560.0, 630.0)


def settings(
    toners: Iterable[str], *, panel_cv: float = 0.05, coat_cv: float = 0.04
) -> ShelfSettings:
    """Return a shelf of these toners over white and silver."""
    return ShelfSettings(
        name="test",
        measurement=Measurement(),
        mixing=Mixing(panel_cv=panel_cv, coat_cv=coat_cv),
        toners={name: Toner(name, name) for name in toners},
        grounds={
            "white": Ground("white", "solid", "White"),
            "silver": Ground("silver", "metallic", "Silver"),
        },
    )


def film(curves: dict[str, FloatArray], line: str, build: float = 1.0) -> FloatArray:
    """Return the exact reflectance of a recipe line at a film build."""
    recipe = parse(line)
    tau = np.zeros(GRID.size)
    for name, share in recipe.blend.fractions.items():
        tau = tau + build * float(recipe.load * share) * curves[name]
    return FilmOptics(Measurement().geometry).reflectance(
        tau, GROUNDS[recipe.ground], TRAP[recipe.ground]
    )


def spray(
    curves: dict[str, FloatArray],
    lines: Sequence[tuple[str, str]],
    *,
    lights: Sequence[Light] = (),
    builds: Sequence[float] | None = None,
) -> Readings:
    """Return exact readings of (panel, recipe line), and of both grounds bare.

    They are spectra, or Labs if `lights` are given; `builds` is the film build of each line.
    """
    items = [
        _reading(i + 2, f"bare-{ground}", ground, None, GROUNDS_BARE[ground], lights)
        for i, ground in enumerate(GROUNDS)
    ]
    for i, (panel, line) in enumerate(lines):
        spectrum = film(curves, line, 1.0 if builds is None else builds[i])
        items.append(_reading(len(items) + 2, panel, parse(line).ground, line, spectrum, lights))
    return Readings(tuple(items), None if lights else GRID)


def _reading(
    row: int,
    panel: str,
    ground: str,
    line: str | None,
    spectrum: FloatArray,
    lights: Sequence[Light],
) -> Reading:
    recipe = parse(line) if line else None
    lab = {}
    for light in lights:
        values = lab_from_xyz(xyz(spectrum, GRID, light), white_point(light))
        lab[light] = (float(values[0]), float(values[1]), float(values[2]))
    return Reading(
        row=row,
        panel=panel,
        ground=ground,
        blend=recipe.blend if recipe else Blend({}),
        medium_parts=recipe.medium_parts if recipe else None,
        coats=recipe.coats if recipe else Decimal(0),
        reflectance=None if lights else spectrum,
        lab=lab,
    )


GROUNDS_BARE = {
    name: FilmOptics(Measurement().geometry).reflectance(0.0, rho, TRAP[name])
    for name, rho in GROUNDS.items()
}
