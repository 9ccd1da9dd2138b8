"""How a colour holds: in other light, over other grounds, at another film."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fewtone.colorimetry import Light, delta_e_2000, lab_from_xyz, white_point, xyz
from fewtone.colorimetry.appearance import inconstancy
from fewtone.model.curves import Curves
from fewtone.model.recipe import Recipe
from fewtone.model.target import Target
from fewtone.prediction.recipes import predict
from fewtone.typing import FloatArray

__all__ = ["Change", "InLight", "in_other_light", "over_other_grounds", "with_other_film"]

REFERENCE = "D65"
OTHERS = ("A", "F11", "LED-B3")
"""Tungsten, a fluorescent lamp and a white LED."""


@dataclass(frozen=True, slots=True)
class InLight:
    """The colour in one light.

    Parameters
    ----------
    light
        Which.
    lab
        CIELAB in it.
    inconstancy
        ΔE00 by which it seems to have moved from daylight once the eye has settled; 0 in daylight.
    """

    light: Light
    lab: tuple[float, float, float]
    inconstancy: float


@dataclass(frozen=True, slots=True)
class Change:
    """What something else would make of the colour.

    Parameters
    ----------
    what
        A ground's name, or what is done otherwise, in words.
    lab
        CIELAB.
    moved_de00
        ΔE00 from the recipe as it is.
    de00
        ΔE00 to the target; None without one.
    """

    what: str
    lab: tuple[float, float, float]
    moved_de00: float
    de00: float | None


def in_other_light(curves: Curves, recipe: Recipe, observer: int) -> tuple[InLight, ...]:
    """The colour in daylight, tungsten, fluorescent and LED light.

    Parameters
    ----------
    curves
        The learnt shelf.
    recipe
        What is sprayed.
    observer
        2 or 10 degrees.

    Raises
    ------
    FewtoneError
        The recipe names a toner or ground that was not learnt.
    """
    reference = Light(REFERENCE, observer)
    film = predict(curves, [recipe], reference).reflectance[0]
    here, white = xyz(film, curves.wavelength_nm, reference), white_point(reference)
    seen = []
    for name in (REFERENCE, *OTHERS):
        light = Light(name, observer)
        there, its_white = xyz(film, curves.wavelength_nm, light), white_point(light)
        moved = float(inconstancy(there, its_white, here, white))
        lab = lab_from_xyz(there, its_white)
        seen.append(InLight(light, _triple(lab), moved if name != REFERENCE else 0.0))
    return tuple(seen)


def over_other_grounds(
    curves: Curves, recipe: Recipe, light: Light, target: Target | None
) -> tuple[Change, ...]:
    """The same mix and coats over the other learnt grounds.

    Raises
    ------
    FewtoneError
        The recipe names a toner or ground that was not learnt.
    """
    others = [name for name in curves.grounds if name != recipe.ground]
    recipes = [recipe, *(recipe.with_(ground=name) for name in others)]
    return _changes(others, predict(curves, recipes, light).lab, target)


def with_other_film(
    curves: Curves, recipe: Recipe, light: Light, target: Target | None
) -> tuple[Change, ...]:
    """A coat less and more, and a film a tenth lighter and heavier.

    Raises
    ------
    FewtoneError
        The recipe names a toner or ground that was not learnt.
    """
    coats = float(recipe.coats)
    less, film, more = (
        float(curves.films(count)) for count in (max(coats - 1.0, 0.0), coats, coats + 1.0)
    )
    films = {"one coat more": more, "10 % light": 0.9 * film, "10 % heavy": 1.1 * film}
    if coats >= 1.0:
        films = {"one coat less": less, **films}
    one = recipe.with_(coats=1)
    build = np.array([film, *films.values()])
    return _changes(
        list(films), predict(curves, [one] * len(build), light, build=build).lab, target
    )


def _changes(names: Sequence[str], labs: FloatArray, target: Target | None) -> tuple[Change, ...]:
    """Changes of those names; the first row of Lab is the recipe as it is."""
    moved = delta_e_2000(labs[1:], labs[0])
    off = None if target is None else delta_e_2000(labs[1:], np.array(target.lab))
    return tuple(
        Change(
            name, _triple(labs[row + 1]), float(moved[row]), off if off is None else float(off[row])
        )
        for row, name in enumerate(names)
    )


def _triple(values: FloatArray) -> tuple[float, float, float]:
    return float(values[0]), float(values[1]), float(values[2])
