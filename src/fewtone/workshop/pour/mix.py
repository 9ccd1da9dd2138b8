"""What a mix is made of: exact shares of toners, medium and additives, and their weights.

Model
    Volumes add. Medium and blend make up the paint, m parts to 1; additives come on top as a
    percentage by volume of that paint. Densities turn millilitres into grams. The optics of the
    toners hold at the house's usual additives; another share r of reducer scales the optical depth
    of a wet coat by (1 + r₀)/(1 + r).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

from fewtone.errors import UsageError
from fewtone.model.curves import Curves
from fewtone.model.recipe import Recipe
from fewtone.model.shelf import ShelfSettings

__all__ = [
    "MEDIUM",
    "REDUCER",
    "densities",
    "prices",
    "require_names",
    "shares",
    "stock_cautions",
    "strength_cautions",
    "strengths",
    "thinning",
]

MEDIUM = "medium"
REDUCER = "reducer"


def shares(
    recipe: Recipe, settings: ShelfSettings, *, reducer_percent: Fraction | None = None
) -> dict[str, Fraction]:
    """Each component's share of the whole mix by volume; together exactly 1.

    Parameters
    ----------
    recipe
        What is mixed.
    settings
        The shelf, for its additives.
    reducer_percent
        Reducer in percent by volume of medium + blend; the house's usual if None.

    Returns
    -------
    Share by component: toners in the recipe's order, ``medium``, then the additives. What has no
    share is left out.
    """
    paint = 1 + Fraction(recipe.medium_parts)
    parts = {name: share / paint for name, share in recipe.blend.fractions.items()}
    parts[MEDIUM] = Fraction(recipe.medium_parts) / paint
    for additive in settings.additives:
        share = Fraction(additive.percent) / 100
        parts[additive.name] = parts.get(additive.name, Fraction(0)) + share
    if reducer_percent is not None:
        parts[REDUCER] = reducer_percent / 100
    whole = sum(parts.values())
    return {name: part / whole for name, part in parts.items() if part > 0}


def thinning(settings: ShelfSettings, reducer_percent: Fraction | None) -> Fraction:
    """What the optical depth of a wet coat is multiplied by at another share of reducer.

    Parameters
    ----------
    settings
        The shelf, with its usual additives.
    reducer_percent
        By volume of medium and blend [%]; the usual if None.
    """
    if reducer_percent is None:
        return Fraction(1)
    return (100 + Fraction(settings.house_reducer_percent)) / (100 + reducer_percent)


def densities(settings: ShelfSettings) -> dict[str, Decimal]:
    """Density [kg/L] of each component that has one."""
    return _known(settings, "density")


def prices(settings: ShelfSettings) -> dict[str, Decimal]:
    """Price per litre of each component that has one."""
    return _known(settings, "price")


def strengths(curves: Curves) -> dict[str, float]:
    """Strength of each toner: optical depth of one standard coat of it at its peak band [1]."""
    return dict(zip(curves.toners, curves.absorption.max(axis=1).tolist(), strict=True))


def require_names(recipe: Recipe, settings: ShelfSettings) -> None:
    """Refuse a recipe that names what the shelf does not have.

    Raises
    ------
    UsageError
        All names that are not known, each with the likely one.
    """
    fix = "Correct the name, or add it to shelf.toml and learn it."
    faults = [
        replace(known.fault(name, fix=fix), value=str(recipe))
        for names, known in (
            (tuple(recipe.blend), settings.toner_names),
            ((recipe.ground,), settings.ground_names),
        )
        for name in names
        if name not in known
    ]
    if faults:
        raise UsageError(*faults)


def stock_cautions(toners: Iterable[str], settings: ShelfSettings) -> list[str]:
    """What is not in stock.

    Parameters
    ----------
    toners
        Names of the toners.
    settings
        The shelf.
    """
    return [f"{name} is not in stock." for name in toners if not settings.toners[name].in_stock]


def strength_cautions(toners: Iterable[str], settings: ShelfSettings) -> list[str]:
    """What stands between these toners' readings and what is predicted: a bottle's strength.

    Parameters
    ----------
    toners
        Names of the toners.
    settings
        The shelf.
    """
    return [
        f"{name} is mixed at strength {settings.toners[name].strength} of what its readings say: "
        f"remove `strength` under [toners.{name}] once the new bottle is sprayed out and its "
        "readings have taken the old ones' place."
        for name in toners
        if settings.toners[name].strength != 1
    ]


def _known(settings: ShelfSettings, quantity: str) -> dict[str, Decimal]:
    things: Mapping[str, object] = {
        **settings.toners,
        MEDIUM: settings.medium,
        **{additive.name: additive for additive in settings.additives},
    }
    known = {name: getattr(thing, quantity) for name, thing in things.items()}
    return {name: value for name, value in known.items() if value is not None}
