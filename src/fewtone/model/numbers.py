"""The one gate for numbers that come from outside: files, options, recipe lines.

A number is read exactly as it was written, so it must be one that exact arithmetic can carry:
``1e99999999`` is eleven characters and a hundred million digits. Digits and exponent are capped
here, far beyond anything that is meant, and everything that reads a number reads it through here.
"""

from __future__ import annotations

import re
from decimal import Decimal
from functools import lru_cache

__all__ = ["carried", "decimal_from"]

_MOST_DIGITS = 100
"""Of the number and of its exponent's reach, either way; a double in full has 17."""
_LARGEST: int = 10**_MOST_DIGITS
_NUMBER = re.compile(r"[-+]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][-+]?[0-9]{1,4})?")


@lru_cache(maxsize=20_000)  # readings have four places: the same numbers come again and again
def decimal_from(text: str) -> Decimal | None:
    """Read a number with a decimal point or comma; None if it is not a finite one within reason.

    Parameters
    ----------
    text
        As it was typed.

    Examples
    --------
    >>> decimal_from("0,25"), decimal_from("1e99999999"), decimal_from("\u00b2")
    (Decimal('0.25'), None, None)
    """
    if len(text) > 2 * _MOST_DIGITS:
        return None
    plain = text.strip().replace("\u2212", "-").replace(",", ".")
    if not _NUMBER.fullmatch(plain):
        return None
    value = Decimal(plain)
    return value if carried(value) else None


def carried(value: int | Decimal) -> bool:
    """Whether exact arithmetic can carry a number: it is finite and of a size within reason.

    Parameters
    ----------
    value
        The number.
    """
    if isinstance(value, int):
        return -_LARGEST < value < _LARGEST
    if not value.is_finite():
        return False
    _, digits, exponent = value.as_tuple()
    return len(digits) <= _MOST_DIGITS and abs(int(exponent)) <= _MOST_DIGITS
