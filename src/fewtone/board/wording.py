"""The library speaks of parameters and commands, the pages of fields and of one another."""

from __future__ import annotations

import re
from dataclasses import replace

from fewtone.errors import Fault, printable

__all__ = ["in_fields", "with_fields"]

_FIELDS = {
    "area": "Area",
    "coats": "Coats",
    "deck": "the deck",
    "extra": "Left in gun and cup",
    "grounds": "Over",
    "leave_out": "Leave out",
    "left": "Left in the cup",
    "light": "Light",
    "max_part": "Largest part",
    "max_toners": "Most toners",
    "medium_parts": "Letdown",
    "reading_light": "Light of the reading",
    "room": "The cup holds",
    "rounding": "Rounding",
    "sprayed": "Coats",
    "tolerance": "Tolerance",
    "volume": "Volume",
    "without": "Leave out",
}
_PAGES = {
    "learn": "“Learn” on the page Shelf",
    "match": "the page Ask",
    "check": "the page Recipe",
    "new": "the first page",
    "job": "the page Book",
}
_NAMED = re.compile(r"`([a-z_]{1,40})`")
_COMMAND = re.compile(r"(?:[Rr]un )?`fewtone ([a-z]{1,20})\b[^`]{0,200}`")


def in_fields(text: str) -> str:
    """Return `text` with the parameters and commands that it names as fields and pages."""
    text = _COMMAND.sub(_page, text)
    return _NAMED.sub(lambda match: f"“{_FIELDS.get(match[1], match[1])}”", text)


def with_fields(fault: Fault) -> Fault:
    """Return `fault` in the words of the pages: message and fix as `in_fields` gives them.

    What of a file or an address is not printable is written out.
    """
    file, column, value = (
        None if text is None else printable(text)
        for text in (fault.file, fault.column, fault.value)
    )
    return replace(
        fault,
        message=in_fields(printable(fault.message)),
        fix=None if fault.fix is None else in_fields(printable(fault.fix)),
        file=file,
        column=column,
        value=value,
    )


def _page(match: re.Match[str]) -> str:
    page = _PAGES.get(match[1])
    if page is None:
        return match[0]
    verb = {"Run": "Use ", "run": "use "}.get(match[0][:3], "")
    return f"{verb}{page}"
