"""Pouring a keyed ground: its grounds in whole parts, on the lines of the same cups.

Grounds are mixed as they come; reducer and whatever else their data sheets ask for is added after.
The larger part goes in first.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from fewtone.errors import Fault, UsageError
from fewtone.model.cup import Cup
from fewtone.model.keyed import KeyedGround
from fewtone.model.recipe import Recipe
from fewtone.model.shelf import ShelfSettings
from fewtone.model.units import Amount, volume_ml
from fewtone.workshop.pour.pours import Pour, pour_all, smallest_on_steps

__all__ = ["GroundBatch", "ground_batch"]


@dataclass(frozen=True, slots=True)
class GroundBatch:
    """What to pour of a keyed ground.

    Parameters
    ----------
    ground
        The ground.
    wanted_ml
        What was asked for [ml].
    pours
        What to pour, in order.
    cup
        The cup on whose lines they land; None where none is known and the volume is exact.
    """

    ground: str
    wanted_ml: Fraction
    pours: tuple[Pour, ...]
    cup: Cup | None

    @property
    def total_ml(self) -> Fraction:
        """All of it [ml]."""
        return self.pours[-1].running_ml


def ground_batch(
    settings: ShelfSettings, recipe: Recipe, volume: Amount, *, exact: bool = False
) -> GroundBatch:
    """Work out what to pour of a recipe's keyed ground.

    Parameters
    ----------
    settings
        The shelf: its cups.
    recipe
        The recipe.
    volume
        How much of the ground, at least (``300ml``).
    exact
        Exactly that much, wherever the pours come to lie.

    Raises
    ------
    UsageError
        The ground is not a keyed one, or the volume does not read as one.
    """
    if "+" not in recipe.ground:
        raise UsageError(
            Fault(
                f"The ground of this recipe, {recipe.ground}, is not mixed of others.",
                fix="Leave `ground_volume` out, or name a keyed ground such as 2 silver + 1 moss.",
                value=str(recipe),
            )
        )
    wanted = volume_ml(volume, what="The volume of the ground")
    shares = KeyedGround.parse(recipe.ground).fractions
    cups = () if exact else settings.mixing.all_cups
    total, cup = wanted, None
    for cup in cups:
        total = smallest_on_steps(shares.values(), cup.step_ml, wanted)
        if cup.holds_ml is None or total <= cup.holds_ml:
            break
    pours = pour_all(
        {name: share * total for name, share in shares.items()},
        densities={},
        prices={},
        step_ml=None if cup is None else cup.step_ml,
    )
    return GroundBatch(recipe.ground, wanted, pours, cup)
