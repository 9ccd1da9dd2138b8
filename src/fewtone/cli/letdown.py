"""`fewtone letdown`: the colour at each coat over each ground."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from fewtone.cli import options, target_options

if TYPE_CHECKING:
    from fewtone.cli.console import Grid, Part
    from fewtone.colorimetry import Light
    from fewtone.workshop.look.letdown import Letdown, Step, Strip

__all__ = ["letdown"]


def letdown(
    recipe: options.RecipeArgument,
    target: options.TargetOption = None,
    shelf: options.ShelfOption = None,
    light: target_options.LightOption = None,
    deck: target_options.DeckOption = None,
    geometry: target_options.GeometryOption = None,
    anyway: target_options.AnywayOption = False,
    ground: options.GroundOption = None,
    coats: Annotated[
        int | None, typer.Option("--coats", metavar="N", help="The last coat of the strips.")
    ] = None,
    tolerance: options.ToleranceOption = None,
    plain: options.PlainOption = False,
    as_json: options.JsonOption = False,
) -> None:
    """Predict the colour at each coat over each ground, and which comes nearest to a target."""
    from fewtone.cli.console import out, print_cautions, print_document
    from fewtone.report.json import letdown_document

    loaded = options.open_shelf(shelf)
    wanted = target_options.target_of(
        loaded, target, light=light, deck=deck, geometry=geometry, anyway=anyway
    )
    result = loaded.letdown(
        recipe,
        target=wanted,
        light=light,
        grounds=options.names(ground),
        most_coats=coats,
        tolerance=tolerance,
    )
    print_cautions((*(result.target.cautions if result.target else ()), *result.cautions))
    if as_json:
        print_document(letdown_document(result))
    else:
        out(*_parts(result), plain=plain)


def _parts(result: Letdown) -> list[Part]:
    from fewtone.cli.console import Heading
    from fewtone.cli.words import target_words

    blend, medium, _ = str(result.recipe).split(", ")
    parts: list[Part] = [Heading(f"{blend}, {medium}"), ""]
    if result.target is not None:
        parts += [target_words(result.target), ""]
    for strip in result.strips:
        parts += [f"Over {strip.ground}", _grid(strip, result.light), ""]
    best = result.nearest
    if best is not None:
        parts.append(f"Nearest of all: {best.coats} coats over {best.ground}, ΔE00 {best.de00:.2f}")
    return parts


def _grid(strip: Strip, light: Light) -> Grid:
    from fewtone.cli.console import Grid
    from fewtone.report.swatches import swatches

    compared = strip.nearest is not None
    sure = any(step.pass_probability is not None for step in strip.steps)
    blocks = swatches([step.lab for step in strip.steps], light)
    rows = [
        (
            str(step.coats),
            block,
            *(f"{value:5.1f}" for value in step.lab),
            "" if step.step_de00 is None else f"{step.step_de00:4.1f}",
            *((f"{step.de00:.2f}",) if compared else ()),
            *((_passes(step),) if sure else ()),
            *((_mark(strip, step.coats),) if compared else ()),
        )
        for step, block in zip(strip.steps, blocks, strict=True)
    ]
    further = (*((">ΔE00",) if compared else ()), *((">passes",) if sure else ()))
    marks = ("",) if compared else ()
    return Grid((">coats", "", ">L*", ">a*", ">b*", ">step", *further, *marks), rows)


def _passes(step: Step) -> str:
    return "" if step.pass_probability is None else f"{step.pass_probability:.0%}"


def _mark(strip: Strip, coats: int) -> str:
    marks = []
    if strip.nearest is not None and coats == strip.nearest.coats:
        marks.append("nearest")
    if coats == strip.overshoots_from:
        marks.append("overshoots from here")
    elif strip.overshoots_from is None and coats == strip.steps[-1].coats:
        marks.append("still short")
    return ", ".join(marks)
