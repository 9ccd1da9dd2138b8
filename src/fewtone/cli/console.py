"""What the commands print: results to standard output, cautions and errors to standard error."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.console import Console, RenderableType
    from rich.text import Text

    from fewtone.documents import Document
    from fewtone.errors import Fault

__all__ = [
    "SAFETY",
    "out",
    "print_cautions",
    "print_document",
    "print_faults",
    "shows_colour",
    "swatch",
]

SAFETY = (
    "Mixing and spraying can harm you: the products' safety data sheets, local code and licensed "
    "practice come first."
)


def print_document(document: Document) -> None:
    """One JSON document on standard output."""
    sys.stdout.write(json.dumps(document, ensure_ascii=False, indent=1) + "\n")


def print_faults(faults: Iterable[Fault]) -> None:
    """Say what is wrong, where, and how to mend it."""
    for fault in faults:
        place = [fault.file] if fault.file else []
        if fault.row is not None:
            place.append(f"row {fault.row}")
        if fault.column:
            place.append(f"column {fault.column}" if fault.row is not None else fault.column)
        lines = [f"{', '.join(place)}: {fault.message}" if place else fault.message]
        if fault.value is not None and fault.value not in fault.message:
            lines.append(f"  It says: {fault.value}")
        if fault.fix:
            lines.append(f"  {fault.fix}")
        sys.stderr.write("\n".join(line.rstrip() for line in lines) + "\n")


def print_cautions(cautions: Iterable[str]) -> None:
    """Say what should be known, on standard error."""
    for caution in cautions:
        sys.stderr.write(f"Note: {caution}\n")


def out(*parts: RenderableType) -> None:
    """Print to standard output, wrapped to the terminal; text stays text, never markup."""
    console = _console()
    for part in parts:
        console.print(part, markup=False, highlight=False)


def shows_colour() -> bool:
    """Whether standard output is a terminal that shows colour and is asked to."""
    console = _console()
    return console.color_system is not None and not console.no_color


def swatch(rgb: Sequence[float], width: int = 6) -> Text:
    """A block of colour (sRGB, 0..1); it holds no text."""
    from rich.text import Text

    red, green, blue = (round(255 * value) for value in rgb)
    return Text(" " * width, style=f"on #{red:02x}{green:02x}{blue:02x}")


def _console() -> Console:
    from rich.console import Console

    # Without a terminal, rich falls back to 80 columns, which would break long recipe lines in
    # files; there nothing needs to wrap.
    return Console() if sys.stdout.isatty() else Console(width=200)
