"""How much is mixed: a volume, what an area takes, or what the rests of components make."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

from fewtone.errors import Fault, FewtoneError, UsageError
from fewtone.model.names import Names
from fewtone.model.recipe import Recipe
from fewtone.model.shelf import ShelfSettings
from fewtone.model.units import Amount, area_m2, volume_ml
from fewtone.workshop.pour.mix import MEDIUM

__all__ = ["from_rests", "net_volume"]


def net_volume(
    recipe: Recipe, settings: ShelfSettings, volume: Amount | None, area: Amount | None
) -> Fraction:
    """The volume that is wanted [ml], ready to spray.

    Parameters
    ----------
    recipe
        What is mixed.
    settings
        The shelf's.
    volume, area
        How much, one of the two.

    Raises
    ------
    FewtoneError
        Neither or both are given, one cannot be used, or shelf.toml does not say what a coat takes.
    """
    if (volume is None) == (area is None):
        raise UsageError(
            Fault(
                "Say how much to mix: a volume or an area, one of the two.",
                fix="Give `volume`, such as 600ml, or `area`, such as 1.4m2.",
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


def from_rests(
    settings: ShelfSettings, parts: Mapping[str, Fraction], use_up: Mapping[str, Amount]
) -> Fraction:
    """The largest mix that rests of components allow [ml].

    Parameters
    ----------
    settings
        The shelf's.
    parts
        Share of each component by volume.
    use_up
        What is left of some of them.

    Raises
    ------
    FewtoneError
        A name or a volume cannot be used, or one is named twice.
    """
    labels = {name: settings.toners[name].label for name in parts if name in settings.toners}
    labels |= {name: name for name in parts if name not in labels}
    labels[MEDIUM] = settings.medium.label
    known = Names("component", {name: labels[name] for name in parts}, "this recipe")
    names = known.require(use_up)
    if len(names) < len(use_up):
        raise UsageError("A rest is named twice; add it up.")
    rests = zip(names, use_up.values(), strict=True)
    return min(volume_ml(rest, what=f"The rest of {name}") / parts[name] for name, rest in rests)
