"""`fewtone adjust`: after a panel, coats for the work or what to add to the mix."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from fewtone.cli import options, target_options

if TYPE_CHECKING:
    from fewtone.cli.console import Part
    from fewtone.workshop.panel.adjust import Adjustment
    from fewtone.workshop.panel.posterior import Depth

__all__ = ["adjust"]


def adjust(
    reading: Annotated[
        list[str],
        typer.Option(
            "--reading",
            metavar="L,a,b",
            help="What the last panel reads under cured clear; give it several times to average, "
            '"L,a,b at 2 coats" for a step of a strip.',
        ),
    ],
    recipe: options.RecipeOfJobArgument = None,
    target: options.TargetOption = None,
    job: options.JobOption = None,
    book: options.BookOption = None,
    earlier: Annotated[
        list[str] | None,
        typer.Option(
            "--earlier",
            metavar='"L,a,b of RECIPE"',
            help="A panel of this job before the last one: what it reads, and the recipe it was "
            'sprayed with. Once for each, in order; "and" between several readings of one.',
        ),
    ] = None,
    sprayed: Annotated[
        str | None,
        typer.Option("--sprayed", metavar="N", help="Coats of the panel, if not the recipe's."),
    ] = None,
    left: Annotated[
        str | None,
        typer.Option("--left", metavar="350ml", help="How much of the mix is left."),
    ] = None,
    room: Annotated[
        str | None,
        typer.Option(
            "--room", metavar="500ml", help="The most the cup may hold, additions and all."
        ),
    ] = None,
    activated: Annotated[
        bool, typer.Option("--activated", help="The hardener is in: nothing may be added.")
    ] = False,
    keep_reading: Annotated[
        bool,
        typer.Option("--keep-reading", help="Keep the reading for learning, in readings.csv."),
    ] = False,
    panel: Annotated[
        str | None, typer.Option("--panel", metavar="ID", help="The kept panel's id.")
    ] = None,
    shelf: options.ShelfOption = None,
    light: target_options.LightOption = None,
    reading_light: Annotated[
        str | None,
        typer.Option(
            "--reading-light",
            metavar="LIGHT",
            help="Illuminant and observer of the reading, if not the shelf's.",
        ),
    ] = None,
    deck: target_options.DeckOption = None,
    geometry: target_options.GeometryOption = None,
    anyway: target_options.AnywayOption = False,
    as_json: options.JsonOption = False,
    plain: options.PlainOption = False,
) -> None:
    """Work out, after a panel was read, how many coats to give, what to add, or to leave it."""
    from fewtone.cli.console import SAFETY, out, print_cautions, print_document
    from fewtone.cli.jobs import work_on
    from fewtone.jobs import panel_entries
    from fewtone.report.json import adjust_document
    from fewtone.workshop.pour.mix import strength_cautions

    loaded = options.open_shelf(shelf)
    coats = options.count("--sprayed", sprayed)
    work = work_on(loaded, recipe, target, job, book)
    if work.target is None:
        raise options.usage_error(
            "What was asked for is missing: --target.",
            "Give it, or name the job that it stands in with --job.",
            "",
        )
    recipe = work.recipe
    result = loaded.adjust(
        recipe,
        target=loaded.target(work.target, light=light, deck=deck, geometry=geometry, anyway=anyway),
        readings=reading,
        earlier=[*work.earlier, *(earlier or ())],
        reading_light=reading_light,
        sprayed=coats,
        left=left,
        room=room,
        activated=activated,
    )
    print_cautions((*result.target.cautions, *result.cautions))
    sprayed_with = result.recipe if coats is None else result.recipe.with_(coats=coats)
    kept = None
    # The reading goes to the shelf and to the job at once, or to neither.
    with work.noting() as note:
        if work.job is not None:
            curves = loaded.over([result.after.recipe])
            entries = panel_entries(curves, result, sprayed_with, reading)
            note(*((entry.kind, dict(entry.data)) for entry in entries))
        if keep_reading:
            kept = loaded.keep_reading(
                recipe, reading, light=result.reading_light, sprayed=coats, panel=panel
            )
    if as_json:
        print_document(adjust_document(result, kept))
    else:
        out(*_parts(result), plain=plain)
    if kept is not None:
        print_cautions(
            [f"The reading is kept as panel {kept}; run `fewtone learn` to learn from it."]
        )
        print_cautions(strength_cautions(result.recipe.blend, loaded.settings))
    print_cautions([SAFETY])


def _parts(result: Adjustment) -> list[Part]:
    from fewtone.cli.console import Framed, Grid, Heading
    from fewtone.cli.words import lab_words, target_words
    from fewtone.report.phrases import advice_words
    from fewtone.report.swatches import swatch

    after = result.after
    parts: list[Part] = [Heading(advice_words(result)), ""]
    if result.additions:
        rows = [
            (
                addition.component,
                f"{float(addition.ml):g}",
                "" if addition.grams is None else f"{float(addition.grams):.1f}",
            )
            for addition in result.additions
        ]
        parts += [Grid(("add", ">ml", ">g"), rows), ""]
        parts += [f"The cup then holds {float(result.total_ml or 0):g} ml.", ""]
    assert after.pass_probability is not None
    lines = [
        f"A fresh panel reads {lab_words(after.lab)}",
        f"Expected ΔE00 {result.expected_de00[1]:.2f}, passes {after.pass_probability:.0%}",
    ]
    if result.advice != "stop":
        lines.append(
            f"As it is: expected ΔE00 {result.expected_de00[0]:.2f}, passes "
            f"{result.as_is.pass_probability:.0%}"
        )
    lines.append(f"Unevenness {after.unevenness:.2f}")
    target = result.target
    parts.append(
        Framed(swatch(after.lab, target.light), swatch(target.lab, target.light), tuple(lines))
    )
    parts += ["", *result.why, ""]
    if result.advice != "stop":
        parts += [f"The mix then is, to repeat or batch: {after.recipe}"]
    if next_time := _next_time(result):
        parts += [*next_time, ""]
    elif result.advice != "stop":
        parts.append("")
    if result.advice == "add":
        parts += [
            f"Without adding anything, {_coats(result.coats.recipe.coats)} would be best "
            f"(passes {result.coats.pass_probability:.0%}).",
            "",
        ]
    parts += [target_words(target)]
    for panel in result.earlier:
        parts += [f"{_reading(depth)} of {panel.recipe}" for depth in panel.depths]
    parts += [_reading(depth) for depth in result.depths]
    return parts


def _next_time(result: Adjustment) -> list[str]:
    after, whole = result.after, result.next_time
    if whole.recipe == after.recipe:
        return []
    assert whole.pass_probability is not None
    assert after.pass_probability is not None
    if not result.next_time_holds:
        return [
            "Next time: repeat that mix, or match anew. In whole numbers of its toners nothing",
            f"comes near its {after.pass_probability:.0%}; the best passes "
            f"{whole.pass_probability:.0%}: {whole.recipe}",
        ]
    return [
        f"Next time, in whole numbers: {whole.recipe}",
        f"That costs: ΔE00 {whole.de00:.2f} for {after.de00:.2f}, passes "
        f"{whole.pass_probability:.0%} for {after.pass_probability:.0%}.",
    ]


def _coats(count: object) -> str:
    return "1 coat" if count == 1 else f"{count} coats"


def _reading(depth: Depth) -> str:
    from fewtone.cli.words import lab_words

    words = f"Read at {depth.coats:g} coats: {lab_words(depth.lab)}"
    if depth.spread is None:
        return words
    spread = ", ".join(f"{value:.2f}" for value in depth.spread)
    return f"{words}, the mean of {depth.count} that spread by {spread}"
