"""`fewtone match`: from a target to recipes."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from fewtone.cli import options, target_options

if TYPE_CHECKING:
    from fewtone.cli.console import Part
    from fewtone.match.result import Match, MatchResult
    from fewtone.model.target import Target

__all__ = ["match"]

_NOTHING_WITHIN_TOLERANCE = 3


def match(
    target: Annotated[
        str,
        typer.Argument(
            metavar="TARGET",
            help='A CIELAB triple "38.2,-18.4,9.7", a hex colour "#2f5d50", a notation '
            '"munsell 5BG 3/4", a file with one reading, or with --deck a swatch number.',
        ),
    ],
    shelf: options.ShelfOption = None,
    light: target_options.LightOption = None,
    deck: target_options.DeckOption = None,
    geometry: target_options.GeometryOption = None,
    anyway: target_options.AnywayOption = False,
    also: Annotated[
        list[str] | None,
        typer.Option(
            "--also",
            metavar="TARGET",
            help="Another version of the same colour, any number of times: recipes are judged by "
            "the worst of them.",
        ),
    ] = None,
    lights: target_options.LightsOption = None,
    max_toners: options.MaxTonersOption = 3,
    use: options.UseOption = None,
    without: options.WithoutOption = None,
    ground: options.GroundOption = None,
    letdown: options.LetdownOption = None,
    coats: options.CoatsOption = None,
    max_part: options.MaxPartOption = None,
    tolerance: options.ToleranceOption = None,
    top: options.TopOption = 8,
    by_ground: Annotated[
        bool, typer.Option("--by-ground", help="Also show the best recipe over each ground.")
    ] = False,
    keyed: Annotated[
        bool,
        typer.Option("--keyed", help="Also mix the grounds in pairs, and show what that saves."),
    ] = False,
    explain: options.ExplainOption = False,
    job: Annotated[
        str | None,
        typer.Option(
            "--job", metavar="NAME", help="Open a job of this name in the book with the answer."
        ),
    ] = None,
    book: options.BookOption = None,
    plain: options.PlainOption = False,
    as_json: options.JsonOption = False,
) -> None:
    """Find the recipe with the fewest toners for a target, and what closer ones would cost.

    Exits with 3 when nothing is within tolerance.
    """
    from fewtone.cli.console import out, print_cautions, print_document, working
    from fewtone.cli.jobs import kept_matches, kept_words

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
        keyed=keyed,
    )
    loaded = options.open_shelf(shelf)
    wanted, *versions = (
        loaded.target(each, light=light, deck=deck, geometry=geometry, anyway=anyway)
        for each in (target, *(also or ()))
    )
    print_cautions([caution for each in (wanted, *versions) for caution in each.cautions])
    with working("Searching"):
        result = loaded.match(
            wanted, also=versions, lights=options.names(lights) or (), by_ground=by_ground, **rules
        )
    if "+" in result.headline.recipe.ground:
        from fewtone.workshop.look.grounds import ground_cautions

        recipe = result.headline.recipe
        print_cautions(ground_cautions([recipe.ground], loaded.over([recipe])))
    kept = kept_matches(loaded, wanted, result.tolerance, book)
    opened = None
    if job is not None:
        from fewtone.jobs import Book

        opened = loaded.keep_job(
            Book(book),
            job,
            target=wanted,
            recipe=result.headline.recipe,
            tolerance=result.tolerance,
        )
    if as_json:
        from fewtone.report.json import match_document

        document = match_document(result, wanted, result.tolerance)
        if kept:
            from fewtone.report.json.jobs import kept_document

            document["kept_jobs"] = [kept_document(each) for each in kept]
        if opened is not None:
            document["job"] = opened.name
        print_document(document)
    else:
        before = [part for each in kept for part in (kept_words(each), "")]
        out(*before, *_parts(result, wanted, explain), plain=plain)
        if opened is not None:
            out(f"Kept as the job '{opened.name}' with {result.headline.recipe}.", plain=plain)
    if result.simplest is None:
        raise typer.Exit(_NOTHING_WITHIN_TOLERANCE)


def _parts(result: MatchResult, target: Target, explain: bool) -> list[Part]:
    from fewtone.cli.answers import (
        help_parts,
        keying_parts,
        others_parts,
        recipe_grid,
        versions_parts,
    )
    from fewtone.cli.words import proof_words, target_words
    from fewtone.report.phrases import titled_picks

    parts: list[Part] = []
    if result.miss is not None:
        words = f"Nothing on this shelf is within {result.tolerance:g}: {result.miss.words}"
        parts += [words, ""]
    for title, pick in titled_picks(result):
        several = "for at least one of them" if result.versions else "in all of them at once"
        parts += [*_pick(title, pick, target, several), ""]
    parts += [*help_parts(result), target_words(target), ""]
    parts += versions_parts(result)
    parts += others_parts(result, target.light)
    if result.grounds:
        parts += ["Over each ground:", "", recipe_grid(result.grounds, target.light), ""]
    parts += keying_parts(result)
    return [*parts, *proof_words(result.proof, explain)]


def _pick(title: str, pick: Match, target: Target, several: str) -> list[Part]:
    from fewtone.cli.answers import metamerism_words, standing_words
    from fewtone.cli.console import Framed, Heading
    from fewtone.cli.words import lab_words
    from fewtone.match.miss import difference_of
    from fewtone.report.swatches import swatch
    from fewtone.report.words import difference_words, evenness_words, sureness_words

    assert pick.de00 is not None
    if pick.each:
        lines = [
            f"{title} ΔE00 {pick.de00:.2f} to the worst of them: {difference_words(pick.de00)}",
            *(f"To {standing_words(standing)}" for standing in pick.each),
            f"Reads {lab_words(pick.lab)}",
        ]
        if pick.pass_any is not None:
            lines.append(f"How sure: {sureness_words(pick.pass_any)} {several}")
    else:
        lines = [
            f"{title} ΔE00 {pick.de00:.2f}: {difference_words(pick.de00)}",
            f"It is {difference_of(pick.lab, target.lab).words}",
            f"Reads {lab_words(pick.lab)}",
            f"How sure: {sureness_words(pick.pass_probability)}",
        ]
    lines.append(
        f"How forgiving: unevenness {pick.unevenness:.2f}, {evenness_words(pick.unevenness)}"
    )
    if pick.metamerism:
        lines.append(metamerism_words(pick.metamerism))
    framed = Framed(swatch(pick.lab, target.light), swatch(target.lab, target.light), lines)
    return [Heading(str(pick.recipe)), framed]
