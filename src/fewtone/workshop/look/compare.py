"""Recipes side by side: colour, every ground, every light, chance, unevenness and cost."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from fewtone.colorimetry import Light, delta_e_2000
from fewtone.errors import Fault, UsageError
from fewtone.match.judging import describe_all, judge_all
from fewtone.match.result import Match
from fewtone.model.curves import Curves
from fewtone.model.recipe import Recipe
from fewtone.model.shelf import ShelfSettings
from fewtone.model.target import Target
from fewtone.prediction.recipes import predict
from fewtone.typing import FloatArray
from fewtone.workshop.look.grounds import ground_cautions
from fewtone.workshop.look.steadiness import InLight, in_other_light
from fewtone.workshop.pour.mix import MEDIUM, prices, require_names, shares, stock_cautions

__all__ = ["Compared", "Comparison", "Seen", "compare"]

_LEAST = 2


@dataclass(frozen=True, slots=True)
class Seen:
    """A colour beside another.

    Parameters
    ----------
    lab
        CIELAB.
    de00
        ΔE00 to what it is compared with.
    """

    lab: tuple[float, float, float]
    de00: float


@dataclass(frozen=True, slots=True, eq=False)
class Compared:
    """One of the recipes.

    Parameters
    ----------
    match
        The recipe with its colour, judged against the target if there is one.
    from_first
        ΔE00 from the first recipe as each is sprayed, in the target's light.
    grounds
        The same mix and coats over each learnt ground: its colour, and ΔE00 to the target, or
        without one to the first recipe over that ground.
    lights
        Its colour in daylight, tungsten, fluorescent and LED light.
    lights_from_first
        ΔE00 from the first recipe in each of those lights.
    cost_per_litre, cost_per_m2
        Of the mixed paint, by the prices in shelf.toml, and of all its coats on a square metre;
        None where a price, or ``ml_per_m2``, is missing.
    """

    match: Match
    from_first: float
    grounds: Mapping[str, Seen]
    lights: tuple[InLight, ...]
    lights_from_first: tuple[float, ...]
    cost_per_litre: float | None
    cost_per_m2: float | None


@dataclass(frozen=True, slots=True, eq=False)
class Comparison:
    """Recipes side by side.

    Parameters
    ----------
    recipes
        In the order given.
    light
        Illuminant and observer of their Lab values.
    target
        What they were judged against; None without one.
    tolerance
        ΔE00 that passes.
    cautions
        What should be told about them.
    """

    recipes: tuple[Compared, ...]
    light: Light
    target: Target | None
    tolerance: float
    cautions: tuple[str, ...]


def compare(
    curves: Curves,
    settings: ShelfSettings,
    recipes: Sequence[Recipe],
    *,
    target: Target | None = None,
    light: Light | None = None,
    tolerance: float | None = None,
) -> Comparison:
    """Look at recipes side by side.

    Parameters
    ----------
    curves, settings
        The learnt shelf.
    recipes
        Two or more; a recipe that is given twice stands once.
    target
        What was asked for, if anything.
    light
        The light to predict colours in where there is no target; the shelf's own if None.
    tolerance
        ΔE00 that passes; the shelf's own if None.

    Raises
    ------
    UsageError
        Fewer than two recipes, or one names what the shelf does not have or has not learnt.
    """
    recipes = list(dict.fromkeys(recipes))
    if len(recipes) < _LEAST:
        raise UsageError(
            Fault(
                "Comparing takes at least two different recipes.",
                fix="Name another; `fewtone check` looks at a single one.",
            )
        )
    for recipe in recipes:
        require_names(recipe, settings)
    under = target.light if target else light or settings.measurement.light
    passing = settings.mixing.tolerance if tolerance is None else tolerance
    if target is None:
        judged = describe_all(curves, recipes, under)
    else:
        judged = judge_all(curves, settings, recipes, target, passing)
    over = [recipe.with_(ground=ground) for recipe in recipes for ground in curves.grounds]
    labs = predict(curves, over, under).lab.reshape(len(recipes), -1, 3)
    aims = np.array(target.lab) if target else labs[0]
    off = delta_e_2000(labs, aims)
    recipe_labs = np.array([match.lab for match in judged])
    from_first = delta_e_2000(recipe_labs, recipe_labs[0])
    lights = [in_other_light(curves, recipe, under.observer) for recipe in recipes]
    in_lights = np.array([[seen.lab for seen in row] for row in lights])
    lights_off = delta_e_2000(in_lights, in_lights[0])
    costs = [_cost(recipe, settings) for recipe in recipes]
    return Comparison(
        recipes=tuple(
            Compared(
                match=match,
                from_first=float(from_first[row]),
                grounds={
                    ground: Seen(_triple(labs[row, column]), float(off[row, column]))
                    for column, ground in enumerate(curves.grounds)
                },
                lights=lights[row],
                lights_from_first=tuple(lights_off[row].tolist()),
                cost_per_litre=costs[row],
                cost_per_m2=_per_square_metre(match.recipe, costs[row], settings),
            )
            for row, match in enumerate(judged)
        ),
        light=under,
        target=target,
        tolerance=passing,
        cautions=(
            *_cautions(recipes, settings),
            *ground_cautions((recipe.ground for recipe in recipes), curves),
        ),
    )


def _cost(recipe: Recipe, settings: ShelfSettings) -> float | None:
    """Of a litre of mixed paint; additives without a price cost nothing, and that is told."""
    known, parts = prices(settings), shares(recipe, settings)
    if any(name not in known for name in (*recipe.blend, MEDIUM)):
        return None
    return float(
        sum(share * Fraction(known[name]) for name, share in parts.items() if name in known)
    )


def _per_square_metre(recipe: Recipe, cost: float | None, settings: ShelfSettings) -> float | None:
    if cost is None or settings.mixing.ml_per_m2 is None:
        return None
    return cost * float(settings.mixing.ml_per_m2) * float(recipe.coats) / 1000.0


def _cautions(recipes: Sequence[Recipe], settings: ShelfSettings) -> list[str]:
    toners = list(dict.fromkeys(name for recipe in recipes for name in recipe.blend))
    cautions = stock_cautions(toners, settings)
    known = prices(settings)
    needed = dict.fromkeys(name for recipe in recipes for name in shares(recipe, settings))
    unpriced = [name for name in needed if name not in known]
    if unpriced and len(unpriced) < len(needed):
        cautions.append(f"No price in shelf.toml, so not in the cost: {', '.join(unpriced)}.")
    return cautions


def _triple(lab: FloatArray) -> tuple[float, float, float]:
    return float(lab[0]), float(lab[1]), float(lab[2])
