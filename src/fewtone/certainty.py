"""How sure a predicted colour is, and how likely a fresh panel passes.

Model
    Everything that makes a fresh panel differ from its prediction is small, so Lab is taken to be
    linear in it and normal: the curves and the ground (as learning knows them), the film model's
    own error, the panel's film build (`panel_cv`, and `coat_cv` for each of its coats), the pour
    of each component (`pour_cv`), and the instrument (`repeat_sd`). The chance to pass is the
    share of that normal distribution within the tolerance of the target; ΔE00 is no quadratic
    form, so the share is counted over fixed, evenly spread draws: the same answer every time.

Validity
    Variations of some percent in dose; recipes over grounds and of toners that were learnt.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from statistics import NormalDist

import numpy as np

from fewtone.colorimetry import Light, delta_e_2000, lab_slopes, weights, white_point
from fewtone.model.curves import Curves
from fewtone.model.recipe import Recipe
from fewtone.model.shelf import Measurement, Mixing
from fewtone.optics.film import FilmSlopes
from fewtone.typing import FloatArray, FloatLike, IntArray, frozen

__all__ = [
    "film_slopes",
    "lab_deviations",
    "lab_link",
    "pass_probability",
    "reflectance_deviations",
]

_DRAWS = 2048


def film_slopes(
    curves: Curves, fractions: FloatArray, load: FloatArray, ground: IntArray
) -> FilmSlopes:
    """Reflectance of blends over their grounds, and its slopes; `film_reflectance`'s arguments."""
    dose = fractions * load[:, np.newaxis]
    scattering = dose @ curves.scattering if curves.scattering.any() else None
    rho, trap = curves.ground_reflectance[ground], curves.trap[ground, np.newaxis]
    return curves.optics.reflectance_slopes(dose @ curves.absorption, rho, trap, scattering)


def lab_link(curves: Curves, reflectance: FloatArray, light: Light) -> FloatArray:
    """Slopes of Lab in reflectance, shape ``(n_recipes, 3, n_wavelengths)``."""
    matrix = weights(curves.wavelength_nm, light)
    return lab_slopes(reflectance @ matrix, white_point(light)) @ matrix.T


def reflectance_deviations(
    curves: Curves, fractions: FloatArray, load: FloatArray, ground: IntArray
) -> FloatArray | None:
    """How reflectance deviates in each direction in which the curves and grounds may be off.

    Parameters
    ----------
    curves
        The learnt shelf.
    fractions, load, ground
        As `fewtone.predict.film_reflectance` takes them.

    Returns
    -------
    Shape ``(n_recipes, n_directions, n_wavelengths)``: the covariance is the sum over the
    directions of the outer product of the deviation with itself. None where learning carries no
    certainty.
    """
    sure = curves.certainty
    if sure is None:
        return None
    film = film_slopes(curves, fractions, load, ground)
    dose = fractions * load[:, np.newaxis]
    off = np.empty((len(dose), len(sure.trap), len(curves.wavelength_nm)))
    hazy = bool(sure.scattering.any())
    for row, (share, place) in enumerate(zip(dose, ground, strict=True)):
        has = np.flatnonzero(share)
        bend = film.by_tau[row] * np.tensordot(share[has], sure.absorption[:, has], (0, 1))
        if hazy:
            scattered = np.tensordot(share[has], sure.scattering[:, has], (0, 1))
            bend += film.by_scattering[row] * scattered
        bend += film.by_ground[row] * sure.ground_reflectance[:, place]
        off[row] = bend + film.by_trap[row] * sure.trap[:, place, np.newaxis]
    return off


def lab_deviations(
    curves: Curves, reflectance: FloatArray, deviations: FloatArray, light: Light
) -> FloatArray:
    """How Lab deviates, the film model's own error included.

    Parameters
    ----------
    curves
        The learnt shelf.
    reflectance
        Predicted reflectance [1], shape ``(n_recipes, n_wavelengths)``.
    deviations
        As `reflectance_deviations` gives them.
    light
        Illuminant and observer of the Lab values.

    Returns
    -------
    Shape ``(n_recipes, n_directions, 3)``, to be read as `reflectance_deviations` is.
    """
    sure = curves.certainty
    own = sure.model_sd * np.eye(3) if sure else np.zeros((0, 3))
    bent = deviations @ lab_link(curves, reflectance, light).swapaxes(1, 2)
    return np.concatenate([bent, np.broadcast_to(own, (len(bent), *own.shape))], axis=1)


def pass_probability(
    curves: Curves,
    mixing: Mixing,
    measurement: Measurement,
    recipes: Sequence[Recipe],
    target_lab: FloatLike,
    light: Light,
    tolerance: float,
    *,
    arrays: tuple[FloatArray, FloatArray, IntArray],
    lab: FloatArray,
) -> FloatArray | None:
    """Chance that a fresh panel sprayed from each recipe reads within tolerance of the target.

    Parameters
    ----------
    curves
        The learnt shelf.
    mixing, measurement
        How hand, pour and instrument vary.
    recipes
        What is sprayed.
    target_lab, light, tolerance
        The target's CIELAB, its illuminant and observer, and the ΔE00 that passes.
    arrays
        The recipes as `fewtone.predict.recipe_arrays` gives them.
    lab
        Their predicted CIELAB, shape ``(n_recipes, 3)``.

    Returns
    -------
    Shape ``(n_recipes,)``; None where learning carries no certainty.
    """
    fractions, load, ground = arrays
    deviations = reflectance_deviations(curves, fractions, load, ground)
    if deviations is None:
        return None
    film = film_slopes(curves, fractions, load, ground)
    off = lab_deviations(curves, film.reflectance, deviations, light)
    link = lab_link(curves, film.reflectance, light)
    draws = _normal_draws()
    chances = []
    for row, recipe in enumerate(recipes):
        dose = fractions[row] * load[row]
        has = np.flatnonzero(dose)
        by_log_dose = film.by_tau[row] * curves.absorption[has]
        by_log_dose = by_log_dose + film.by_scattering[row] * curves.scattering[has]
        by_log_dose = (dose[has, np.newaxis] * by_log_dose) @ link[row].T
        whole = by_log_dose.sum(axis=0)
        coats = max(float(recipe.coats), 1.0)
        build = np.hypot(mixing.panel_cv, mixing.coat_cv / np.sqrt(coats))
        # More of one component is a greater share of it and a smaller one of all others.
        part = fractions[row, has] / (1.0 + float(recipe.medium_parts))
        medium = 1.0 - part.sum()
        pours = np.vstack([by_log_dose - np.outer(part, whole), -medium * whole])
        varied = np.vstack(
            [
                off[row],
                build * whole,
                mixing.pour_cv * pours,
                measurement.repeat_sd * np.eye(3),
            ]
        )
        panels = lab[row] + draws @ _root(varied.T @ varied)
        chances.append(np.mean(delta_e_2000(panels, target_lab) <= tolerance))
    return np.array(chances)


def _root(covariance: FloatArray) -> FloatArray:
    """Symmetric square root of a 3 x 3 covariance."""
    values, vectors = np.linalg.eigh(covariance)
    return np.asarray((vectors * np.sqrt(np.maximum(values, 0.0))) @ vectors.T)


@lru_cache(maxsize=1)
def _normal_draws() -> FloatArray:
    """Evenly spread standard normal draws, ``(n_draws, 3)``, always the same."""
    # The additive recurrence of the third plastic number: M. Roberts, 2018 (from memory).
    ratio = 1.2207440846057596
    steps = ratio ** -np.arange(1.0, 4.0)
    uniform = (0.5 + np.outer(np.arange(1, _DRAWS + 1), steps)) % 1.0
    inverse = NormalDist().inv_cdf
    draws = np.array([[inverse(float(u)) for u in row] for row in uniform])
    # Exactly no shift and no skew: what is asked for is the spread.
    draws -= draws.mean(axis=0)
    return frozen(draws @ np.linalg.inv(_root(np.cov(draws, rowvar=False))))
