"""`fewtone match`: from a target to recipes."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from fewtone.cli import options

if TYPE_CHECKING:
    from rich.table import Table

    from fewtone.match import Match, MatchResult
    from fewtone.model.target import Target

__all__ = ["match"]

_NOTHING_WITHIN_TOLERANCE = 3


def match(
    target: Annotated[
        str,
        typer.Argument(
            metavar="TARGET",
            help='A CIELAB triple "38.2,-18.4,9.7", a hex colour "#2f5d50", or with --deck a '
            "swatch number.",
        ),
    ],
    shelf: options.ShelfOption = None,
    light: options.LightOption = None,
    deck: options.DeckOption = None,
    max_toners: options.MaxTonersOption = 3,
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
    """Find the recipe with the fewest toners for a target, and what closer ones would cost.

    Exits with 3 when nothing is within tolerance.
    """
    from fewtone.cli.console import SAFETY, print_cautions, print_document
    from fewtone.documents import match_document

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
    loaded = options.open_shelf(shelf)
    wanted = loaded.target(target, light=light, deck=deck)
    print_cautions(wanted.cautions)
    result = loaded.match(wanted, **rules)
    if as_json:
        print_document(match_document(result, wanted, result.tolerance))
    else:
        _show(result, wanted)
    print_cautions([SAFETY])
    if result.simplest is None:
        raise typer.Exit(_NOTHING_WITHIN_TOLERANCE)


def _show(result: MatchResult, target: Target) -> None:
    from fewtone.cli.console import out
    from fewtone.cli.words import lab_words, target_words

    out(target_words(target), "")
    if result.miss:
        out(
            f"Nothing on this shelf is within {result.tolerance:g} of it. The closest:",
            "",
            f"  {result.closest.recipe}",
            f"  Delta E {result.closest.de00:.2f}: {result.miss.words}",
            f"  Limited by: {', '.join(result.miss.limits)}",
            f"  Reads {lab_words(result.closest.lab)}",
            "",
        )
    else:
        for title, pick in (
            ("Simplest", result.simplest),
            ("Closest", result.closest),
            ("Evenest", result.evenest),
        ):
            if pick is not None:
                out(*_pick_lines(title, pick), "")
    if result.recipes:
        out("The trade-off, simplest first:", _trade_off(result))
    out("", f"Proven best of {result.proof.admissible:,} recipes that the rules admit.")


def _pick_lines(title: str, pick: Match) -> list[str]:
    from fewtone.cli.words import lab_words

    passing = "" if pick.pass_probability is None else f", passes {pick.pass_probability:.0%}"
    return [
        f"{title:9} {pick.recipe}",
        f"{'':9} Delta E {pick.de00:.2f}{passing}, unevenness {pick.unevenness:.2f}, "
        f"reads {lab_words(pick.lab)}",
    ]


def _trade_off(result: MatchResult) -> Table:
    from rich.box import SIMPLE_HEAD
    from rich.table import Table

    table = Table(box=SIMPLE_HEAD, pad_edge=False, show_edge=False)
    for title in ("toners", "parts", "Delta E", "uneven", "passes"):
        table.add_column(title, justify="right", no_wrap=True)
    table.add_column("recipe", overflow="fold")
    for match in result.recipes:
        passing = "" if match.pass_probability is None else f"{match.pass_probability:.0%}"
        table.add_row(
            str(len(match.recipe.blend)),
            f"{sum(match.recipe.blend.values())}",
            f"{match.de00:.2f}",
            f"{match.unevenness:.2f}",
            passing,
            str(match.recipe),
        )
    return table
