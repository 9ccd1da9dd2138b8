"""From a many-toner formula to few toners that give the same predicted colour, and what is lost.

The formula's own prediction is the target, so that whatever the curves are off by is off on both
sides. Recipes are searched and ranked exactly as `fewtone.match` does.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Unpack

import numpy as np

from fewtone.colorimetry import Light, delta_e_2000
from fewtone.match.help import with_help
from fewtone.match.judging import describe_all
from fewtone.match.result import Match, MatchResult
from fewtone.match.search import search
from fewtone.model.curves import Curves
from fewtone.model.names import named_options
from fewtone.model.recipe import Recipe
from fewtone.model.shelf import ShelfSettings
from fewtone.model.target import Target
from fewtone.prediction.forward import lab_of_doses, recipe_dose
from fewtone.prediction.recipes import predict
from fewtone.recipes.evaluate import Aim
from fewtone.recipes.rules import RuleOptions, Rules
from fewtone.workshop.pour.mix import require_names, stock_cautions

__all__ = ["OTHER_LIGHTS", "Loss", "Simplification", "parse_formula", "simplify"]

OTHER_LIGHTS = ("D65", "A", "F11", "LED-B3")
"""Daylight, tungsten, a fluorescent lamp and a white LED: the illuminants a loss is shown under."""

# A toner without which a formula stays within this ΔE00 does nothing that an instrument repeats.
_IDLE_DE00 = 0.1


@dataclass(frozen=True, slots=True)
class Loss:
    """How far a recipe is from the formula.

    Parameters
    ----------
    grounds
        ΔE00 of formula and recipe over each learnt ground, in the light of the target.
    lights
        ΔE00 under each of `OTHER_LIGHTS`, each over its own ground.
    """

    grounds: Mapping[str, float]
    lights: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Simplification:
    """The answer of `simplify`.

    Parameters
    ----------
    formula
        The formula with its predicted colour and unevenness.
    target
        That colour as a target.
    result
        The picks, the trade-off, the miss and the proof, as a match has them. With
        `every_ground` their ΔE00 is that of the worst ground.
    losses
        What each recipe of the result loses.
    every_ground
        Whether the recipes are to hold over every ground.
    already_simple
        The recipe that the formula is anyway, if the rules admit it; None else.
    idle
        Toners of the formula that do nothing to its colour.
    cautions
        What should be told.
    """

    formula: Match
    target: Target
    result: MatchResult
    losses: Mapping[Recipe, Loss]
    every_ground: bool
    already_simple: Recipe | None
    idle: tuple[str, ...]
    cautions: tuple[str, ...]


def parse_formula(text: str, settings: ShelfSettings) -> Recipe:
    """Read a formula as a shelf's recipe line whose parts may carry percent signs.

    Parameters
    ----------
    text
        The formula's line.
    settings
        The shelf.

    Raises
    ------
    UsageError
        As `ShelfSettings.recipe`.
    """
    return settings.recipe(re.sub(r"(?<=\d)\s*%", "", text))


@named_options
def simplify(
    curves: Curves,
    settings: ShelfSettings,
    formula: Recipe,
    *,
    every_ground: bool = False,
    light: Light | None = None,
    **options: Unpack[RuleOptions],
) -> Simplification:
    """Find few-toner recipes that look as a formula does.

    Parameters
    ----------
    curves, settings
        The learnt shelf.
    formula
        What is to be simplified: any parts, letdown and coats.
    every_ground
        Look as the formula does over every ground at once (all that are learnt, or those of
        ``grounds``), by the worst of them; else over the formula's own ground (or those of
        ``grounds``).
    light
        The light in which they are to look alike; the shelf's own if None.
    **options
        What a recipe must keep, as `fewtone.recipes.rules.Rules.of` takes it; two toners at most if
        nothing else is said.

    Raises
    ------
    FewtoneError
        The formula or a rule names what the shelf does not have or has not learnt.
    """
    require_names(formula, settings)
    asked: RuleOptions = {"max_toners": 2, **options}
    asked["grounds"] = asked.get("grounds") or (
        curves.grounds if every_ground else (formula.ground,)
    )
    rules = Rules.of(settings, **asked)
    over = rules.grounds
    if every_ground:
        rules = replace(rules, grounds=(formula.ground,))
    under = light or settings.measurement.light
    (described,) = describe_all(curves, [formula], under)
    target = _target(described, under, settings)
    aims: Target | list[Aim] = target
    if every_ground and over != (formula.ground,):
        grounds = tuple(dict.fromkeys((formula.ground, *over)))
        over_all = [formula.with_(ground=name) for name in grounds]
        each = describe_all(curves, over_all, under)
        aims = [Aim(_target(match, under, settings), match.recipe.ground) for match in each]
    asked_for = (curves, settings, aims, rules)
    result = with_help(*asked_for, search(*asked_for))
    matches = [result.simplest, result.surest, result.closest, *result.recipes]
    recipes = list(dict.fromkeys(match.recipe for match in matches if match is not None))
    return Simplification(
        formula=described,
        target=target,
        result=result,
        losses={recipe: _loss(curves, formula, recipe, under) for recipe in recipes},
        every_ground=every_ground,
        already_simple=_already_simple(formula, rules),
        idle=_idle(curves, formula, under),
        cautions=tuple(stock_cautions(formula.blend, settings)),
    )


def _target(formula: Match, light: Light, settings: ShelfSettings) -> Target:
    """A formula's predicted colour as a target."""
    lightness, a, b = formula.lab.tolist()
    geometry = settings.measurement.geometry
    return Target((lightness, a, b), light, geometry, str(formula.recipe))


def _loss(curves: Curves, formula: Recipe, recipe: Recipe, light: Light) -> Loss:
    over = [line.with_(ground=name) for line in (formula, recipe) for name in curves.grounds]
    labs = predict(curves, over, light).lab.reshape(2, -1, 3)
    off = delta_e_2000(labs[0], labs[1])
    lights = {}
    for illuminant in OTHER_LIGHTS:
        pair = predict(curves, [formula, recipe], Light(illuminant, light.observer)).lab
        lights[illuminant] = float(delta_e_2000(pair[0], pair[1]))
    return Loss(dict(zip(curves.grounds, off.tolist(), strict=True)), lights)


def _already_simple(formula: Recipe, rules: Rules) -> Recipe | None:
    """The formula in whole parts without a common factor, if the rules admit it."""
    shares = formula.blend.fractions
    scale = math.lcm(*(share.denominator for share in shares.values()))
    whole = {name: int(share * scale) for name, share in shares.items()}
    simple = formula.with_(blend=whole)
    fewest, most = rules.coats
    admitted = (
        len(whole) <= rules.max_toners
        and max(simple.blend.values()) <= rules.max_part
        and all(name in rules.toners for name in whole)
        and all(name in whole for name in rules.keep)
        and formula.ground in rules.grounds
        and any(Fraction(formula.medium_parts) == Fraction(m) for m in rules.medium_parts)
        and formula.coats == int(formula.coats)
        and fewest <= formula.coats <= most
    )
    return simple if admitted else None


def _idle(curves: Curves, formula: Recipe, light: Light) -> tuple[str, ...]:
    """Toners whose dose can be left out of the film without anyone seeing it."""
    dose = recipe_dose(curves, formula)
    names = list(formula.blend)
    without = np.repeat(dose[np.newaxis], len(names), axis=0)
    for row, name in enumerate(names):
        without[row, curves.toners.index(name)] = 0.0
    labs = lab_of_doses(curves, np.vstack([dose, without]), formula.ground, light)
    off = delta_e_2000(labs[1:], labs[0])
    return tuple(
        name
        for name, moved in zip(names, off, strict=True)
        if len(names) > 1 and moved < _IDLE_DE00
    )
