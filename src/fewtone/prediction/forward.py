"""From doses to colour: the one place where curves become reflectance and Lab.

Model
    A film is known by its *doses*: of each toner, the standard coats of it that light crosses on
    the way down, coats/(1 + letdown) times its fraction of the blend, times the film build. Its
    optical depth is τ(λ) = Σ doseᵢ · aᵢ(λ) (Bouguer, Beer, Lambert: coats add and the order of the
    toners is irrelevant), its scattering depth likewise. The film over its ground then follows
    `fewtone.optics.film`.

What asks the optics otherwise has no curves yet: learning's starting points, from trial dyes and
bare grounds (`fewtone.learning.starts`), and the search's certified bounds
(`fewtone.search.bounds`), which never answer with a colour.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Protocol

import numpy as np

from fewtone.colorimetry import Light, lab_from_xyz, lab_jacobian, weights, white_point
from fewtone.errors import Fault, FewtoneError
from fewtone.model.curves import Curves
from fewtone.model.recipe import Recipe
from fewtone.model.variation import film_departures
from fewtone.optics.film import FilmOptics
from fewtone.optics.terms import FilmDerivatives
from fewtone.typing import FloatArray, IntArray

__all__ = [
    "OpticalConstants",
    "departures_of",
    "lab_jacobian_of",
    "lab_of",
    "lab_of_doses",
    "optics_derivatives",
    "recipe_dose",
    "recipe_doses",
    "reflectance",
    "reflectance_derivatives",
]


# Steps of differences; the first bit of edge does more than the next, so its step is small.
_INDEX_STEP, _EDGE_STEP = 0.01, 0.002


class OpticalConstants(Protocol):
    """What a film's colour is worked out from; a `Curves` is one.

    ``absorption`` and ``scattering`` are of one standard coat of each toner at unit volume fraction
    [1], ``(n_toners, n_wavelengths)``; ``ground_reflectance`` is inside the film [1],
    ``(n_grounds, n_wavelengths)``, ``return_ratio`` each ground's internal-return ratio [1],
    ``(n_grounds,)``; ``optics`` is the film's index and the instrument's geometry.
    """

    @property
    def absorption(self) -> FloatArray:
        """Absorption optical depth [1], ``(n_toners, n_wavelengths)``."""

    @property
    def scattering(self) -> FloatArray:
        """Scattering optical depth [1], ``(n_toners, n_wavelengths)``."""

    @property
    def ground_reflectance(self) -> FloatArray:
        """Reflectance inside the film [1], ``(n_grounds, n_wavelengths)``."""

    @property
    def return_ratio(self) -> FloatArray:
        """Internal-return ratio [1], ``(n_grounds,)``."""

    @property
    def optics(self) -> FilmOptics:
        """Geometry and film index."""


def recipe_doses(curves: Curves, recipes: Sequence[Recipe]) -> tuple[FloatArray, IntArray]:
    """Return recipes as arrays.

    Parameters
    ----------
    curves
        The learnt shelf.
    recipes
        What is sprayed.

    Returns
    -------
    doses
        Of each learnt toner [standard coats], with its strength at those coats and letdown, shape
        ``(n_recipes, n_toners)``.
    ground
        Row of each recipe's ground in `curves`, shape ``(n_recipes,)``.

    Raises
    ------
    FewtoneError
        A recipe names a toner or ground that was not learnt.
    """
    toners = {name: i for i, name in enumerate(curves.toners)}
    grounds = {name: i for i, name in enumerate(curves.grounds)}
    doses = np.zeros((len(recipes), len(toners)))
    try:
        for row, recipe in enumerate(recipes):
            strength = curves.strength(float(recipe.coats), float(recipe.medium_parts))
            for name, dose in recipe.doses.items():
                doses[row, toners[name]] = dose * strength
        ground = np.array([grounds[recipe.ground] for recipe in recipes], dtype=np.int64)
    except KeyError:
        raise FewtoneError(*_not_learnt(curves, recipes)) from None
    return doses, ground


def departures_of(curves: Curves, recipes: Sequence[Recipe]) -> FloatArray:
    """`film_departures` of recipes, log coats and doublings of the letdown, ``(n_recipes, 2)``."""
    coats = [float(recipe.coats) for recipe in recipes]
    letdowns = [float(recipe.medium_parts) for recipe in recipes]
    return film_departures(coats, letdowns, curves.middle_letdown)


def recipe_dose(curves: Curves, recipe: Recipe) -> FloatArray:
    """A recipe's dose of each learnt toner [standard coats], shape ``(n_toners,)``.

    Raises
    ------
    FewtoneError
        The recipe names a toner or ground that was not learnt.
    """
    return np.asarray(recipe_doses(curves, [recipe])[0][0])


def reflectance(constants: OpticalConstants, doses: FloatArray, ground: IntArray) -> FloatArray:
    """Reflectance of films over their grounds.

    Parameters
    ----------
    constants
        The learnt shelf, or what learning tries.
    doses
        Of each learnt toner [standard coats], shape ``(..., n_toners)``.
    ground
        Row of each film's ground, broadcasts with the axes of `doses` before the last: films
        ``(n, 1, n_toners)`` over grounds ``(n_grounds,)`` work out what a film does by itself once
        for all grounds.

    Returns
    -------
    Reflectance factor [1], shape ``(..., n_wavelengths)``.
    """
    return constants.optics.reflectance(*_film(constants, doses, ground))


def reflectance_derivatives(
    constants: OpticalConstants, doses: FloatArray, ground: IntArray
) -> FilmDerivatives:
    """`reflectance` of the same arguments, with its derivatives."""
    return constants.optics.reflectance_derivatives(*_film(constants, doses, ground))


def optics_derivatives(
    constants: OpticalConstants, doses: FloatArray, ground: IntArray
) -> tuple[FloatArray, FloatArray]:
    """∂R/∂index of the film and ∂R/∂edge [1], absorption held; each ``(..., n_wavelengths)``.

    Differences of two clear films: what scatters in a film leans on either far less.

    Parameters
    ----------
    constants, doses, ground
        As `reflectance` takes them.
    """
    tau, rho, ratio, _ = _film(constants, doses, ground)
    optics = constants.optics
    here = optics.reflectance(tau, rho, ratio)
    index, edge = (
        (other.reflectance(tau, rho, ratio) - here) / step
        for step, other in (
            (_INDEX_STEP, replace(optics, index=optics.index + _INDEX_STEP)),
            (_EDGE_STEP, replace(optics, edge=optics.edge + _EDGE_STEP)),
        )
    )
    return index, edge


def _film(
    constants: OpticalConstants, doses: FloatArray, ground: IntArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray | None]:
    """τ = dose · a, the ground and its return ratio, and s = dose · scattering where any is."""
    scattering = doses @ constants.scattering if constants.scattering.any() else None
    rho, ratio = constants.ground_reflectance[ground], constants.return_ratio[ground, np.newaxis]
    return doses @ constants.absorption, rho, ratio, scattering


def lab_of(curves: Curves, reflectance: FloatArray, light: Light) -> FloatArray:
    """CIELAB of reflectance at the curves' wavelengths, shape ``(..., 3)``.

    Parameters
    ----------
    curves
        The learnt shelf.
    reflectance
        Reflectance factor [1], shape ``(..., n_wavelengths)``.
    light
        Illuminant and observer.
    """
    xyz = reflectance @ weights(curves.wavelength_nm, light)
    return lab_from_xyz(xyz, white_point(light))


def lab_of_doses(curves: Curves, doses: FloatArray, ground: str, light: Light) -> FloatArray:
    """CIELAB of doses ``(..., n_toners)`` over the ground of that name, shape ``(..., 3)``.

    Parameters
    ----------
    curves
        The learnt shelf.
    doses
        Of each learnt toner [standard coats], shape ``(..., n_toners)``.
    ground
        The ground's name.
    light
        Illuminant and observer.
    """
    row = np.asarray(curves.grounds.index(ground))
    return lab_of(curves, reflectance(curves, doses, row), light)


def lab_jacobian_of(curves: Curves, reflectance: FloatArray, light: Light) -> FloatArray:
    """∂Lab/∂R of reflectance ``(n, n_wavelengths)``, shape ``(n, 3, n_wavelengths)``.

    Parameters
    ----------
    curves
        The learnt shelf.
    reflectance
        Reflectance factor [1], shape ``(n, n_wavelengths)``.
    light
        Illuminant and observer.
    """
    matrix = weights(curves.wavelength_nm, light)
    return lab_jacobian(reflectance @ matrix, white_point(light)) @ matrix.T


def _not_learnt(curves: Curves, recipes: Iterable[Recipe]) -> list[Fault]:
    return [
        Fault(
            f"'{name}' is not among the learnt {what}: {', '.join(known)}.",
            fix="Correct the name, or read panels of it and run `fewtone learn`.",
            value=str(recipe),
        )
        for recipe in recipes
        for names, known, what in (
            (recipe.blend, curves.toners, "toners"),
            ((recipe.ground,), curves.grounds, "grounds"),
        )
        for name in names
        if name not in known
    ]
