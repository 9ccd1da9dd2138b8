"""Readings and coats as forms have them, brought to what the library takes."""

from __future__ import annotations

from typing import Any

from fewtone.errors import Fault, UsageError
from fewtone.model.blend import Number, exact_number
from fewtone.model.numbers import decimal_from

__all__ = ["MOST_READINGS", "READING_FIELDS", "coats_of", "light_of", "readings_of"]

MOST_READINGS = 3
"""Readings that a form takes."""

READING_FIELDS = (
    *(f"{name}{n}" for n in range(1, MOST_READINGS + 1) for name in ("L", "a", "b", "at")),
    "sprayed",
    "reading_light",
)
"""Fields of a form in which a panel's readings are typed."""


def readings_of(fields: Any) -> list[str]:
    """The readings of a form as the command line takes them.

    Parameters
    ----------
    fields
        A form or an address: ``L1``, ``a1``, ``b1``, and ``at1`` for its coats, and so on.

    Raises
    ------
    UsageError
        One has not all three numbers.
    """
    readings = []
    for number in range(1, MOST_READINGS + 1):
        cells = [fields.get(f"{name}{number}", "").strip().replace(",", ".") for name in "Lab"]
        coats = fields.get(f"at{number}", "").strip()
        if not any(cells):
            continue
        if not all(cells):
            raise UsageError(
                Fault(
                    f"Reading {number} has not all of L*, a* and b*.",
                    fix="Fill in the missing ones, or empty it.",
                    value=", ".join(cells),
                )
            )
        readings.append(",".join(cells) + (f" at {coats} coats" if coats else ""))
    return readings


def coats_of(fields: Any) -> Number | None:
    """The coats that were sprayed, where they are not the recipe's; None if nothing was said.

    Parameters
    ----------
    fields
        A form or an address with ``sprayed``.

    Raises
    ------
    UsageError
        It is no number.
    """
    text = fields.get("sprayed", "").strip()
    if not text:
        return None
    value = decimal_from(text)
    if value is None:
        raise UsageError(Fault(f"Coats: '{text}' is not a number.", "Write such as 3.", value=text))
    return exact_number(value)


def light_of(fields: Any) -> str | None:
    """The light that the readings were taken in; None if nothing was said.

    Parameters
    ----------
    fields
        A form or an address with ``reading_light``.
    """
    return fields.get("reading_light", "").strip() or None
