"""`fewtone bottle`: how strong a new bottle is next to the toner that was learnt."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from fewtone.cli import options

if TYPE_CHECKING:
    from fewtone.cli.console import Part
    from fewtone.workshop.panel.bottle import Bottle

__all__ = ["bottle"]


def bottle(
    recipe: options.RecipeArgument,
    reading: Annotated[
        list[str],
        typer.Option(
            "--reading",
            metavar="L,a,b",
            help="What a panel sprayed from the new bottle reads under cured clear; give it once "
            'for each panel, "L,a,b at 2 coats" if it has other coats than the recipe.',
        ),
    ],
    toner: Annotated[
        str | None,
        typer.Option(
            "--toner", metavar="NAME", help="Whose bottle is new, if the recipe has several toners."
        ),
    ] = None,
    sprayed: Annotated[
        str | None,
        typer.Option("--sprayed", metavar="N", help="Coats of the panels, if not the recipe's."),
    ] = None,
    same_panel: Annotated[
        bool,
        typer.Option(
            "--same-panel", help="The readings are of one panel: repeated, or at its steps."
        ),
    ] = False,
    apply: Annotated[
        bool,
        typer.Option(
            "--apply", help="Write the strength into shelf.toml; predictions then use it."
        ),
    ] = False,
    shelf: options.ShelfOption = None,
    light: Annotated[
        str | None,
        typer.Option(
            "--light",
            metavar="LIGHT",
            help="Illuminant and observer of the readings, if not the shelf's.",
        ),
    ] = None,
    as_json: options.JsonOption = False,
    plain: options.PlainOption = False,
) -> None:
    """Work out a new bottle's strength next to the learnt toner, from a panel sprayed with it.

    The recipe is that of the panel: best the new toner alone, at a middling depth.
    """
    from fewtone.cli.console import out, print_cautions, print_document
    from fewtone.report.json import bottle_document

    loaded = options.open_shelf(shelf)
    result = loaded.bottle(
        recipe,
        reading,
        toner=toner,
        light=light,
        sprayed=options.count("--sprayed", sprayed),
        same_panel=same_panel,
        apply=apply,
    )
    print_cautions(result.cautions)
    if as_json:
        print_document(bottle_document(result))
    else:
        out(*_parts(result), plain=plain)
    if result.applied and result.written != 1:
        print_cautions(
            [
                f"Readings taken before belong to the old bottle. Once the new {result.toner} is "
                "sprayed out and learnt in their place, remove its `strength` from shelf.toml."
            ]
        )


def _parts(result: Bottle) -> list[Part]:
    from fewtone.cli.console import Grid, Heading
    from fewtone.cli.words import lab_words
    from fewtone.workshop.panel.bottle import Verdict

    other = result.verdict is Verdict.OTHER
    strength = f"{result.strength:.2f} ± {result.strength_sd:.2f} of the learnt {result.toner}"
    heading = f"More than a strength of {result.toner}" if other else strength
    parts: list[Part] = [Heading(heading), "", *result.why]
    if not other:
        panels = "This panel shows" if len(result.readings) == 1 else "The readings show on average"
        rest = (1.0 + result.deviation) / (1.0 + result.bottle_part) - 1.0
        parts.append(
            f"{panels} {_more(result.deviation)} {result.toner} than predicted: "
            f"{result.bottle_part:+.1%} is put down to the bottle, {rest:+.1%} to hand and pours."
        )
    parts += [
        "",
        Grid(
            ("ΔE00 of the reading to the prediction", ">"),
            [
                (f"at the strength in use, {result.in_use:g}", f"{result.de00_before:.2f}"),
                (f"at strength {result.strength:.2f}", f"{result.de00_after:.2f}"),
                ("with hand and pours explained too", f"{result.de00_left:.2f}"),
            ],
        ),
        "",
    ]
    if result.verdict in (Verdict.UNCLEAR, Verdict.SAME):
        parts += [
            f"One more panel from this bottle would make it ± {result.next_sd:.2f}: give its "
            "reading with another --reading.",
            "",
        ]
    parts += [f"Read at {float(c):g} coats: {lab_words(lab)}" for c, lab in result.readings]
    if result.applied and float(result.written) == result.in_use:
        parts += ["", f"{result.written} is in use already: nothing was written."]
    elif result.applied:
        parts += [
            "",
            f"shelf.toml: strength of {result.toner} {result.in_use:g} → {result.written}",
        ]
    elif result.verdict in (Verdict.UNCLEAR, Verdict.DIFFERS):
        parts += ["", "Nothing was written: --apply makes predictions use this strength."]
    return parts


def _more(change: float) -> str:
    return f"{abs(change):.1%} {'more' if change >= 0 else 'less'}"
