"""What the commands print: results to standard output, cautions and errors to standard error."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.console import Console, RenderableType

    from fewtone.documents import Document
    from fewtone.errors import Fault

__all__ = ["SAFETY", "out", "print_cautions", "print_document", "print_faults"]

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


def _console() -> Console:
    from rich.console import Console

    # Without a terminal, rich falls back to 80 columns, which would break long recipe lines in
    # files; there nothing needs to wrap.
    return Console() if sys.stdout.isatty() else Console(width=200)
