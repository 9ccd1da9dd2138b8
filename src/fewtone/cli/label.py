"""`fewtone label`: a sticker for the cup or the bottle."""

from __future__ import annotations

import datetime
from typing import Annotated

import typer

from fewtone.cli import options
from fewtone.cli.pages import OutputOption, outputs, wants_pdf, write_page

__all__ = ["label"]


def label(
    recipe: options.RecipeOfJobArgument = None,
    job: options.JobOption = None,
    book: options.BookOption = None,
    name: Annotated[
        str, typer.Option("--name", metavar="NAME", help="What the colour is called.")
    ] = "",
    output: OutputOption = [],  # noqa: B006
    date: Annotated[
        str | None,
        typer.Option("--date", metavar="2025-03-31", help="When it was mixed; today if not said."),
    ] = None,
    force: Annotated[
        bool, typer.Option("--force", help="Overwrite files that are there already.")
    ] = False,
    shelf: options.ShelfOption = None,
    plain: options.PlainOption = False,
    as_json: options.JsonOption = False,
) -> None:
    """Write a small sticker: name, recipe, letdown, coats, ground and date."""
    from fewtone.cli.console import SAFETY, Framed, out, print_cautions, print_document, working
    from fewtone.cli.jobs import work_on
    from fewtone.io.atomic import refuse_to_overwrite

    files = outputs(output, as_json=as_json)
    if not force:
        refuse_to_overwrite([file for file in files if file is not None])
    options.require_day("--date", date)
    day = None if date is None else datetime.date.fromisoformat(date)
    loaded = options.open_shelf(shelf)
    work = work_on(loaded, recipe, None, job, book)
    called = name or (work.job.name if work.job else "")
    sticker = loaded.label(work.recipe, name=called, date=day)
    pdf = b""
    if wants_pdf(files):
        with working("Laying out the PDF"):
            pdf = sticker.pdf()
    written = write_page(files, sticker.html(), pdf)
    if as_json:
        print_document({**sticker.document(), "written": written})
    elif None not in files:
        lines = [*sticker.lines, *(f"Wrote {file}" for file in written)]
        out(Framed(sticker.swatch, None, lines), plain=plain)
    print_cautions([SAFETY])
