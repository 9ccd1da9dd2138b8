"""`fewtone sheet`: a page to print and pin up."""

from __future__ import annotations

from typing import Annotated, Literal

import typer

from fewtone.cli import options, target_options
from fewtone.cli.pages import OutputOption, outputs, wants_pdf, write_page

__all__ = ["sheet"]


def sheet(
    output: OutputOption,
    recipe: options.RecipeOfJobArgument = None,
    job: options.JobOption = None,
    book: options.BookOption = None,
    target: options.TargetOption = None,
    volume: options.VolumeOption = None,
    area: options.AreaOption = None,
    extra: options.ExtraOption = None,
    by_weight: options.ByWeightOption = False,
    exact: options.ExactOption = False,
    rounding: options.RoundingOption = None,
    use_up: options.FromOption = None,
    paper: Annotated[
        Literal["a4", "letter"],
        typer.Option("--paper", help="The PDF's paper; the page itself prints on both."),
    ] = "a4",
    force: Annotated[
        bool, typer.Option("--force", help="Overwrite files that are there already.")
    ] = False,
    shelf: options.ShelfOption = None,
    light: target_options.LightOption = None,
    deck: target_options.DeckOption = None,
    geometry: target_options.GeometryOption = None,
    anyway: target_options.AnywayOption = False,
    tolerance: options.ToleranceOption = None,
    plain: options.PlainOption = False,
    as_json: options.JsonOption = False,
) -> None:
    """Write one page about a recipe: its colour, what to pour, its letdown strip, its spectrum.

    One HTML file that needs nothing else and prints on one sheet of A4 or US Letter. Without
    --volume or --area it shows 500 ml.
    """
    from fewtone.cli.console import SAFETY, out, print_cautions, print_document, working
    from fewtone.cli.jobs import work_on
    from fewtone.io.atomic import refuse_to_overwrite
    from fewtone.report.content import sheet_document

    files = outputs(output, as_json=as_json)
    if not force:
        refuse_to_overwrite([file for file in files if file is not None])
    loaded = options.open_shelf(shelf)
    work = work_on(loaded, recipe, target, job, book)
    wanted = target_options.target_of(
        loaded, work.target, light=light, deck=deck, geometry=geometry, anyway=anyway
    )
    page = loaded.sheet(
        work.recipe,
        target=wanted,
        light=light,
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
    pdf = b""
    if wants_pdf(files):
        with working("Laying out the PDF"):
            pdf = page.pdf(paper)
    written = write_page(files, html, pdf)
    if as_json:
        print_document({**sheet_document(page), "written": written})
    elif written:
        out(*(f"Wrote {file}" for file in written), plain=plain)
    print_cautions([SAFETY])
