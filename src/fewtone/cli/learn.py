"""`fewtone learn`: from readings to curves."""

from __future__ import annotations

from typing import Annotated

import typer

from fewtone.cli import options

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
    from fewtone.cli.console import print_cautions, print_document

    folder = options.shelf_folder(shelf)
    learnt = learn_shelf(folder, leave_out=options.names(leave_out) or ())
