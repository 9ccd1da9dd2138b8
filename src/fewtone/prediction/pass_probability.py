"""How likely a fresh panel passes.

Model
    Everything that makes a fresh panel differ from its prediction is small, so Lab is taken to be
    linear in it and normal: the curves and the ground (as learning knows them), the film model's
    own error, the panel's film build, the pour of each component and the instrument
    (`fewtone.model.variation`). The chance to pass is the share of that normal distribution within
    the tolerance of the target; ΔE00 is no quadratic form, so the share is counted over fixed,
    evenly spread draws: the same answer every time.

Validity
    Variations of some percent in dose; recipes over grounds and of toners that were learnt.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from statistics import NormalDist

import numpy as np

from fewtone.colorimetry import Light, delta_e_2000
from fewtone.model.curves import Curves
from fewtone.model.recipe import Recipe
from fewtone.model.shelf import Measurement, Mixing
from fewtone.model.variation import film_build_sd, pour_deviations
from fewtone.prediction.forward import (
    lab_jacobian_of,
    lab_of,
    recipe_doses,
    reflectance_derivatives,
)
from fewtone.prediction.uncertainty import lab_deviations, reflectance_deviations
from fewtone.typing import FloatArray, FloatLike, frozen

__all__ = ["pass_probability"]

_DRAWS = 2048


def pass_probability(
    curves: Curves,
    mixing: Mixing,
    measurement: Measurement,
    recipes: Sequence[Recipe],
    target_lab: FloatLike,
    light: Light,
    tolerance: float,
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

    Returns
    -------
    Shape ``(n_recipes,)``; None where learning carries no uncertainty.

    Raises
    ------
    FewtoneError
        A recipe names a toner or ground that was not learnt.
    """
    doses, ground = recipe_doses(curves, recipes)
    film = reflectance_derivatives(curves, doses, ground)
    deviations = reflectance_deviations(curves, film, doses, ground)
    if deviations is None:
        return None
    lab = lab_of(curves, film.reflectance, light)
    off = lab_deviations(curves, film.reflectance, deviations, light)
    jacobian = lab_jacobian_of(curves, film.reflectance, light)
    draws = _normal_draws()
    chances = []
    for row, recipe in enumerate(recipes):
        has = np.flatnonzero(doses[row])
        d_log_dose = film.d_tau[row] * curves.absorption[has]
        d_log_dose = d_log_dose + film.d_scattering[row] * curves.scattering[has]
        d_log_dose = (doses[row, has, np.newaxis] * d_log_dose) @ jacobian[row].T
        coats = float(recipe.coats)
        volume = doses[row, has] / coats if coats else np.zeros(has.size)
        varied = np.vstack(
            [
                off[row],
                film_build_sd(coats, mixing) * d_log_dose.sum(axis=0),
                pour_deviations(volume, mixing) @ d_log_dose,
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
