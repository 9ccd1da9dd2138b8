"""The colour of doses: what the bench works with where a mix is not quite a recipe.

A dose is a toner's share of the film in standard coats: coats/(1 + letdown) times its fraction of
the blend. Colour knows nothing else of a recipe but its doses and its ground.
"""

from __future__ import annotations

import numpy as np

from fewtone.colorimetry import Light
from fewtone.model.curves import Curves
from fewtone.model.recipe import Recipe
from fewtone.predict import film_reflectance, lab_of, recipe_arrays
from fewtone.typing import FloatArray

__all__ = ["dose_of", "lab_of_doses"]


def dose_of(curves: Curves, recipe: Recipe) -> FloatArray:
    """A recipe's dose of each learnt toner [standard coats], shape ``(n_toners,)``.

    Raises
    ------
    FewtoneError
        The recipe names a toner or ground that was not learnt.
    """
    fractions, load, _ = recipe_arrays(curves, [recipe])
    return np.asarray(fractions[0] * load[0])


def lab_of_doses(curves: Curves, doses: FloatArray, ground: str, light: Light) -> FloatArray:
    """CIELAB of doses over one ground.

    Parameters
    ----------
    curves
        The learnt shelf.
    doses
        Of each learnt toner [standard coats], shape ``(..., n_toners)``.
    ground
        Its name.
    light
        Illuminant and observer.

    Returns
    -------
    Shape ``(..., 3)``.
    """
    flat = doses.reshape(-1, doses.shape[-1])
    place = np.full(len(flat), curves.grounds.index(ground), dtype=np.int64)
    film = film_reflectance(curves, flat, np.ones(len(flat)), place)
    return lab_of(curves, film, light).reshape(*doses.shape[:-1], 3)
