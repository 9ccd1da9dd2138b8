"""Looking at a recipe before it is mixed: its colour, how sure it is, its unevenness."""

from __future__ import annotations

from dataclasses import dataclass

from fewtone.colorimetry import Light
from fewtone.match.judging import describe_all, judge_all
from fewtone.match.miss import difference_of
from fewtone.match.result import Match
from fewtone.model.curves import Curves
from fewtone.model.recipe import Recipe
from fewtone.model.shelf import ShelfSettings
from fewtone.model.target import Target
from fewtone.prediction.recipes import predict
from fewtone.typing import FloatArray
from fewtone.workshop.look.grounds import ground_cautions
from fewtone.workshop.look.steadiness import (
    Change,
    InLight,
    in_other_light,
    over_other_grounds,
    with_other_film,
)
from fewtone.workshop.pour.mix import require_names, stock_cautions

__all__ = ["Check", "check"]


@dataclass(frozen=True, slots=True, eq=False)
class Check:
    """What is known of a recipe before it is mixed.

    Parameters
    ----------
    match
        The recipe with its colour, judged against the target if there is one.
    light
        The illuminant and observer of its Lab values.
    target
        What it was judged against; None without one.
    direction
        How it differs from the target in a painter's words; empty without a target.
    wavelength_nm, reflectance, reflectance_sd
        Its predicted spectrum [nm], [1], shape ``(n_wavelengths,)`` each, and the spectrum's
        standard deviation, None where it is not known.
    lights, grounds, what_if
        The same colour in other light, the same mix over the other grounds, and a coat or a tenth
        of the film more and less.
    cautions
        What should be told about it.
    """

    match: Match
    light: Light
    target: Target | None
    direction: str
    wavelength_nm: FloatArray
    reflectance: FloatArray
    reflectance_sd: FloatArray | None
    lights: tuple[InLight, ...]
    grounds: tuple[Change, ...]
    what_if: tuple[Change, ...]
    cautions: tuple[str, ...]


def check(
    curves: Curves,
    settings: ShelfSettings,
    recipe: Recipe,
    *,
    target: Target | None = None,
    light: Light | None = None,
    tolerance: float | None = None,
) -> Check:
    """Look at a recipe before it is mixed.

    Parameters
    ----------
    curves, settings
        The learnt shelf.
    recipe
        What would be sprayed; parts may be decimals.
    target
        What was asked for, if anything.
    light
        The light to predict the colour in where there is no target; the shelf's own if None.
    tolerance
        ΔE00 that passes; the shelf's own if None.

    Raises
    ------
    UsageError
        The recipe names a toner or ground that is not on the shelf or not learnt.
    """
    require_names(recipe, settings)
    under = target.light if target else light or settings.measurement.light
    if target is None:
        (match,) = describe_all(curves, [recipe], under)
    else:
        passing = settings.mixing.tolerance if tolerance is None else tolerance
        (match,) = judge_all(curves, settings, [recipe], target, passing)
    spectrum = predict(curves, [recipe], under, deviations=True)
    return Check(
        match=match,
        light=under,
        target=target,
        direction=difference_of(match.lab, target.lab).words if target else "",
        wavelength_nm=curves.wavelength_nm,
        reflectance=spectrum.reflectance[0],
        reflectance_sd=None if spectrum.reflectance_sd is None else spectrum.reflectance_sd[0],
        lights=in_other_light(curves, recipe, under.observer),
        grounds=over_other_grounds(curves, recipe, under, target),
        what_if=with_other_film(curves, recipe, under, target),
        cautions=(*_cautions(recipe, settings), *ground_cautions([recipe.ground], curves)),
    )


def _cautions(recipe: Recipe, settings: ShelfSettings) -> list[str]:
    cautions = stock_cautions(recipe.blend, settings)
    mixing = settings.mixing
    if recipe.medium_parts not in mixing.medium_parts:
        usual = ", ".join(f"{parts}:1" for parts in mixing.medium_parts)
        cautions.append(f"{recipe.medium_parts}:1 is not a letdown of this shop ({usual}).")
    fewest, most = mixing.coats
    if not fewest <= recipe.coats <= most:
        cautions.append(f"This shop sprays {fewest} to {most} coats.")
    return cautions
