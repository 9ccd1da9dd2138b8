"""The predicted colour of recipes, and how far it may be off."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from fewtone.colorimetry import Light
from fewtone.model.curves import Curves
from fewtone.model.recipe import Recipe
from fewtone.prediction.forward import departures_of, lab_of, recipe_doses, reflectance
from fewtone.prediction.uncertainty import interval_half_width, standard_deviations
from fewtone.tables import data_frame, lab_columns
from fewtone.typing import FloatArray, FloatLike, frozen

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Prediction", "predict"]


@dataclass(frozen=True, slots=True, eq=False)
class Prediction:
    """The predicted colour of some recipes.

    Parameters
    ----------
    recipes
        What is sprayed.
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
        where they were not asked for, or learning carries none.
    """

    recipes: tuple[Recipe, ...]
    wavelength_nm: FloatArray
    reflectance: FloatArray
    light: Light
    lab: FloatArray
    reflectance_sd: FloatArray | None = None
    lab_sd: FloatArray | None = None

    def lab_interval(self, share: float = 0.95) -> tuple[FloatArray, FloatArray] | None:
        """Between what each Lab coordinate lies, ``(n_recipes, 3)`` each; None without `lab_sd`.

        Parameters
        ----------
        share
            How much of what is to come the interval holds, between 0 and 1.

        Raises
        ------
        ValueError
            The share is not between 0 and 1.
        """
        half_width = interval_half_width(share)
        if self.lab_sd is None:
            return None
        return frozen(self.lab - half_width * self.lab_sd), frozen(
            self.lab + half_width * self.lab_sd
        )

    def to_frame(self) -> pd.DataFrame:
        """A row for each recipe: the recipe, its Lab and their standard deviations, its spectrum.

        Columns ``recipe``, ``L``, ``a``, ``b``, then ``L_sd``, ``a_sd``, ``b_sd`` where they are
        known, then the reflectance factor [1] at each wavelength, named in nm.
        """
        rows: list[dict[str, Any]] = []
        for i, recipe in enumerate(self.recipes):
            row: dict[str, Any] = {"recipe": str(recipe), **lab_columns(self.lab[i])}
            if self.lab_sd is not None:
                row |= {f"{name}_sd": v for name, v in lab_columns(self.lab_sd[i]).items()}
            values = zip(self.wavelength_nm, self.reflectance[i], strict=True)
            rows.append(row | {f"{nm:g}": float(value) for nm, value in values})
        return data_frame(rows)


def predict(
    curves: Curves,
    recipes: Sequence[Recipe],
    light: Light,
    *,
    build: FloatLike = 1.0,
    deviations: bool = False,
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
    deviations
        Whether to work standard deviations out too, which takes longer.

    Raises
    ------
    FewtoneError
        A recipe names a toner or ground that was not learnt.
    """
    doses, ground = recipe_doses(curves, recipes)
    doses = doses * np.broadcast_to(build, len(recipes))[:, np.newaxis]
    film = reflectance(curves, doses, ground)
    reflectance_sd = lab_sd = None
    if deviations and curves.uncertainty is not None:
        reflectance_sd, lab_sd = standard_deviations(
            curves, doses, ground, light, departures_of(curves, recipes)
        )
    return Prediction(
        recipes=tuple(recipes),
        wavelength_nm=curves.wavelength_nm,
        reflectance=frozen(film),
        light=light,
        lab=frozen(lab_of(curves, film, light)),
        reflectance_sd=reflectance_sd,
        lab_sd=lab_sd,
    )
