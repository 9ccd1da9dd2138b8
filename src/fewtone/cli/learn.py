"""`fewtone learn`: from readings to curves."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from fewtone.cli import options
from fewtone.errors import Fault, UsageError

if TYPE_CHECKING:
    from fewtone.cli.console import Part
    from fewtone.learning import FitReport

__all__ = ["learn"]

_STRIP = ": one strip, read at each coat from the first on"


def learn(
    shelf: options.ShelfOption = None,
    leave_out: Annotated[
        str | None,
        typer.Option("--leave-out", metavar="P1,P2", help="Panels that are not to count."),
    ] = None,
    add_rows: Annotated[
        bool,
        typer.Option(
            "--add-rows",
            help="Write the panels to spray next into readings.csv, as rows to fill in.",
        ),
    ] = False,
    rows_for: Annotated[
        str | None,
        typer.Option(
            "--for",
            metavar="RECIPE",
            help="With --add-rows: write the rows that this recipe's keyed ground needs instead.",
        ),
    ] = None,
    picture: Annotated[
        Path | None,
        typer.Option(
            "--picture",
            metavar="FILE.svg",
            help="Draw the learnt shelf, as SVG or PNG; needs fewtone[pictures].",
        ),
    ] = None,
    force: Annotated[
        bool, typer.Option("--force", help="Overwrite a picture that is there already.")
    ] = False,
    plain: options.PlainOption = False,
    as_json: options.JsonOption = False,
) -> None:
    """Learn the optics of toners and grounds from the shelf's readings."""
    from fewtone.api import learn as learn_shelf
    from fewtone.api import load
    from fewtone.cli.console import out, print_cautions, print_document, working
    from fewtone.io.atomic import write_atomic
    from fewtone.io.settings import load_settings
    from fewtone.report.json import learn_document
    from fewtone.workshop.pour.mix import strength_cautions

    kind = None if picture is None else _picture_kind(picture, force)
    folder = options.shelf_folder(shelf)
    with working("Learning"):
        report = learn_shelf(
            folder,
            leave_out=options.names(leave_out) or (),
            add_rows=add_rows,
            rows_for=rows_for,
        )
    print_cautions(report.cautions)
    if picture is not None and kind is not None:
        with working("Drawing"):
            drawn = load(folder).picture(kind)
        write_atomic(picture, drawn)
    settings = load_settings(folder)
    print_cautions(strength_cautions(settings.toners, settings))
    if as_json:
        print_document(learn_document(report))
    else:
        out(*_parts(report, folder), plain=plain)


def _picture_kind(file: Path, force: bool) -> Literal["svg", "png"]:
    """What the file's name asks for, before anything is learnt.

    Raises
    ------
    UsageError
        It is neither SVG nor PNG, or there is something of this name already.
    """
    from fewtone.io.atomic import refuse_to_overwrite

    kind = file.suffix.lower()
    if kind not in (".svg", ".png"):
        raise UsageError(
            Fault(
                f"'{file.name}' is not a picture that can be drawn: .svg and .png are allowed.",
                fix="Name it like shelf.svg.",
                value=str(file),
            )
        )
    if not force:
        refuse_to_overwrite([file])
    return "svg" if kind == ".svg" else "png"


def _parts(report: FitReport, folder: Path) -> list[Part]:
    from fewtone.cli.console import Grid, Heading

    rows = [
        (
            name,
            str(toner.readings),
            f"{toner.median_de00:.2f}",
            f"{toner.worst_de00:.2f}",
            f"{toner.leave_one_out_de00:.2f}",
            f"{toner.data_share:.0%}",
            "yes" if toner.scatters else "no",
            toner.worst_panel,
        )
        for name, toner in report.toners.items()
    ]
    columns = (">readings", ">off", ">worst", ">foretold", ">told", "hazy", "worst panel")
    without = f" Without {', '.join(report.left_out)}." if report.left_out else ""
    return [
        Heading(
            f"Learnt {len(report.toners)} toners from {report.readings} readings on "
            f"{report.panels} panels.{without}"
        ),
        "off: ΔE00 between your readings and what was learnt, half of them nearer; worst: that of "
        "the worst panel. foretold: ΔE00 when each panel is foretold from all others alone. told: "
        "how much of the toner's colour your readings tell, the rest being how toners are in "
        "general. hazy: whether it clouds what lies below.",
        "",
        Grid(("toner", *columns), rows),
        "",
        *_suspects(report, folder),
        *_spray_next(report),
        f"Next: fewtone match TARGET --shelf {folder}",
    ]


def _suspects(report: FitReport, folder: Path) -> list[Part]:
    """The panels that do not fit, and how to learn without them."""
    from fewtone.cli.console import Grid

    if not report.suspects:
        return []
    one = len(report.suspects) == 1
    parts: list[Part] = [
        f"{'This panel does' if one else 'These panels do'} not fit what all others say, by this "
        f"ΔE00, and {'counts' if one else 'count'} all the same.",
    ]
    if report.removable:
        parts.append(
            "Correct what was noted, or learn without: "
            f"fewtone learn --leave-out {','.join(report.removable)} --shelf {folder}"
        )
    if kept := [s.panel for s in report.suspects if not s.removable]:
        parts.append(
            f"Not to be left out, as too little else tells of the same: {', '.join(kept)}. Read "
            f"{'it' if len(kept) == 1 else 'them'} again, or spray another strip."
        )
    rows = [(f"{suspect.de00:.1f}", suspect.explanation) for suspect in report.suspects]
    return [*parts, "", Grid((">ΔE00", "suspect"), rows), ""]


def _spray_next(report: FitReport) -> list[Part]:
    """The panels that would tell most, and what they are expected to bring."""
    from fewtone.cli.console import Grid

    if not report.spray_next:
        return []
    now = report.spray_next[0].before
    parts: list[Part] = [
        f"This shelf's blends are expected to be off by a typical ΔE00 of {now:.2f}. Spray next, "
        "each afresh, the first one first; with that panel and those above it read and learnt, "
        "they are off by",
        "",
        Grid(
            (">ΔE00", "panel"),
            [
                (f"{panel.after:.2f}", f"{panel.recipe}{_STRIP if panel.is_strip else ''}")
                for panel in report.spray_next
            ],
        ),
        "",
    ]
    for panel in report.spray_next:
        if panel.only_bare is not None:
            parts += [str(panel.only_bare), ""]
    if report.added_panels:
        parts += [
            f"Added to readings.csv, to be filled in: {', '.join(report.added_panels)}.",
            "",
        ]
    else:
        parts += ["`fewtone learn --add-rows` writes them into readings.csv as rows to fill.", ""]
    if report.second_light is not None:
        light = report.second_light
        parts += [
            f"Reading the panels you have under {light.illuminant} as well (columns L {light}, "
            f"a {light}, b {light}) tells more than all of these.",
            "",
        ]
    return parts
