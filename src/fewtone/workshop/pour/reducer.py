"""What another share of reducer than the house's usual does to colour and coats.

A wetter coat holds less toner: its optical depth is scaled by (1 + r₀)/(1 + r), r₀ being the usual
share of reducer and r the one used, by volume of medium + blend.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from fewtone.colorimetry import delta_e_2000
from fewtone.model.curves import Curves
from fewtone.model.recipe import Recipe
from fewtone.model.shelf import ShelfSettings
from fewtone.prediction.forward import lab_of_doses, recipe_dose
from fewtone.workshop.pour.mix import thinning

__all__ = ["ReducerEffect", "reducer_effect"]


@dataclass(frozen=True, slots=True)
class ReducerEffect:
    """What another share of reducer than the house's usual does.

    Parameters
    ----------
    percent, usual_percent
        What is added here and usually, percent by volume of medium + blend.
    strength
        The factor on the optical depth of a coat.
    lab, de00
        The colour at the recipe's coats, and how far it is from the recipe's own.
    coats_needed
        Coats that would lay down the same colour; exact where later ones lie as thick as earlier.
    whole_coats, whole_coats_de00
        The whole number of coats that comes nearest, and how near.
    """

    percent: Fraction
    usual_percent: Fraction
    strength: Fraction
    lab: tuple[float, float, float]
    de00: float
    coats_needed: Fraction
    whole_coats: int
    whole_coats_de00: float


def reducer_effect(
    curves: Curves, settings: ShelfSettings, recipe: Recipe, reducer_percent: Fraction | None
) -> ReducerEffect | None:
    """Work out what a share of reducer does; None where it is the usual one.

    Parameters
    ----------
    curves, settings
        The learnt shelf.
    recipe
        What is sprayed.
    reducer_percent
        Percent by volume of medium + blend; the usual if None.

    Raises
    ------
    FewtoneError
        The recipe names a toner or ground that was not learnt.
    """
    strength = thinning(settings, reducer_percent)
    if reducer_percent is None or strength == 1:
        return None
    dose, coats = recipe_dose(curves, recipe), Fraction(recipe.coats)
    # Film goes with coats^(1 - thinning).
    needed = coats / strength
    if curves.thinning:
        needed = coats * Fraction(float(strength) ** (-1.0 / (1.0 - curves.thinning)))
    around = sorted({max(int(needed), 1), int(needed) + 1})
    per_film = dose * float(strength) / float(curves.films(float(coats or 1)))
    films = curves.films(around)[:, np.newaxis]
    doses = np.stack([dose, dose * float(strength), *(per_film * films)])
    labs = lab_of_doses(curves, doses, recipe.ground, settings.measurement.light)
    moved = delta_e_2000(labs[1:], labs[0])
    nearest = int(np.argmin(moved[1:]))
    return ReducerEffect(
        percent=reducer_percent,
        usual_percent=Fraction(settings.house_reducer_percent),
        strength=strength,
        lab=(float(labs[1, 0]), float(labs[1, 1]), float(labs[1, 2])),
        de00=float(moved[0]),
        coats_needed=needed,
        whole_coats=around[nearest],
        whole_coats_de00=float(moved[1 + nearest]),
    )
