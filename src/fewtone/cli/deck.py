"""`fewtone deck`: every swatch of a deck against the shelf."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fewtone.cli import options, target_options
from fewtone.errors import Fault, UsageError

if TYPE_CHECKING:
    from fewtone.cli.console import Part
    from fewtone.decks import Deck, Summary
    from fewtone.recipes.rules import Rules

__all__ = ["deck"]


def deck(
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE",
            help="The deck, a CSV file or .xlsx workbook: columns number, L, a, b, optional name "
            "and light.",
        ),
    ],
    output: Annotated[
        Path,
        typer.Option("--output", "-o", metavar="OUT.csv", help="Where a row a swatch is written."),
    ],
    page: Annotated[
        Path | None,
        typer.Option(
            "--page",
            metavar="FILE.html",
            help="Also write a page: what is reached by hue and lightness, a chip a swatch.",
        ),
    ] = None,
    bottles: Annotated[
        str | None,
        typer.Option(
            "--bottles",
            metavar="90%",
            help="Also find the fewest toners and grounds that still reach so much of the deck.",
        ),
    ] = None,
    without_help: Annotated[
        bool,
        typer.Option(
            "--without-help",
            help="Do not find out what would help where a swatch is missed: many times quicker.",
        ),
    ] = False,
    workers: Annotated[
        int | None,
        typer.Option(
            "--workers",
            metavar="N",
            min=1,
            max=1000,
            help="Processes to work in. Without it: one a core.",
        ),
    ] = None,
    scheduler: Annotated[
        str | None,
        typer.Option(
            "--scheduler",
            metavar="ADDRESS",
            help="Work on the Dask cluster of this scheduler, one of your own; needs "
            "fewtone[cluster].",
        ),
    ] = None,
    force: Annotated[
        bool,
        typer.Option("--force", help="Overwrite what is there, and begin another run anew."),
    ] = False,
    shelf: options.ShelfOption = None,
    light: target_options.LightOption = None,
    max_toners: options.MaxTonersOption = 3,
    use: options.UseOption = None,
    without: options.WithoutOption = None,
    ground: options.GroundOption = None,
    letdown: options.LetdownOption = None,
    coats: options.CoatsOption = None,
    max_part: options.MaxPartOption = None,
    tolerance: options.ToleranceOption = None,
    top: options.TopOption = 8,
    plain: options.PlainOption = False,
    as_json: options.JsonOption = False,
) -> None:
    """Match every swatch of a deck, and say what the shelf reaches and what it misses.

    A run that is stopped goes on where it was when the same command is given again.
    """
    from fewtone.cli.console import out, print_document
    from fewtone.cli.progress import Countdown
    from fewtone.io.atomic import refuse_to_overwrite, require_replaceable, write_atomic
    from fewtone.recipes.rules import Rules
    from fewtone.report.deck_page import deck_page
    from fewtone.report.json import deck_document

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
    percent = None if bottles is None else _percent(bottles)
    _check_files(file, output, page)
    if page is not None:
        require_replaceable(page)
        if not force:
            refuse_to_overwrite([page])
    loaded = options.open_shelf(shelf)
    kept = Rules.of(loaded.settings, **rules)
    with Countdown("swatches", output) as countdown:
        result = loaded.write_deck(
            file,
            output,
            light=light,
            would_help=not without_help,
            percent=percent,
            workers=workers,
            scheduler=scheduler,
            force=force,
            progress=countdown.report,
            **rules,
        )
    if page is not None:
        write_atomic(
            page, deck_page(result, loaded.settings.name, kept.tolerance, _rule_words(kept))
        )
    if as_json:
        document = deck_document(result, kept.tolerance)
        print_document({**document, "page": None if page is None else str(page)})
    else:
        written = [f"Wrote {each}" for each in (output, page) if each is not None]
        out(*_parts(result, kept), *written, plain=plain)


def _parts(result: Deck, rules: Rules) -> list[Part]:
    from fewtone.cli.console import Heading
    from fewtone.report.words import needed_lines

    summary = result.summary
    parts: list[Part] = [
        Heading(f"{summary.reached:,} of {summary.swatches:,} swatches are within reach"),
        f"Within ΔE00 {rules.tolerance:g}, by recipes of {_rule_words(rules)}.",
        "",
        _grid(summary),
        "",
    ]
    if result.needed is not None:
        parts += [*needed_lines(result.needed), ""]
    if result.resumed:
        parts.append(f"{result.resumed:,} were answered before and not again.")
    return parts


def _grid(summary: Summary) -> Part:
    from fewtone.cli.console import Grid
    from fewtone.decks.summary import BANDS

    cells = {(cell.hue, cell.lightness): cell for cell in summary.cells}
    hues = list(dict.fromkeys(cell.hue for cell in summary.cells))
    bands = [band for band in BANDS if any(cell.lightness == band for cell in summary.cells)]
    rows = [
        (
            hue,
            *(
                f"{cell.reached} of {cell.swatches}" if (cell := cells.get((hue, band))) else ""
                for band in bands
            ),
        )
        for hue in hues
    ]
    return Grid(("hue", *(f">L* {band}" for band in bands)), rows)


def _rule_words(rules: Rules) -> str:
    most = "1 toner" if rules.max_toners == 1 else f"up to {rules.max_toners} toners"
    return f"{most} with parts up to {rules.max_part}"


def _percent(text: str) -> float:
    from fewtone.model.numbers import decimal_from

    value = decimal_from(text.strip().removesuffix("%").strip())
    if value is None or not 0 < value <= 100:
        raise options.usage_error(
            f"--bottles '{text}' is no share of a deck.", "Write such as 90%.", text
        )
    return float(value)


def _check_files(file: Path, output: Path, page: Path | None) -> None:
    """Refuse one file for two things, and a page of another kind."""
    from fewtone.io.files import real_path

    if page is not None and page.suffix.lower() not in (".html", ".htm"):
        raise UsageError(
            Fault(
                f"'{page.name}' is no page that can be written: .html is allowed.",
                fix="Name it like reached.html.",
                value=str(page),
            )
        )
    if page is not None and not page.parent.is_dir():
        raise UsageError(
            Fault(
                "The folder that the page is to stand in does not exist.",
                fix="Make it first, or write the page elsewhere.",
                value=str(page),
            )
        )
    named = [real_path(path) for path in (file, output, page) if path is not None]
    if len(set(named)) < len(named):
        raise UsageError(
            Fault(
                "The deck, its rows and the page need a file each.",
                fix="Write the rows to a file of their own (-o).",
                value=str(output),
            )
        )
