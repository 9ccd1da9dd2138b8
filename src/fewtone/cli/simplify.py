"""`fewtone simplify`: from a many-toner formula to few toners, and what that costs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from fewtone.cli import options, target_options

if TYPE_CHECKING:
    from fewtone.cli.console import Part
    from fewtone.match.result import Match
    from fewtone.workshop.look.simplify import Simplification

__all__ = ["simplify"]

_NOTHING_WITHIN_TOLERANCE = 3
# So much more ΔE00 under another light, and beyond tolerance, stands in the first line.
_CLEARLY_MORE = 0.5


def simplify(
    formula: Annotated[
        str,
        typer.Argument(
            metavar="FORMULA",
            help='Such as "41.5 marigold + 22 dusk + 6.5 ash, 6:1, 3 coats over silver".',
        ),
    ],
    max_toners: options.MaxTonersOption = 2,
    every_ground: Annotated[
        bool,
        typer.Option(
            "--every-ground", help="Hold over every ground at once, by the worst of them."
        ),
    ] = False,
    keep: Annotated[
        str | None,
        typer.Option("--keep", metavar="A,B", help="Toners that every recipe must have."),
    ] = None,
    shelf: options.ShelfOption = None,
    light: target_options.LightOption = None,
    use: options.UseOption = None,
    without: options.WithoutOption = None,
    ground: options.GroundOption = None,
    letdown: options.LetdownOption = None,
    coats: options.CoatsOption = None,
    max_part: options.MaxPartOption = None,
    tolerance: options.ToleranceOption = None,
    top: options.TopOption = 8,
    explain: options.ExplainOption = False,
    plain: options.PlainOption = False,
    as_json: options.JsonOption = False,
) -> None:
    """Find few-toner recipes that give a formula's predicted colour, and what they lose.

    Exits with 3 when nothing is within tolerance.
    """
    from fewtone.cli.console import out, print_cautions, print_document, working
    from fewtone.report.json import simplify_document

    rules = options.rule_options(
        max_toners=max_toners,
        use=use,
        without=without,
        ground=ground,
        letdown=letdown,
        coats=coats,
        max_part=max_part,
        tolerance=tolerance,
        top=top,
    )
    if keep is not None:
        rules["keep"] = options.names(keep) or ()
    loaded = options.open_shelf(shelf)
    with working("Searching"):
        result = loaded.simplify(formula, every_ground=every_ground, light=light, **rules)
    print_cautions(result.cautions)
    if as_json:
        print_document(simplify_document(result))
    else:
        out(*_parts(result, explain), plain=plain)
    if result.result.simplest is None:
        raise typer.Exit(_NOTHING_WITHIN_TOLERANCE)


def _parts(result: Simplification, explain: bool) -> list[Part]:
    from fewtone.cli.answers import help_parts, others_parts
    from fewtone.cli.words import lab_words, proof_words
    from fewtone.report.phrases import titled_picks

    formula, answer = result.formula, result.result
    parts: list[Part] = []
    if answer.miss is not None:
        parts += [
            f"Nothing is within {answer.tolerance:g} of the formula: {answer.miss.words}",
            "",
        ]
    for title, pick in titled_picks(answer):
        parts += [*_pick(title, pick, result), ""]
    parts += help_parts(answer)
    parts += [
        "Formula:",
        f"  {formula.recipe}",
        f"  Reads {lab_words(formula.lab)} in {result.target.light} as predicted",
        f"  Unevenness {formula.unevenness:.2f}",
        "",
    ]
    if result.already_simple is not None:
        parts += [f"It is simple already: {result.already_simple}", ""]
    if result.idle:
        parts += [f"These do nothing to its colour: {', '.join(result.idle)}", ""]
    parts += others_parts(answer, result.target.light)
    return [*parts, *proof_words(answer.proof, explain)]


def _pick(title: str, pick: Match, result: Simplification) -> list[Part]:
    from fewtone.cli.console import Framed, Heading
    from fewtone.report.swatches import swatch
    from fewtone.report.words import difference_words

    loss, formula, light = result.losses[pick.recipe], result.formula, result.target.light
    assert pick.de00 is not None
    over = ", ".join(f"{name} {off:.2f}" for name, off in loss.grounds.items())
    under = ", ".join(f"{name} {off:.2f}" for name, off in loss.lights.items())
    worst = " over the worst ground" if result.every_ground else ""
    light_name, lost = max(loss.lights.items(), key=lambda item: item[1])
    warned = lost > result.result.tolerance and lost > pick.de00 + _CLEARLY_MORE
    lines = (
        *([f"Under {light_name} it is {lost:.1f} off: look at both there."] if warned else []),
        f"{title} ΔE00 {pick.de00:.2f}{worst}: {difference_words(pick.de00)}",
        f"Coats {formula.recipe.coats} before, {pick.recipe.coats} after",
        f"Unevenness {formula.unevenness:.2f} before, {pick.unevenness:.2f} after",
        f"Lost over {over}",
        f"Lost under {under}",
    )
    framed = Framed(swatch(pick.lab, light), swatch(formula.lab, light), lines)
    return [Heading(str(pick.recipe)), framed]
