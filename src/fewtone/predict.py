"""From recipes to colour: the one place where curves become reflectance and Lab.

Model
    A blend's film has the optical depth τ(λ) = load · Σ fraction_i · a_i(λ), load being
    coats/(1 + letdown) (Bouguer, Beer, Lambert: coats add and the order of the toners is
    irrelevant). The film over its ground then follows `fewtone.optics.film`.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from fewtone.certainty import lab_deviations, reflectance_deviations
from fewtone.colorimetry import Light, lab_from_xyz, weights, white_point
from fewtone.errors import Fault, FewtoneError
from fewtone.model.curves import Curves
from fewtone.model.recipe import Recipe
from fewtone.typing import FloatArray, FloatLike, IntArray, frozen

__all__ = ["Prediction", "film_reflectance", "lab_of", "predict", "recipe_arrays"]


@dataclass(frozen=True, slots=True, eq=False)
class Prediction:
    """The predicted colour of some recipes.

    Parameters
    ----------
    wavelength_nm
        [nm], shape ``(n_wavelengths,)``.
    reflectance
        Reflectance factor [1], shape ``(n_recipes, n_wavelengths)``.
    light
        The light of `lab`.
    lab
        CIELAB, shape ``(n_recipes, 3)``.
    reflectance_sd, lab_sd
        Their standard deviations by the uncertainty of curves and ground, shaped like them; None
        where learning carries none.
    """

    wavelength_nm: FloatArray
    reflectance: FloatArray
    light: Light
    lab: FloatArray
    reflectance_sd: FloatArray | None = None
    lab_sd: FloatArray | None = None


def predict(
    curves: Curves, recipes: Sequence[Recipe], light: Light, *, build: FloatLike = 1.0
) -> Prediction:
    """Predict the colour of recipes.

    Parameters
    ----------
    curves
        The learnt shelf.
    recipes
        What is sprayed.
    light
        Illuminant and observer of the Lab values.
    build
        Film build relative to a standard coat [1], broadcasts over the recipes.

    Raises
    ------
    FewtoneError
        A recipe names a toner or ground that was not learnt.
    """
    fractions, load, ground = recipe_arrays(curves, recipes)
    reflectance = film_reflectance(curves, fractions, load * np.asarray(build), ground)
    lab = lab_of(curves, reflectance, light)
    off = reflectance_deviations(curves, fractions, load * np.asarray(build), ground)
    reflectance_sd = lab_sd = None
    if off is not None:
        reflectance_sd = _spread(off)
        lab_sd = _spread(lab_deviations(curves, reflectance, off, light))
    return Prediction(
        wavelength_nm=curves.wavelength_nm,
        reflectance=frozen(reflectance),
        light=light,
        lab=frozen(lab),
        reflectance_sd=reflectance_sd,
        lab_sd=lab_sd,
    )


def _spread(deviations: FloatArray) -> FloatArray:
    """Standard deviation of independent deviations, which stand on the middle axis."""
    return frozen(np.sqrt((deviations**2).sum(axis=1)))


def recipe_arrays(
    curves: Curves, recipes: Sequence[Recipe]
) -> tuple[FloatArray, FloatArray, IntArray]:
    """Return recipes as arrays: fractions ``(n_recipes, n_toners)``, load and ground index.

    Raises
    ------
    FewtoneError
        A recipe names a toner or ground that was not learnt.
    """
    toners = {name: i for i, name in enumerate(curves.toners)}
    grounds = {name: i for i, name in enumerate(curves.grounds)}
    fractions, load = np.zeros((len(recipes), len(toners))), np.empty(len(recipes))
    try:
        for row, recipe in enumerate(recipes):
            blend, medium_parts, coats = recipe.blend, recipe.medium_parts, recipe.coats
            if all(type(part) is int for part in (*blend.values(), medium_parts, coats)):
                # As exact as by fractions, and many times as fast.
                whole = sum(blend.values())
                for name, part in blend.items():
                    fractions[row, toners[name]] = part / whole
                load[row] = coats / (1 + medium_parts)
            else:
                for name, share in recipe.fractions.items():
                    fractions[row, toners[name]] = float(share)
                load[row] = float(recipe.load)
        place = np.array([grounds[recipe.ground] for recipe in recipes], dtype=np.int64)
    except KeyError:
        raise FewtoneError(*_not_learnt(toners, grounds, recipes)) from None
    return fractions, load, place


def _not_learnt(
    toners: Collection[str], grounds: Collection[str], recipes: Iterable[Recipe]
) -> list[Fault]:
    return [
        Fault(
            f"'{name}' is not among the learnt {what}: {', '.join(known)}.",
            fix="Correct the name, or read panels of it and run `fewtone learn`.",
            value=str(recipe),
        )
        for recipe in recipes
        for names, known, what in (
            (recipe.blend, toners, "toners"),
            ((recipe.ground,), grounds, "grounds"),
        )
        for name in names
        if name not in known
    ]


def film_reflectance(
    curves: Curves, fractions: FloatArray, load: FloatLike, ground: IntArray
) -> FloatArray:
    """Reflectance of blends over their grounds.

    Parameters
    ----------
    fractions
        Volume fractions of the toners in each blend [1], shape ``(n_recipes, n_toners)``.
    load
        Coats/(1 + letdown), times the film build [1], shape ``(n_recipes,)``.
    ground
        Row of each recipe's ground in `curves`, shape ``(n_recipes,)``.

    Returns
    -------
    Reflectance factor [1], shape ``(n_recipes, n_wavelengths)``.

    Notes
    -----
    Axes before the last broadcast: films ``(n, 1)`` over grounds ``(n_grounds,)`` work out what a
    film does by itself once for all grounds.
    """
    dose = fractions * np.asarray(load)[..., np.newaxis]
    scattering = dose @ curves.scattering if curves.scattering.any() else None
    rho, trap = curves.ground_reflectance[ground], curves.trap[ground, np.newaxis]
    return curves.optics.reflectance(dose @ curves.absorption, rho, trap, scattering)


def lab_of(curves: Curves, reflectance: FloatArray, light: Light) -> FloatArray:
    """CIELAB of reflectance at the curves' wavelengths, shape ``(..., 3)``."""
    xyz = reflectance @ weights(curves.wavelength_nm, light)
    return lab_from_xyz(xyz, white_point(light))
