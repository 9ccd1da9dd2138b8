"""`fewtone letdown`: the colour at each coat over each ground."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from fewtone.cli import options

if TYPE_CHECKING:
    from rich.table import Table
    from rich.text import Text

    from fewtone.bench.letdown import Letdown, Strip

__all__ = ["letdown"]


def letdown(
    recipe: options.RecipeArgument,
    target: options.TargetOption = None,
    shelf: options.ShelfOption = None,
    light: options.LightOption = None,
    deck: options.DeckOption = None,
    ground: options.GroundOption = None,
    coats: Annotated[
        int | None, typer.Option("--coats", metavar="N", help="The last coat of the strips.")
    ] = None,
    as_json: options.JsonOption = False,
) -> None:
    """Predict the colour at each coat over each ground, and which comes nearest to a target."""
    from fewtone.cli.console import print_cautions, print_document
    from fewtone.documents import letdown_document

    loaded = options.open_shelf(shelf)
    result = loaded.letdown(
        recipe,
        target=target,
        light=light,
        deck=deck,
        grounds=options.names(ground),
        most_coats=coats,
    )
    print_cautions((*(result.target.cautions if result.target else ()), *result.cautions))
    if as_json:
        print_document(letdown_document(result))
    else:
        _show(result)


def _show(result: Letdown) -> None:
    from fewtone.cli.console import out, shows_colour
    from fewtone.cli.words import target_words

    recipe = result.recipe
    blend, medium, _ = str(recipe).split(", ")
    out(f"{blend}, {medium}", "")
    if result.target is not None:
        out(target_words(result.target), "")
    coloured = shows_colour()
    for strip in result.strips:
        out(f"Over {strip.ground}", _table(strip, coloured), "")
    if coloured and not all(step.in_gamut for strip in result.strips for step in strip.steps):
        out("* A screen cannot show this colour; the block is the nearest it can.")
    best = result.nearest
    if best is not None:
        out(f"Nearest of all: {best.coats} coats over {best.ground}, Delta E {best.de00:.2f}")


def _table(strip: Strip, coloured: bool) -> Table:
    from rich.box import SIMPLE_HEAD
    from rich.table import Table

    from fewtone.cli.console import swatch

    compared = strip.nearest is not None
    table = Table(box=SIMPLE_HEAD, pad_edge=False, show_edge=False)
    table.add_column("coats", justify="right")
    if coloured:
        table.add_column("")
    for title in ("L*", "a*", "b*", "step", *(["Delta E"] if compared else [])):
        table.add_column(title, justify="right", no_wrap=True)
    if compared:
        table.add_column("")
    for step in strip.steps:
        row: list[str | Text] = [str(step.coats)]
        if coloured:
            block = swatch(step.rgb)
            row.append(block if step.in_gamut else block.append("*", style="not on default"))
        row += [f"{value:.1f}" for value in step.lab]
        row.append("" if step.step_de00 is None else f"{step.step_de00:.1f}")
        if compared:
            row += [f"{step.de00:.2f}", _mark(strip, step.coats)]
        table.add_row(*row)
    return table


def _mark(strip: Strip, coats: int) -> str:
    marks = []
    if strip.nearest is not None and coats == strip.nearest.coats:
        marks.append("nearest")
    if coats == strip.overshoots_from:
        marks.append("overshoots from here")
    elif strip.overshoots_from is None and coats == strip.steps[-1].coats:
        marks.append("still short")
    return ", ".join(marks)
