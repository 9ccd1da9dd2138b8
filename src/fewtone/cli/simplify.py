"""`fewtone simplify`: from a many-toner formula to few toners, and what that costs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from fewtone.cli import options

if TYPE_CHECKING:
    from rich.table import Table

    from fewtone.bench.simplify import Simplification
    from fewtone.match import Match

__all__ = ["simplify"]

_NOTHING_WITHIN_TOLERANCE = 3


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
    light: options.LightOption = None,
    use: options.UseOption = None,
    without: options.WithoutOption = None,
    ground: options.GroundOption = None,
    letdown: options.LetdownOption = None,
    coats: options.CoatsOption = None,
    max_part: options.MaxPartOption = None,
    tolerance: options.ToleranceOption = None,
    top: options.TopOption = 8,
    as_json: options.JsonOption = False,
) -> None:
    """Find few-toner recipes that give a formula's predicted colour, and what they lose.

    Exits with 3 when nothing is within tolerance.
    """
    from fewtone.cli.console import SAFETY, print_cautions, print_document
    from fewtone.documents import simplify_document

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
    result = loaded.simplify(formula, every_ground=every_ground, light=light, **rules)
    print_cautions(result.cautions)
    if as_json:
        print_document(simplify_document(result))
    else:
        _show(result)
    print_cautions([SAFETY])
    if result.result.simplest is None:
        raise typer.Exit(_NOTHING_WITHIN_TOLERANCE)


def _show(result: Simplification) -> None:
    from fewtone.cli.console import out
    from fewtone.cli.words import lab_words

    formula, found = result.formula, result.result
    out(
        f"Formula   {formula.recipe}",
        f"          reads {lab_words(formula.lab)} in {result.target.light} as predicted, "
        f"unevenness {formula.unevenness:.2f}",
        "",
    )
    if result.already_simple is not None:
        out(f"It is simple already: {result.already_simple}", "")
    if result.idle:
        out(f"These do nothing to its colour: {', '.join(result.idle)}", "")
    if found.miss is not None:
        out(f"Nothing is within {found.tolerance:g} of it: {found.miss.words}", "")
    for title, pick in (
        ("Simplest", found.simplest),
        ("Closest", found.closest),
        ("Evenest", found.evenest),
    ):
        if pick is not None:
            out(*_pick_lines(title, pick, result), "")
    if found.recipes:
        out("The trade-off, simplest first:", _trade_off(result))
    out("", f"Proven best of {found.proof.admissible:,} recipes that the rules admit.")


def _pick_lines(title: str, pick: Match, result: Simplification) -> list[str]:
    loss, formula = result.losses[pick.recipe], result.formula
    over = ", ".join(f"{name} {off:.2f}" for name, off in loss.grounds.items())
    under = ", ".join(f"{name} {off:.2f}" for name, off in loss.lights.items())
    worst = " over the worst ground" if result.every_ground else ""
    return [
        f"{title:9} {pick.recipe}",
        f"{'':9} Delta E {pick.de00:.2f}{worst}; coats {formula.recipe.coats} -> "
        f"{pick.recipe.coats}, unevenness {formula.unevenness:.2f} -> {pick.unevenness:.2f}",
        f"{'':9} lost over {over}",
        f"{'':9} lost under {under}",
    ]


def _trade_off(result: Simplification) -> Table:
    from rich.box import SIMPLE_HEAD
    from rich.table import Table

    table = Table(box=SIMPLE_HEAD, pad_edge=False, show_edge=False)
    for title in ("toners", "parts", "Delta E", "uneven"):
        table.add_column(title, justify="right", no_wrap=True)
    table.add_column("recipe", overflow="fold")
    for match in result.result.recipes:
        table.add_row(
            str(len(match.recipe.blend)),
            f"{sum(match.recipe.blend.values())}",
            f"{match.de00:.2f}",
            f"{match.unevenness:.2f}",
            str(match.recipe),
        )
    return table
