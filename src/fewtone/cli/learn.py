"""`fewtone learn`: from readings to curves."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fewtone.cli import options

if TYPE_CHECKING:
    from fewtone.cli.console import Part
    from fewtone.learning import FitReport

__all__ = ["learn"]


def learn(
    shelf: options.ShelfOption = None,
    leave_out: Annotated[
        str | None,
        typer.Option("--leave-out", metavar="P1,P2", help="Panels that are not to count."),
    ] = None,
    plain: options.PlainOption = False,
    as_json: options.JsonOption = False,
) -> None:
    """Learn the optics of toners and grounds from the shelf's readings."""
    from fewtone.api import learn as learn_shelf
    from fewtone.cli.console import out, print_document, working
    from fewtone.documents import learn_document

    folder = options.shelf_folder(shelf)
    with working("Learning"):
        report = learn_shelf(folder, leave_out=options.names(leave_out) or ())
    if as_json:
        print_document(learn_document(report))
    else:
        out(*_parts(report, folder), plain=plain)


def _parts(report: FitReport, folder: Path) -> list[Part]:
    from fewtone.cli.console import Grid, Heading

    rows = [
        (
            name,
            str(toner.readings),
            f"{toner.median_de00:.2f}",
            f"{toner.worst_de00:.2f}",
            f"{toner.peak_nm:g}",
            f"{toner.strength:.2f}",
            toner.worst_panel,
        )
        for name, toner in report.toners.items()
    ]
    columns = (">readings", ">ΔE00", ">worst", ">peak nm", ">strength", "worst panel")
    return [
        Heading(
            f"Learnt {len(report.toners)} toners from {report.readings} readings on "
            f"{report.panels} panels."
        ),
        "ΔE00 is between readings and fit: the median of each toner, and its worst panel.",
        "",
        Grid(("toner", *columns), rows),
        "",
        f"Next: fewtone match TARGET --shelf {folder}",
    ]
