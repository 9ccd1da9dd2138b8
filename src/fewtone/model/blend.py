"""A blend: toners in parts by volume, and the load of the film that it is sprayed in.

Whole-number parts are kept in lowest terms, decimals as given; toners stand in order of falling
parts, then by name, so that equal blends read alike.
"""

from __future__ import annotations

import math
from collections.abc import ItemsView, Iterator, KeysView, Mapping, ValuesView
from decimal import Decimal
from fractions import Fraction
from typing import TypeAlias

from fewtone.errors import Fault, FewtoneError
from fewtone.model.numbers import carried, decimal_from

__all__ = [
    "LARGEST",
    "Blend",
    "Number",
    "coats_text",
    "exact_number",
    "film_load",
    "number_text",
]

Number: TypeAlias = int | Decimal

LARGEST = 1_000_000
"""No parts, letdown or coats beyond this are meant."""


class Blend(Mapping[str, Number]):
    """Parts by volume of each toner, a read-only mapping in printing order.

    Parameters
    ----------
    parts
        Parts of each toner, more than 0; none for medium alone.

    Raises
    ------
    FewtoneError
        Parts that are not a number, not more than 0, or beyond reason.

    Examples
    --------
    >>> str(Blend({"dusk": 2, "marigold": 4}))
    '2 marigold + 1 dusk'
    >>> Blend({"dusk": 1, "marigold": 2}).fractions["dusk"]
    Fraction(1, 3)
    """

    __slots__ = ("_parts",)

    def __init__(self, parts: Mapping[str, Number]) -> None:
        self._parts = _ordered({name: exact_number(part) for name, part in parts.items()})

    @property
    def fractions(self) -> dict[str, Fraction]:
        """Each toner's share of the blend by volume, exact; together 1."""
        whole = sum((Fraction(part) for part in self._parts.values()), Fraction(0))
        return {name: Fraction(part) / whole for name, part in self._parts.items()}

    def doses(self, coats: Number, medium_parts: Number) -> dict[str, float]:
        """Standard coats of each toner in a film: load times fraction, to the nearest number.

        Parameters
        ----------
        coats
            Full passes of the gun [1].
        medium_parts
            Parts of medium to one part of the blend [1].
        """
        numbers = (*self._parts.values(), coats, medium_parts)
        if all(type(number) is int for number in numbers):
            # As exact as by fractions, and many times as fast.
            *parts, passes, letdown = map(int, numbers)
            whole, load = sum(parts), passes / (1 + letdown)
            return {
                name: part / whole * load for name, part in zip(self._parts, parts, strict=True)
            }
        load = float(film_load(coats, medium_parts))
        return {name: float(share) * load for name, share in self.fractions.items()}

    def __getitem__(self, name: str) -> Number:
        return self._parts[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._parts)

    def __len__(self) -> int:
        return len(self._parts)

    # The dictionary's own views are many times as fast as those of `Mapping`.
    def keys(self) -> KeysView[str]:
        """Names of the toners."""
        return self._parts.keys()

    def values(self) -> ValuesView[Number]:
        """Their parts."""
        return self._parts.values()

    def items(self) -> ItemsView[str, Number]:
        """Names and parts."""
        return self._parts.items()

    def __eq__(self, other: object) -> bool:
        if isinstance(other, Blend):
            return self._parts == other._parts
        return Mapping.__eq__(self, other)

    def __hash__(self) -> int:
        return hash(frozenset(self._parts.items()))

    def __reduce__(self) -> tuple[type[Blend], tuple[dict[str, Number]]]:
        return Blend, (self._parts,)

    def __repr__(self) -> str:
        return f"Blend({self._parts!r})"

    def __str__(self) -> str:
        return " + ".join(f"{number_text(part)} {name}" for name, part in self._parts.items())


def film_load(coats: Number, medium_parts: Number) -> Fraction:
    """Coats over (1 + letdown), exact: all that the colour knows of either.

    Parameters
    ----------
    coats
        Full passes of the gun [1].
    medium_parts
        Parts of medium to one part of blend [1].
    """
    return Fraction(coats) / (1 + Fraction(medium_parts))


def exact_number(value: object) -> Number:
    """Return a number exactly as it was written: whole numbers as int, others as Decimal.

    Parameters
    ----------
    value
        A number, or its text with a decimal point or comma.

    Raises
    ------
    FewtoneError
        Not a finite number, or one of digits without end.
    """
    if isinstance(value, int | Decimal):
        number = Decimal(value) if carried(value) else None
    else:
        number = decimal_from(str(value))
    if number is None:
        shown = None if isinstance(value, int) else str(value)
        raise FewtoneError(Fault("This is not a finite number within reason.", value=shown))
    return int(number) if number == number.to_integral_value() else number


def number_text(number: Number) -> str:
    """Return a number as it is printed, never with an exponent.

    Parameters
    ----------
    number
        Parts, coats or a letdown.
    """
    return f"{number:f}" if isinstance(number, Decimal) else str(number)


def coats_text(coats: Number) -> str:
    """Return a number of coats in words: ``1 coat``, ``4 coats``."""
    return "1 coat" if coats == 1 else f"{number_text(coats)} coats"


def _ordered(parts: dict[str, Number]) -> dict[str, Number]:
    """Return parts in printing order, whole ones in lowest terms."""
    for name, part in parts.items():
        if not 0 < part <= LARGEST:
            raise FewtoneError(
                Fault(
                    f"The parts of {name} must be more than 0 and at most {LARGEST}.",
                    fix="Leave a toner out that has no part in the blend.",
                    value=str(part),
                )
            )
    whole = [part for part in parts.values() if isinstance(part, int)]
    divisor = math.gcd(*whole) if whole and len(whole) == len(parts) else 1
    lowest = {n: p // divisor if isinstance(p, int) else p for n, p in parts.items()}
    return dict(sorted(lowest.items(), key=lambda item: (-item[1], item[0])))
