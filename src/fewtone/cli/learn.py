"""`fewtone learn`: from readings to curves."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fewtone.cli import options

if TYPE_CHECKING:
    from fewtone.learning import FitReport

__all__ = ["learn"]


def learn(
    shelf: options.ShelfOption = None,
    leave_out: Annotated[
        str | None,
        typer.Option("--leave-out", metavar="P1,P2", help="Panels that are not to count."),
    ] = None,
    as_json: options.JsonOption = False,
) -> None:
    """Learn the optics of toners and grounds from the shelf's readings."""
    from fewtone.api import learn as learn_shelf
    from fewtone.cli.console import print_document
    from fewtone.documents import learn_document

    folder = options.shelf_folder(shelf)
    report = learn_shelf(folder, leave_out=options.names(leave_out) or ())
    if as_json:
        print_document(learn_document(report))
    else:
        _show(report, folder)


def _show(report: FitReport, folder: Path) -> None:
    from rich.box import SIMPLE_HEAD
    from rich.table import Table

    from fewtone.cli.console import out

    table = Table(box=SIMPLE_HEAD, pad_edge=False, show_edge=False)
    table.add_column("toner", overflow="fold")
    for title in ("readings", "Delta E", "worst", "peak nm", "strength"):
        table.add_column(title, justify="right", no_wrap=True)
    table.add_column("worst panel", overflow="fold")
    for name, toner in report.toners.items():
        table.add_row(
            name,
            str(toner.readings),
            f"{toner.median_de00:.2f}",
            f"{toner.worst_de00:.2f}",
            f"{toner.peak_nm:g}",
            f"{toner.strength:.2f}",
            toner.worst_panel,
        )
    out(
        f"Learnt {len(report.toners)} toners from {report.readings} readings on "
        f"{report.panels} panels.",
        "Delta E is between readings and fit: the median of each toner, and its worst panel.",
        "",
        table,
        "",
        f"Next: fewtone match TARGET --shelf {folder}",
    )
