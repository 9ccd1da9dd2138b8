"""`fewtone sheet`: a page to print and pin up."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

from fewtone.cli import options

__all__ = ["sheet"]


def sheet(
    recipe: options.RecipeArgument,
    output: Annotated[
        Path,
        typer.Option("--output", "-o", metavar="FILE.html", help="Where to write the page."),
    ],
    target: options.TargetOption = None,
    volume: options.VolumeOption = None,
    area: options.AreaOption = None,
    extra: options.ExtraOption = None,
    by_weight: options.ByWeightOption = False,
    exact: options.ExactOption = False,
    rounding: options.RoundingOption = None,
    use_up: options.FromOption = None,
    pdf: Annotated[
        Path | None,
        typer.Option("--pdf", metavar="FILE.pdf", help="Write it as PDF too; needs fewtone[pdf]."),
    ] = None,
    paper: Annotated[
        Literal["a4", "letter"],
        typer.Option("--paper", help="The PDF's paper; the page itself prints on both."),
    ] = "a4",
    force: Annotated[
        bool, typer.Option("--force", help="Overwrite files that are there already.")
    ] = False,
    shelf: options.ShelfOption = None,
    light: options.LightOption = None,
    deck: options.DeckOption = None,
    tolerance: options.ToleranceOption = None,
    plain: options.PlainOption = False,
    as_json: options.JsonOption = False,
) -> None:
    """Write one page about a recipe: its colour, what to pour, its letdown strip, its spectrum.

    One HTML file that needs nothing else and prints on one sheet of A4 or US Letter. Without
    --volume or --area it shows 500 ml.
    """
    from fewtone.cli.console import SAFETY, out, print_cautions, print_document, working
    from fewtone.io.atomic import refuse_to_overwrite, write_atomic
    from fewtone.report.content import sheet_document

    files = [output] if pdf is None else [output, pdf]
    if not force:
        refuse_to_overwrite(files)
    loaded = options.open_shelf(shelf)
    page = loaded.sheet(
        recipe,
        target=target,
        light=light,
        deck=deck,
        tolerance=tolerance,
        volume=volume,
        area=area,
        extra=extra,
        by_weight=by_weight,
        exact=exact,
        rounding=rounding,
        use_up=options.rests(use_up),
    )
    print_cautions(caution for caution in page.cautions if caution not in loaded.cautions)
    html = page.html()
    printed = None
    if pdf is not None:
        with working("Laying out the PDF"):
            printed = page.pdf(paper)
    write_atomic(output, html)
    if pdf is not None and printed is not None:
        write_atomic(pdf, printed)
    written = [str(file) for file in files]
    if as_json:
        print_document({**sheet_document(page), "written": written})
    else:
        out(*(f"Wrote {file}" for file in written), plain=plain)
    print_cautions([SAFETY])
