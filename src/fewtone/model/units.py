"""Amounts as people write them: ``600ml``, ``20 floz-us``, ``1.4 m2``, ``15%``; kept exact.

Every factor is exact by definition, so that an amount is a rational number and stays one.

Sources
    NIST Special Publication 811 (2008), appendix B: 1 in = 2.54 cm, 1 ft = 12 in, the US gallon
    is 231 in³, the imperial gallon 4.546 09 L. A US gallon holds 4 quarts or 128 fluid ounces, an
    imperial one 8 pints or 160 fluid ounces.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction
from types import MappingProxyType
from typing import TypeAlias

from fewtone.errors import Fault, UsageError
from fewtone.model.names import did_you_mean
from fewtone.model.numbers import carried, decimal_from

__all__ = ["AREA_M2", "VOLUME_ML", "Amount", "area_m2", "percent", "volume_ml", "volume_or_share"]

Amount: TypeAlias = str | int | float | Decimal | Fraction

_INCH_CM = Fraction(254, 100)
_US_GALLON_ML = 231 * _INCH_CM**3
_IMPERIAL_GALLON_ML = Fraction(454609, 100)

VOLUME_ML: Mapping[str, Fraction] = MappingProxyType(
    {
        "ml": Fraction(1),
        "l": Fraction(1000),
        "floz-us": _US_GALLON_ML / 128,
        "floz-imp": _IMPERIAL_GALLON_ML / 160,
        "qt-us": _US_GALLON_ML / 4,
        "pt-imp": _IMPERIAL_GALLON_ML / 8,
    }
)
AREA_M2: Mapping[str, Fraction] = MappingProxyType(
    {"m2": Fraction(1), "sqft": (12 * _INCH_CM / 100) ** 2}
)

_AMOUNT = re.compile(r"([-+\u2212]?[\d.,]+) ?([^\d\s].*)?")
_LONGEST = 200  # characters; a number and a unit
_LARGEST_ML = 10_000_000
_LARGEST_M2 = 100_000
_LARGEST_PERCENT = 1000


def volume_ml(amount: Amount, *, what: str = "The volume") -> Fraction:
    """Read a volume [ml]; a bare number in Python is in ml already.

    Parameters
    ----------
    amount
        Such as ``600ml``, ``0.6 l`` or ``20 floz-us``.
    what
        What it is, for the message.

    Raises
    ------
    UsageError
        Not a number, without a unit, in an unknown unit, not more than 0, or beyond reason.
    """
    return _measured(amount, VOLUME_ML, what, _LARGEST_ML, "600ml or 20floz-us")


def area_m2(amount: Amount, *, what: str = "The area") -> Fraction:
    """Read an area [m²]; a bare number in Python is in m² already. Raises as `volume_ml`."""
    return _measured(amount, AREA_M2, what, _LARGEST_M2, "1.4m2 or 15sqft")


def volume_or_share(amount: Amount, of_ml: Fraction, *, what: str) -> Fraction:
    """Read a volume [ml], or a percentage of another one. 0 is allowed; raises as `volume_ml`.

    Parameters
    ----------
    amount
        Such as ``40ml`` or ``15%``.
    of_ml
        What a percentage is of [ml].
    what
        What it is, for messages.
    """
    if isinstance(amount, str) and "%" in amount:
        return of_ml * percent(amount, what=what) / 100
    if isinstance(amount, str):
        value, unit = _split(amount, what, VOLUME_ML, "40ml or 10%")
        return _in_range(value * _factor(unit, VOLUME_ML, what, amount), what, _LARGEST_ML, amount)
    return _in_range(_exact(amount, what), what, _LARGEST_ML, str(amount))


def percent(amount: Amount, *, what: str) -> Fraction:
    """Read a percentage, with or without its sign: ``15%`` is 15. 0 is allowed.

    Parameters
    ----------
    amount
        Such as ``15%`` or 15.
    what
        What it is, for messages.

    Raises
    ------
    UsageError
        Not a number, negative, or beyond reason.
    """
    if isinstance(amount, str):
        value = decimal_from(amount.replace("%", "").strip())
        if value is None:
            raise UsageError(
                Fault(
                    f"{what} '{amount}' is not a percentage.",
                    fix="Write it as 15%.",
                    value=amount,
                )
            )
        return _in_range(Fraction(value), what, _LARGEST_PERCENT, amount)
    return _in_range(_exact(amount, what), what, _LARGEST_PERCENT, str(amount))


def _measured(
    amount: Amount, units: Mapping[str, Fraction], what: str, largest: int, example: str
) -> Fraction:
    if isinstance(amount, str):
        value, unit = _split(amount, what, units, example)
        size = value * _factor(unit, units, what, amount)
    else:
        size = _exact(amount, what)
    size = _in_range(size, what, largest, str(amount))
    if size == 0:
        raise UsageError(
            Fault(f"{what} must be more than 0.", fix=f"Write it as {example}.", value=str(amount))
        )
    return size


def _exact(amount: float | Decimal | Fraction, what: str) -> Fraction:
    """A number of Python's own, exactly."""
    try:
        if not isinstance(amount, Decimal) or carried(amount):
            return Fraction(amount)
    except (ValueError, OverflowError):  # not a number, infinite
        pass
    raise UsageError(Fault(f"{what} is not a finite number within reason.", value=str(amount)))


def _split(
    text: str, what: str, units: Mapping[str, Fraction], example: str
) -> tuple[Fraction, str]:
    match = _AMOUNT.fullmatch(" ".join(text.split())) if len(text) <= _LONGEST else None
    value = decimal_from(match[1]) if match else None
    if match is None or value is None:
        raise UsageError(
            Fault(
                f"{what} '{text}' is not a number and a unit ({', '.join(units)}).",
                fix=f"Write it as {example}.",
                value=text,
            )
        )
    if not match[2]:
        raise UsageError(
            Fault(
                f"{what} '{text}' has no unit; it needs one of {', '.join(units)}.",
                fix=f"Write it as {example}.",
                value=text,
            )
        )
    return Fraction(value), match[2]


def _factor(unit: str, units: Mapping[str, Fraction], what: str, text: str) -> Fraction:
    name = unit.lower()
    if name not in units:
        raise UsageError(
            Fault(
                f"{what} has the unit '{unit}', which is not known: use one of "
                f"{', '.join(units)}.{_kin(name, units) or did_you_mean(name, units)}",
                fix="US and imperial measures differ: name which, such as floz-us or floz-imp.",
                value=text,
            )
        )
    return units[name]


def _kin(name: str, units: Mapping[str, Fraction]) -> str:
    """Both measures of that name, where the country was left out."""
    kin = [unit for unit in units if "-" in unit and unit.split("-")[0] in (name, f"fl{name}")]
    return f" Is it {' or '.join(kin)}?" if kin else ""


def _in_range(value: Fraction, what: str, largest: int, text: str) -> Fraction:
    if not 0 <= value <= largest:
        problem = "cannot be negative" if value < 0 else f"is beyond {largest:,}"
        raise UsageError(Fault(f"{what} {problem}.", fix="Correct it.", value=text))
    return value
