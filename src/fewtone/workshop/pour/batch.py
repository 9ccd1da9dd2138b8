"""From a recipe and a volume or an area to what is poured, exactly.

The weakest toner goes in first and the medium after the toners, so that a slip costs least: what
is in the cup by then is little, and weak. Unless the exact volume is asked for, the batch is the
smallest at or above it in which every component lands on a line of the cup (or a step of the
scale), so that the recipe's whole-number ratio is poured without rounding.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import TypedDict

import numpy as np

from fewtone.colorimetry import delta_e_2000
from fewtone.errors import Fault, FewtoneError, UsageError
from fewtone.model.curves import Curves
from fewtone.model.names import named_options
from fewtone.model.recipe import Recipe
from fewtone.model.shelf import ShelfSettings
from fewtone.prediction.forward import lab_of_doses, recipe_dose
from fewtone.workshop.pour.mix import (
    MEDIUM,
    REDUCER,
    densities,
    prices,
    require_names,
    shares,
    stock_cautions,
    strengths,
    thinning,
)
from fewtone.workshop.pour.pours import Pour, Steps, pour_all
from fewtone.workshop.pour.reducer import ReducerEffect, reducer_effect
from fewtone.workshop.pour.units import Amount, area_m2, percent, volume_ml, volume_or_share

__all__ = ["CARE", "Alternative", "Batch", "BatchOptions", "batch"]

CARE = (
    "Stir for about two minutes, let the mix stand about ten, stir again.",
    "Strain through a fine strainer (about 125 micron): translucent coats magnify every speck.",
    "Check the viscosity: too thin goes spotty, too heavy chokes the gun and streaks.",
    "Hardener, pot life and flash times as the products' data sheets say.",
)
"""Common practice, no source."""


class BatchOptions(TypedDict, total=False):
    """How `batch` is asked; see there."""

    volume: Amount | None
    area: Amount | None
    extra: Amount | None
    reducer: Amount | None
    by_weight: bool
    exact: bool
    loose_additives: bool


@dataclass(frozen=True, slots=True)
class Alternative:
    """Another way to pour it.

    Parameters
    ----------
    option
        What to ask for: ``--exact`` and the like.
    total_ml
        What it would come to [ml].
    rounding_de00
        What pouring it to the nearest steps does to the colour [ΔE00]; 0 where nothing is rounded.
    """

    option: str
    total_ml: Fraction
    rounding_de00: float


@dataclass(frozen=True, slots=True)
class Batch:
    """What to pour.

    Parameters
    ----------
    recipe
        What is mixed.
    wanted_ml
        What was asked for, extra included [ml].
    extra_ml
        The part of it that gun and cup keep [ml].
    pours
        What to pour, in order.
    on
        What every pour lands on: ``cup lines``, ``scale steps``, or None where it is exact.
    step
        That step [ml or g]; None where there is none.
    rounding_de00
        What taking the pours to the nearest steps does to the colour [ΔE00]: 0 where they land
        on them, None where there is no step to take them to.
    rounded
        The pours as taken to the nearest steps; empty where they land on them anyway.
    strengths
        Optical depth of one standard coat of each toner at its peak band, in pouring order.
    reducer
        What an unusual share of reducer does; None at the usual one.
    alternatives
        Other ways to pour it.
    care
        How to handle the mix.
    cautions
        What should be told.
    """

    recipe: Recipe
    wanted_ml: Fraction
    extra_ml: Fraction
    pours: tuple[Pour, ...]
    on: str | None
    step: Fraction | None
    rounding_de00: float | None
    rounded: tuple[Pour, ...]
    strengths: Mapping[str, float]
    reducer: ReducerEffect | None
    alternatives: tuple[Alternative, ...]
    cautions: tuple[str, ...]
    care: tuple[str, ...] = CARE

    @property
    def total_ml(self) -> Fraction:
        """All of it [ml]: the sum of the pours, exactly."""
        return self.pours[-1].running_ml

    @property
    def total_grams(self) -> Fraction | None:
        """All of it [g]; None where a density is missing."""
        return self.pours[-1].running_grams

    @property
    def overshoot_ml(self) -> Fraction:
        """How much more than wanted that is [ml]."""
        return self.total_ml - self.wanted_ml

    @property
    def cost(self) -> Fraction | None:
        """What it costs; None where a price is missing."""
        costs = [pour.cost for pour in self.pours if pour.cost is not None]
        return sum(costs, Fraction(0)) if len(costs) == len(self.pours) else None


@named_options
def batch(
    curves: Curves,
    settings: ShelfSettings,
    recipe: Recipe,
    *,
    volume: Amount | None = None,
    area: Amount | None = None,
    extra: Amount | None = None,
    reducer: Amount | None = None,
    by_weight: bool = False,
    exact: bool = False,
    loose_additives: bool = False,
) -> Batch:
    """Work out what to pour.

    Parameters
    ----------
    curves, settings
        The learnt shelf.
    recipe
        What is mixed.
    volume, area
        How much, one of the two: ready to spray, additives included (``600ml``), or the area
        that the recipe's coats are to cover (``1.4m2``).
    extra
        What gun and cup keep, on top: a volume or a percentage.
    reducer
        Reducer in percent by volume of medium + blend, where it is not the house's usual.
    by_weight
        Land on steps of the scale instead of lines of the cup.
    exact
        The volume exactly as wanted, wherever the pours come to lie.
    loose_additives
        Only toners and medium land on steps; the additives may come to lie between them.

    Raises
    ------
    FewtoneError
        An amount or a name cannot be used, or shelf.toml lacks what this needs.
    """
    require_names(recipe, settings)
    if exact and loose_additives:
        raise UsageError("Ask for the exact volume or for loose additives, not for both.")
    reducer_percent = None if reducer is None else percent(reducer, what="The reducer")
    net_ml = _net_volume(recipe, settings, volume, area)
    extra_ml = Fraction(0) if extra is None else volume_or_share(extra, net_ml, what="The extra")
    order = strengths(curves)
    _check_learnt(recipe, order)
    parts = _in_order(recipe, shares(recipe, settings, reducer_percent=reducer_percent), order)
    steps = _steps(parts, settings, by_weight)
    wanted_ml = net_ml + extra_ml
    total_ml = wanted_ml
    if steps is not None and not exact:
        total_ml = steps.total(wanted_ml, _landing(parts, settings) if loose_additives else parts)
    meant = {name: share * total_ml for name, share in parts.items()}
    poured = meant if steps is None else steps.poured(meant)
    strength = thinning(settings, reducer_percent)

    def shift(meant: Mapping[str, Fraction], poured: Mapping[str, Fraction]) -> float:
        return _shift(curves, settings, recipe, strength, meant, poured)

    def pour(volumes: Mapping[str, Fraction]) -> tuple[Pour, ...]:
        known = {"densities": densities(settings), "prices": prices(settings)}
        return pour_all(volumes, **known, cup_ml=settings.mixing.cup_ml)

    return Batch(
        recipe=recipe,
        wanted_ml=wanted_ml,
        extra_ml=extra_ml,
        pours=pour(meant),
        on=None if exact or steps is None else steps.name,
        step=None if steps is None else steps.step,
        rounding_de00=None if steps is None else shift(meant, poured),
        rounded=() if poured == meant else pour(poured),
        strengths={name: order[name] for name in parts if name in recipe.blend},
        reducer=reducer_effect(curves, settings, recipe, reducer_percent),
        alternatives=tuple(_alternatives(parts, steps, settings, wanted_ml, total_ml, shift)),
        cautions=tuple(_cautions(recipe, settings, parts, steps, poured)),
    )


def _net_volume(
    recipe: Recipe, settings: ShelfSettings, volume: Amount | None, area: Amount | None
) -> Fraction:
    if (volume is None) == (area is None):
        raise UsageError(
            Fault(
                "Say how much to mix: a volume or an area, one of the two.",
                fix="Use --volume 600ml or --area 1.4m2.",
            )
        )
    if volume is not None:
        return volume_ml(volume)
    covered = area_m2(area or 0)
    per_coat = settings.mixing.ml_per_m2
    if per_coat is None:
        raise FewtoneError(
            Fault(
                "An area needs to know how much paint a coat takes.",
                fix="Measure it: fill the cup, spray one coat on a panel of known area, read what "
                "is left, and divide the ml that are gone by the area in square metres; write it "
                "as ml_per_m2 under [mixing].",
                file="shelf.toml",
                column="mixing.ml_per_m2",
            )
        )
    if recipe.coats == 0:
        raise UsageError(Fault("A recipe of 0 coats covers no area.", value=str(recipe)))
    return covered * Fraction(per_coat) * Fraction(recipe.coats)


def _check_learnt(recipe: Recipe, order: Mapping[str, float]) -> None:
    faults = [
        Fault(
            f"'{name}' is on the shelf but not learnt yet.",
            fix="Read panels of it and run `fewtone learn`.",
            value=str(recipe),
        )
        for name in recipe.blend
        if name not in order
    ]
    if faults:
        raise FewtoneError(*faults)


def _in_order(
    recipe: Recipe, parts: Mapping[str, Fraction], order: Mapping[str, float]
) -> dict[str, Fraction]:
    """Weakest tint first, then the medium, then the additives as shelf.toml has them."""
    toners = sorted(recipe.blend, key=lambda name: (order[name], name))
    rest = [name for name in parts if name not in recipe.blend]
    return {name: parts[name] for name in (*toners, *rest)}


def _steps(parts: Mapping[str, Fraction], settings: ShelfSettings, by_weight: bool) -> Steps | None:
    """What the pours land on; None where the cup's step is not known."""
    cup_ml = settings.mixing.cup_ml
    if not by_weight:
        return None if cup_ml is None else Steps("cup lines", Fraction(cup_ml), parts)
    scale = _scale(parts, settings)
    if scale is None:
        known = densities(settings)
        missing = ["mixing.scale_g"] if settings.mixing.scale_g is None else []
        missing += [f"the density of {name}" for name in parts if name not in known]
        raise FewtoneError(
            Fault(
                f"Pouring by weight needs {', '.join(missing)}.",
                fix="Add it (densities in kg per litre), or pour by volume.",
                file="shelf.toml",
            )
        )
    return scale


def _scale(parts: Mapping[str, Fraction], settings: ShelfSettings) -> Steps | None:
    """Steps of the scale; None where they or a density are not known."""
    known, step = densities(settings), settings.mixing.scale_g
    if step is None or any(name not in known for name in parts):
        return None
    weights = {name: share * Fraction(known[name]) for name, share in parts.items()}
    return Steps("scale steps", Fraction(step), weights)


def _landing(parts: Mapping[str, Fraction], settings: ShelfSettings) -> list[str]:
    """The components that make the colour: toners and medium."""
    return [name for name in parts if name == MEDIUM or name in settings.toners]


def _shift(
    curves: Curves,
    settings: ShelfSettings,
    recipe: Recipe,
    strength: Fraction,
    meant: Mapping[str, Fraction],
    poured: Mapping[str, Fraction],
) -> float:
    """ΔE00 between what was meant and what is poured; both are volumes in ml."""
    if meant == poured:
        return 0.0
    dose = recipe_dose(curves, recipe) * float(strength)
    whole_meant = sum(meant.values(), Fraction(0))
    whole_poured = sum(poured.values(), Fraction(0)) or Fraction(1)
    change = np.ones_like(dose)
    for name in recipe.blend:
        ratio = (poured[name] / whole_poured) / (meant[name] / whole_meant)
        change[curves.toners.index(name)] = float(ratio)
    doses = np.stack([dose, dose * change])
    labs = lab_of_doses(curves, doses, recipe.ground, settings.measurement.light)
    return float(delta_e_2000(labs[0], labs[1]))


def _alternatives(
    parts: Mapping[str, Fraction],
    steps: Steps | None,
    settings: ShelfSettings,
    wanted_ml: Fraction,
    total_ml: Fraction,
    shift: Callable[[Mapping[str, Fraction], Mapping[str, Fraction]], float],
) -> list[Alternative]:
    """Smaller batches, where the one that lands on all steps overshoots."""
    found = []
    if steps is not None:
        loose = steps.total(wanted_ml, _landing(parts, settings))
        if loose < total_ml:
            found.append(Alternative("--loose-additives", loose, 0.0))
        if wanted_ml < total_ml:
            volumes = {name: share * wanted_ml for name, share in parts.items()}
            found.append(Alternative("--exact", wanted_ml, shift(volumes, steps.poured(volumes))))
            if (scale := _scale(parts, settings)) and scale.name != steps.name:
                poured = scale.poured(volumes)
                found.append(Alternative("--exact --by-weight", wanted_ml, shift(volumes, poured)))
    return found


def _cautions(
    recipe: Recipe,
    settings: ShelfSettings,
    parts: Mapping[str, Fraction],
    steps: Steps | None,
    poured: Mapping[str, Fraction],
) -> list[str]:
    cautions = stock_cautions(recipe.blend, settings)
    if steps is None:
        cautions.append(
            "shelf.toml does not say which steps the cup shows (cup_ml under [mixing]): "
            "the volume is exact, and no pour is taken to a line."
        )
    cautions += [
        f"{name} is less than half a step here: mix more, or measure it more finely."
        for name, ml in poured.items()
        if ml == 0
    ]
    if without := [name for name in parts if name not in densities(settings)]:
        cautions.append(f"No density, so no grams: {', '.join(without)}.")
    unpriced = [name for name in parts if name not in prices(settings)]
    if unpriced and len(unpriced) < len(parts):
        cautions.append(f"No price, so no total cost: {', '.join(unpriced)}.")
    if REDUCER in parts and all(additive.name != REDUCER for additive in settings.additives):
        cautions.append("shelf.toml lists no reducer: its density and price are not known.")
    return cautions
