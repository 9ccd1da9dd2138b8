"""Looking at a recipe before it is mixed: its colour, its certainty, its unevenness."""

from __future__ import annotations

from dataclasses import dataclass

from fewtone.colorimetry import Light
from fewtone.errors import Fault, UsageError
from fewtone.match import Match, direction, judge
from fewtone.model.curves import Curves
from fewtone.model.recipe import Recipe
from fewtone.model.shelf import ShelfSettings
from fewtone.model.target import Target
from fewtone.predict import predict
from fewtone.typing import FloatArray

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
    wavelength_nm, reflectance
        Its predicted spectrum [nm], [1], shape ``(n_wavelengths,)`` each.
    cautions
        What should be told about it.
    """

    match: Match
    light: Light
    target: Target | None
    direction: str
    wavelength_nm: FloatArray
    reflectance: FloatArray
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
    _check_names(recipe, settings)
    under = target.light if target else light or settings.measurement.light
    judged = judge(
        curves,
        settings,
        recipe,
        target.lab if target else None,
        under,
        settings.mixing.tolerance if tolerance is None else tolerance,
    )
    spectrum = predict(curves, [recipe], under)
    return Check(
        match=judged,
        light=under,
        target=target,
        direction=direction(judged.lab, target.lab) if target else "",
        wavelength_nm=curves.wavelength_nm,
        reflectance=spectrum.reflectance[0],
        cautions=tuple(_cautions(recipe, settings)),
    )


def _check_names(recipe: Recipe, settings: ShelfSettings) -> None:
    faults = [
        Fault(
            f"'{name}' is not a {what} of this shelf ({', '.join(known)}).",
            fix="Correct the name, or add it to shelf.toml and learn it.",
            value=str(recipe),
        )
        for names, known, what in (
            (tuple(recipe.blend), settings.toners, "toner"),
            ((recipe.ground,), settings.grounds, "ground"),
        )
        for name in names
        if name not in known
    ]
    if faults:
        raise UsageError(*faults)


def _cautions(recipe: Recipe, settings: ShelfSettings) -> list[str]:
    cautions = [
        f"{name} is not in stock." for name in recipe.blend if not settings.toners[name].in_stock
    ]
    mixing = settings.mixing
    if recipe.medium_parts not in mixing.medium_parts:
        usual = ", ".join(f"{parts}:1" for parts in mixing.medium_parts)
        cautions.append(f"{recipe.medium_parts}:1 is not a letdown of this shop ({usual}).")
    fewest, most = mixing.coats
    if not fewest <= recipe.coats <= most:
        cautions.append(f"This shop sprays {fewest} to {most} coats.")
    return cautions
