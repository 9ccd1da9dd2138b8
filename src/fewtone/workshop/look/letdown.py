"""The colour at each coat over each ground, as a strip masked in steps would show it.

Between whole coats the colour is followed finely, so that where a strip comes nearest to a target
and from which coat on it overshoots are told of the film itself, not of the coats alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from fewtone.colorimetry import Light, delta_e_2000
from fewtone.errors import Fault, UsageError
from fewtone.match.judging import judge_all
from fewtone.model.curves import Curves
from fewtone.model.names import Names
from fewtone.model.recipe import Recipe
from fewtone.model.shelf import MOST_COATS, ShelfSettings
from fewtone.model.target import Target
from fewtone.prediction.forward import lab_of, recipe_dose, reflectance
from fewtone.typing import FloatArray
from fewtone.workshop.look.grounds import ground_cautions
from fewtone.workshop.pour.mix import require_names, stock_cautions

__all__ = ["Letdown", "Step", "Strip", "letdown"]

# Between whole coats the strip is followed in hundredths: far below what a hand can lay down.
_PER_COAT = 100


@dataclass(frozen=True, slots=True)
class Step:
    """One coat of a strip.

    Parameters
    ----------
    ground, coats
        Where.
    lab
        CIELAB.
    de00
        ΔE00 to the target; None without one.
    step_de00
        ΔE00 from the coat before; None for the bare ground.
    pass_probability
        Chance that a fresh panel of so many coats passes; None for the bare ground, without a
        target, and where learning carries no uncertainty.
    """

    ground: str
    coats: int
    lab: tuple[float, float, float]
    de00: float | None
    step_de00: float | None
    pass_probability: float | None = None


@dataclass(frozen=True, slots=True)
class Strip:
    """All coats over one ground.

    Parameters
    ----------
    ground
        Its name.
    steps
        From the bare ground to the last coat.
    nearest
        The step that comes nearest to the target; None without one.
    best_coats
        Where between coats the film itself comes nearest; None without a target.
    overshoots_from
        The first whole coat beyond that; None where the strip does not get there.
    """

    ground: str
    steps: tuple[Step, ...]
    nearest: Step | None
    best_coats: float | None
    overshoots_from: int | None


@dataclass(frozen=True, slots=True)
class Letdown:
    """A recipe's strips.

    Parameters
    ----------
    recipe
        What is sprayed; its coats and ground play no part.
    light
        Illuminant and observer of the Lab values.
    target
        What it was compared with; None without one.
    strips
        One for each ground.
    cautions
        What should be told.
    """

    recipe: Recipe
    light: Light
    target: Target | None
    strips: tuple[Strip, ...]
    cautions: tuple[str, ...]

    @property
    def nearest(self) -> Step | None:
        """The step of all that comes nearest; None without a target."""
        nearest_steps = [strip.nearest for strip in self.strips if strip.nearest is not None]
        return min(nearest_steps, key=lambda step: step.de00 or 0.0) if nearest_steps else None


def letdown(
    curves: Curves,
    settings: ShelfSettings,
    recipe: Recipe,
    *,
    target: Target | None = None,
    light: Light | None = None,
    grounds: Sequence[str] | None = None,
    most_coats: int | None = None,
    tolerance: float | None = None,
) -> Letdown:
    """Predict the colour at each coat over each ground.

    Parameters
    ----------
    curves, settings
        The learnt shelf.
    recipe
        What is sprayed.
    target
        What was asked for, if anything.
    light
        The light to predict in where there is no target; the shelf's own if None.
    grounds
        Over which; all that are learnt if None.
    most_coats
        The last coat; the shop's most, or the recipe's if that is more, if None.
    tolerance
        ΔE00 that passes; the shelf's own if None.

    Raises
    ------
    FewtoneError
        A name that the shelf does not have or has not learnt, or coats out of range.
    """
    require_names(recipe, settings)
    last = most_coats
    if last is None:
        last = max(settings.mixing.coats[1], int(np.ceil(float(recipe.coats))))
    if not 1 <= last <= MOST_COATS:
        raise UsageError(
            Fault(f"A strip has 1 to {MOST_COATS} coats.", fix="Correct it.", value=str(last))
        )
    under = target.light if target else light or settings.measurement.light
    chosen = _grounds(curves, settings, grounds)
    one_coat = recipe_dose(curves, recipe.with_(coats=1))
    strips = [_strip(curves, ground, one_coat, last, under, target) for ground in chosen]
    if target is not None:
        passing = settings.mixing.tolerance if tolerance is None else tolerance
        strips = _with_chances(curves, settings, recipe, strips, target, passing)
    return Letdown(
        recipe=recipe,
        light=under,
        target=target,
        strips=tuple(strips),
        cautions=(*stock_cautions(recipe.blend, settings), *ground_cautions(chosen, curves)),
    )


def _strip(
    curves: Curves,
    ground: str,
    one_coat: FloatArray,
    last: int,
    light: Light,
    target: Target | None,
) -> Strip:
    """A strip over one ground, followed in hundredths of a coat."""
    film = curves.films(np.arange(last * _PER_COAT + 1) / _PER_COAT)
    ground_rows = np.full(len(film), curves.grounds.index(ground), dtype=np.int64)
    fine = lab_of(curves, reflectance(curves, film[:, np.newaxis] * one_coat, ground_rows), light)
    labs = fine[::_PER_COAT]
    moved = delta_e_2000(labs[1:], labs[:-1])
    off = None if target is None else delta_e_2000(fine, np.array(target.lab))
    steps = tuple(
        Step(
            ground=ground,
            coats=coats,
            lab=_triple(labs[coats]),
            de00=None if off is None else round(float(off[coats * _PER_COAT]), 6),
            step_de00=float(moved[coats - 1]) if coats else None,
        )
        for coats in range(last + 1)
    )
    if off is None:
        return Strip(ground, steps, None, None, None)
    best = int(np.argmin(off))
    # The last point may only be nearest because the strip ends there.
    beyond = best // _PER_COAT + 1
    return Strip(
        ground=ground,
        steps=steps,
        nearest=min(steps, key=lambda step: step.de00 or 0.0),
        best_coats=best / _PER_COAT,
        overshoots_from=beyond if beyond <= last else None,
    )


def _with_chances(
    curves: Curves,
    settings: ShelfSettings,
    recipe: Recipe,
    strips: Sequence[Strip],
    target: Target,
    tolerance: float,
) -> list[Strip]:
    """The same strips with the chance that a fresh panel of each step passes."""
    sprayed = [step for strip in strips for step in strip.steps if step.coats]
    recipes = [recipe.with_(coats=step.coats, ground=step.ground) for step in sprayed]
    judged = judge_all(curves, settings, recipes, target, tolerance)
    chances = {
        (match.recipe.ground, match.recipe.coats): match.pass_probability for match in judged
    }

    def with_chance(step: Step) -> Step:
        return replace(step, pass_probability=chances.get((step.ground, step.coats)))

    return [
        replace(
            strip,
            steps=tuple(with_chance(step) for step in strip.steps),
            nearest=None if strip.nearest is None else with_chance(strip.nearest),
        )
        for strip in strips
    ]


def _grounds(
    curves: Curves, settings: ShelfSettings, wanted: Sequence[str] | None
) -> tuple[str, ...]:
    if wanted is None:
        plain = tuple(name for name in settings.grounds if name in curves.grounds)
        return (*plain, *(name for name in curves.grounds if name not in settings.grounds))
    labels = {n: g.label for n, g in settings.grounds.items() if n in curves.grounds}
    labels |= {name: name for name in curves.grounds if name not in settings.grounds}
    fix = "Correct the name, or read the bare ground and run `fewtone learn`."
    names = Names("learnt ground", labels).require(wanted, fix=fix)
    if not names:
        raise UsageError(Fault("No ground is named.", fix="Name at least one."))
    return names


def _triple(values: FloatArray) -> tuple[float, float, float]:
    return float(values[0]), float(values[1]), float(values[2])
