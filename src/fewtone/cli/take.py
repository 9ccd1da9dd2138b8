"""`fewtone take`: an instrument's file into readings.csv."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fewtone.cli import options

if TYPE_CHECKING:
    from fewtone.cli.console import Part
    from fewtone.io.instruments.take import Taken

__all__ = ["take"]

_WORDS = {
    "filled": "filled in",
    "added": "added",
    "replaced": "replaced",
    "unchanged": "there already",
}


def take(
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE",
            help="CxF3, CGATS.17 text, or plain CSV or tab-separated text with a header line.",
        ),
    ],
    shelf: options.ShelfOption = None,
    mode: Annotated[
        str | None,
        typer.Option(
            "--mode", metavar="M1", help="Which measurement mode counts, if the file has several."
        ),
    ] = None,
    light: Annotated[
        str | None,
        typer.Option(
            "--light",
            metavar="LIGHT",
            help="Illuminant and observer of the file's Lab, such as D50/2, if it does not say.",
        ),
    ] = None,
    leave_out: Annotated[
        list[str] | None,
        typer.Option("--leave-out", metavar="NAME", help="A sample not to take; may be repeated."),
    ] = None,
    force: Annotated[
        bool, typer.Option("--force", help="Replace readings that are there already.")
    ] = False,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Show what would be done and write nothing.")
    ] = False,
    plain: options.PlainOption = False,
    as_json: options.JsonOption = False,
) -> None:
    """Take an instrument's readings into readings.csv, spectra or Lab.

    A sample's name says where its reading goes: P014 is the row of panel P014 that has none yet;
    "P014 3" (or "P014 3 coats") its step of 3 coats; a recipe line such as "2 marigold + 1 dusk,
    6:1, 4 coats over silver" is a new row on a new panel. If a name is none of these, nothing is
    written and all such names are listed.
    """
    from fewtone.cli.console import out, print_cautions, print_document, working
    from fewtone.io.instruments.take import take as take_file
    from fewtone.report.json import take_document

    folder = options.shelf_folder(shelf)
    with working("Reading", quiet=as_json):
        taken = take_file(
            folder,
            file,
            mode=mode,
            light=light,
            leave_out=leave_out or (),
            force=force,
            dry_run=dry_run,
        )
    print_cautions(taken.cautions)
    if as_json:
        print_document(take_document(taken))
    else:
        out(*_parts(taken, folder, dry_run), plain=plain)


def _parts(taken: Taken, folder: Path, dry_run: bool) -> Iterator[Part]:
    from fewtone.cli.console import Grid, Heading

    counts = Counter(_WORDS[one.what] for one in taken.placed)
    counted = ", ".join(f"{number} {words}" for words, number in counts.items())
    yield Heading(f"{taken.file.name} ({taken.kind}): {counted}.")
    yield Grid(
        ("sample", "", "panel", ">row"),
        [(one.sample, _WORDS[one.what], one.panel, str(one.row)) for one in taken.placed],
    )
    if taken.columns_added:
        first, last = taken.columns_added[0], taken.columns_added[-1]
        yield f"New columns: {first} to {last}."
    if taken.written:
        yield f"Wrote {taken.readings_file}"
        yield f"Next: fewtone learn --shelf {folder}"
    else:
        yield "Nothing was written." if dry_run else "Nothing was new, so nothing was written."
