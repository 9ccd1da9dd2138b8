"""From a recipe and a volume or an area to what is poured, exactly.

The weakest toner goes in first and the medium after the toners, so that a slip costs least: what
is in the cup by then is little, and weak. Unless the exact volume is asked for, toners and medium
are poured on the cup's lines (or the scale's steps): in the recipe's own ratio where that comes
near what is wanted, else in the least volume whose rounding to lines costs no more than a stated
ΔE00 (`lines`). Additives come on top in their share, wherever they come to lie.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import TypedDict

from fewtone.errors import Fault, FewtoneError, UsageError
from fewtone.model.cup import Cup
from fewtone.model.curves import Curves
from fewtone.model.names import named_options
from fewtone.model.recipe import Recipe
from fewtone.model.shelf import ShelfSettings
from fewtone.model.units import Amount, percent, volume_or_share
from fewtone.workshop.pour.amounts import from_rests, net_volume
from fewtone.workshop.pour.ground import GroundBatch, ground_batch
from fewtone.workshop.pour.mix import (
    REDUCER,
    densities,
    prices,
    require_names,
    shares,
    stock_cautions,
    strengths,
    thinning,
)
from fewtone.workshop.pour.plan import Mix, Plan
from fewtone.workshop.pour.pours import Pour, pour_all
from fewtone.workshop.pour.reducer import ReducerEffect, reducer_effect

__all__ = ["CARE", "Alternative", "Batch", "BatchOptions", "batch"]

CARE = (
    "Stir slowly for two minutes; let it stand for ten, so that the bubbles rise; stir once more.",
    "Pour it into the gun through a 125 micron strainer: any grain shows through every coat.",
    "Try the flow on scrap first: thin paint runs into beads, thick paint lands in ropes.",
    "Hardener, pot life and waiting times are those of the products' data sheets.",
)
"""Common practice, no source."""


ROUNDING_DE00 = 0.1
"""What rounding to lines may cost where nothing else is said [ΔE00]."""
_SHARE_OF_TOLERANCE = 0.25


class BatchOptions(TypedDict, total=False):
    """How `batch` is asked.

    Parameters
    ----------
    volume, area, extra, use_up, reducer, by_weight, exact, rounding, ground_volume
        The parameters of `batch` of these names.
    """

    volume: Amount | None
    area: Amount | None
    extra: Amount | None
    use_up: Mapping[str, Amount] | None
    reducer: Amount | None
    by_weight: bool
    exact: bool
    rounding: float | None
    ground_volume: Amount | None


@dataclass(frozen=True, slots=True)
class Alternative:
    """Another way to pour it.

    Parameters
    ----------
    exact, by_weight
        What to ask for, as `batch` takes them.
    total_ml
        What it would come to [ml].
    rounding_de00
        What pouring it to the nearest steps does to the colour [ΔE00]; 0 where nothing is rounded.
    """

    exact: bool
    by_weight: bool
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
        What toners and medium land on: ``cup lines``, ``scale steps``, or None where the volume
        is exact.
    step
        That step [ml or g]; None where there is none.
    cup
        The cup that it is poured into; None where no cup is known.
    limit_de00
        What rounding was allowed to cost [ΔE00].
    rounding_de00
        What pouring on steps does to the colour [ΔE00]: 0 where the ratio is the recipe's own,
        None where there is no step. Where the volume is exact: what the nearest steps would do.
    rounded
        Where the volume is exact, the pours as taken to the nearest steps; else empty.
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
    ground
        What to pour of a keyed ground, where that was asked for.
    """

    recipe: Recipe
    wanted_ml: Fraction
    extra_ml: Fraction
    pours: tuple[Pour, ...]
    on: str | None
    step: Fraction | None
    cup: Cup | None
    limit_de00: float
    rounding_de00: float | None
    rounded: tuple[Pour, ...]
    strengths: Mapping[str, float]
    reducer: ReducerEffect | None
    alternatives: tuple[Alternative, ...]
    cautions: tuple[str, ...]
    care: tuple[str, ...] = CARE
    ground: GroundBatch | None = None

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
        """How much more than wanted that is [ml]; below 0 where rests make less than that."""
        return self.total_ml - self.wanted_ml

    @property
    def cost(self) -> Fraction | None:
        """What it costs, in the currency of the prices a litre; None where one is missing."""
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
    use_up: Mapping[str, Amount] | None = None,
    reducer: Amount | None = None,
    by_weight: bool = False,
    exact: bool = False,
    rounding: float | None = None,
    ground_volume: Amount | None = None,
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
    use_up
        Rests of components to use up, such as ``{"ruby": "120ml"}``: the mix is as large as the
        scarcest of them allows, and exact. A volume or an area beside it says what is wanted.
    reducer
        Reducer in percent by volume of medium + blend, where it is not the house's usual.
    by_weight
        Land on steps of the scale instead of lines of the cup.
    exact
        The volume exactly as wanted, wherever the pours come to lie.
    rounding
        What pouring on lines may cost [ΔE00]; 0.1 if None, and never more than a quarter of the
        shelf's tolerance. 0 keeps the recipe's own ratio.
    ground_volume
        How much of the recipe's keyed ground to mix as well (``300ml``).

    Raises
    ------
    FewtoneError
        An amount or a name cannot be used, or shelf.toml lacks what this needs.
    """
    require_names(recipe, settings)
    limit, cautions = _limit(settings, rounding)
    reducer_percent = None if reducer is None else percent(reducer, what="The reducer")
    order = strengths(curves)
    _check_learnt(recipe, order)
    parts = _in_order(recipe, shares(recipe, settings, reducer_percent=reducer_percent), order)
    made_ml = from_rests(settings, parts, use_up) if use_up else None
    if made_ml is not None and volume is None and area is None:
        if extra is not None:
            raise UsageError("What is used up cannot be made more of: leave the extra out.")
        net_ml = made_ml
    else:
        net_ml = net_volume(recipe, settings, volume, area)
    extra_ml = Fraction(0) if extra is None else volume_or_share(extra, net_ml, what="The extra")
    mix = Mix(curves, settings, recipe, parts, thinning(settings, reducer_percent))
    wanted_ml = net_ml + extra_ml
    if made_ml is None:
        made_ml = wanted_ml
    if by_weight:
        mix.require_scale()
    exact = exact or bool(use_up)
    plan = mix.plan(made_ml, limit, by_weight=by_weight, exact=exact)
    cautions += _cautions(recipe, settings, parts, plan)
    if made_ml < wanted_ml:
        cautions.append(
            f"The rest makes {float(made_ml):.0f} ml: {float(wanted_ml - made_ml):.0f} ml short of "
            "what is wanted."
        )
    ground = None
    if ground_volume is not None:
        ground = ground_batch(settings, recipe, ground_volume, exact=exact)
    cup = plan.cup

    def pour(volumes: Mapping[str, Fraction]) -> tuple[Pour, ...]:
        known = {"densities": densities(settings), "prices": prices(settings)}
        return pour_all(volumes, **known, step_ml=None if cup is None else cup.step_ml)

    return Batch(
        recipe=recipe,
        wanted_ml=wanted_ml,
        extra_ml=extra_ml,
        pours=pour(plan.volumes_ml),
        on=None if plan.exact or plan.steps is None else plan.steps.name,
        step=None if plan.steps is None else plan.steps.step,
        cup=cup,
        limit_de00=limit,
        rounding_de00=plan.de00,
        rounded=() if plan.rounded is None else pour(plan.rounded),
        strengths={name: order[name] for name in parts if name in recipe.blend},
        reducer=reducer_effect(curves, settings, recipe, reducer_percent),
        alternatives=tuple(_alternatives(mix, made_ml, limit, plan, by_weight)),
        cautions=tuple(cautions),
        ground=ground,
    )


def _limit(settings: ShelfSettings, rounding: float | None) -> tuple[float, list[str]]:
    """What rounding may cost [ΔE00], and what should be said of it."""
    most = _SHARE_OF_TOLERANCE * settings.mixing.tolerance
    if rounding is None:
        return min(ROUNDING_DE00, most), []
    if not (math.isfinite(rounding) and rounding >= 0.0):
        raise UsageError(
            Fault(
                "What rounding may cost must be a ΔE00 of 0 or more.",
                fix="Write such as 0.1.",
                value=str(rounding),
            )
        )
    if rounding <= most:
        return float(rounding), []
    return most, [
        f"Rounding may cost at most a quarter of the tolerance: ΔE00 {most:g} is taken, not "
        f"{rounding:g}."
    ]


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


def _alternatives(
    mix: Mix, wanted_ml: Fraction, limit: float, plan: Plan, by_weight: bool
) -> list[Alternative]:
    """What the exact volume and the scale would do."""
    ways = []
    if plan.steps is not None and not plan.exact and plan.total_ml > wanted_ml:
        other = mix.plan(wanted_ml, limit, by_weight=by_weight, exact=True)
        if other.de00 is not None:
            ways.append(Alternative(True, by_weight, other.total_ml, other.de00))
    if not by_weight and mix.scale() is not None:
        other = mix.plan(wanted_ml, limit, by_weight=True, exact=plan.exact)
        ways.append(Alternative(plan.exact, True, other.total_ml, other.de00 or 0.0))
    return ways


def _cautions(
    recipe: Recipe, settings: ShelfSettings, parts: Mapping[str, Fraction], plan: Plan
) -> list[str]:
    cautions = stock_cautions(recipe.blend, settings)
    if plan.steps is None:
        cautions.append(
            "shelf.toml does not say how the cups are marked (cups or cup_ml under [mixing]): "
            "the volume is exact, and no pour is taken to a line."
        )
    if plan.fillings > 1:
        cautions.append(
            f"No cup holds {float(plan.total_ml):.0f} ml: the {plan.cup} has to be filled "
            f"{plan.fillings} times, or ask for less and mix it {plan.fillings} times."
        )
    cautions += [
        f"{name} is less than half a step here: mix more, or measure it more finely."
        for name, ml in (plan.rounded or {}).items()
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
