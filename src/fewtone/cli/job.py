"""`fewtone job`: the job book, where what was mixed can be found again."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fewtone.cli import options, target_options
from fewtone.cli.examples import JOB_EXAMPLES, epilog_of

if TYPE_CHECKING:
    from fewtone.cli.console import Part
    from fewtone.jobs import Again, Job

__all__ = ["job"]

job = typer.Typer(
    name="job",
    help="The job book: what was asked, mixed, sprayed and read, to find and spray it again.",
    no_args_is_help=True,
    rich_markup_mode=None,
)

NameArgument = Annotated[str, typer.Argument(metavar="NAME", help="The job's name, any case.")]


@job.command(epilog=epilog_of(JOB_EXAMPLES["keep"]))
def keep(
    name: Annotated[str, typer.Argument(metavar="NAME", help="What the job is to go by.")],
    recipe: options.RecipeArgument,
    target: Annotated[
        str, typer.Option("--target", metavar="T", help="What was asked for, as `match` takes it.")
    ],
    note: Annotated[str | None, typer.Option("--note", metavar="TEXT", help="A note.")] = None,
    light: target_options.LightOption = None,
    deck: target_options.DeckOption = None,
    geometry: target_options.GeometryOption = None,
    anyway: target_options.AnywayOption = False,
    tolerance: options.ToleranceOption = None,
    book: options.BookOption = None,
    shelf: options.ShelfOption = None,
    as_json: options.JsonOption = False,
) -> None:
    """Keep a job with the recipe that was chosen for it."""
    from fewtone.jobs import Book

    loaded = options.open_shelf(shelf)
    wanted = loaded.target(target, light=light, deck=deck, geometry=geometry, anyway=anyway)
    kept = loaded.keep_job(
        Book(book),
        name,
        target=wanted,
        recipe=recipe,
        note=note,
        tolerance=tolerance,
    )
    _show(kept, as_json)


@job.command(epilog=epilog_of(JOB_EXAMPLES["show"]))
def show(
    name: NameArgument,
    book: options.BookOption = None,
    as_json: options.JsonOption = False,
) -> None:
    """Show all that a job holds."""
    from fewtone.jobs import Book

    _show(Book(book).job(name), as_json)


@job.command(epilog=epilog_of(JOB_EXAMPLES["find"]))
def find(
    words: Annotated[
        list[str] | None,
        typer.Argument(metavar="[WORDS]", help="Words that stand in it: name, request, recipe."),
    ] = None,
    toner: Annotated[
        str | None, typer.Option("--toner", metavar="NAME", help="Its recipe has this toner.")
    ] = None,
    ground: Annotated[
        str | None,
        typer.Option("--ground", metavar="NAME", help="It is over this ground, or a mix with it."),
    ] = None,
    since: Annotated[
        str | None,
        typer.Option("--since", metavar="2026-01-31", help="Opened on it or later."),
    ] = None,
    until: Annotated[
        str | None, typer.Option("--until", metavar="2026-01-31", help="Opened by this day.")
    ] = None,
    like: Annotated[
        str | None,
        typer.Option("--like", metavar="L,a,b", help="Its colour is near this, over any ground."),
    ] = None,
    within: Annotated[
        float, typer.Option("--within", metavar="X", min=0.0, help="How near, Delta E 00.")
    ] = 2.0,
    light: Annotated[
        str | None,
        typer.Option("--light", metavar="LIGHT", help="Of --like: only jobs in it count."),
    ] = None,
    book: options.BookOption = None,
    plain: options.PlainOption = False,
    as_json: options.JsonOption = False,
) -> None:
    """Find jobs by words, date, toner, ground or colour."""
    from fewtone.cli.console import Grid, out, print_document
    from fewtone.colorimetry import Light
    from fewtone.io.targets import lab_triple
    from fewtone.jobs import Book
    from fewtone.report.json.jobs import job_document
    from fewtone.report.swatches import swatch

    lab = None
    if like is not None:
        lab = lab_triple(like)
        if lab is None:
            raise options.usage_error(f"--like '{like}' is no CIELAB triple.", "Write L,a,b.", like)
    for option, day in (("--since", since), ("--until", until)):
        options.require_day(option, day)
    jobs = Book(book).find(
        " ".join(words or ()),
        toner=toner,
        ground=ground,
        since=since,
        until=until,
        lab=lab,
        light=None if light is None else Light.parse(light),
        within=within,
    )
    if as_json:
        rows = [
            {**job_document(each), "de00": None if off is None else round(off, 4)}
            for each, off in jobs
        ]
        print_document({"format": 1, "jobs": rows})
        return
    if not jobs:
        out("No job in the book answers to that.")
        return
    table = [
        (
            swatch(each.target.lab, each.target.light),
            each.name,
            each.opened[:10],
            each.ended or "open",
            str(each.recipe or ""),
            *(() if lab is None else (f"{off:.2f}",)),
        )
        for each, off in jobs
    ]
    columns = ("", "job", "opened", "ended", "recipe", *(() if lab is None else (">ΔE00",)))
    out(Grid(columns, table), plain=plain)


@job.command(
    short_help="A job's recipe on today's curves.", epilog=epilog_of(JOB_EXAMPLES["again"])
)
def again(
    name: NameArgument,
    book: options.BookOption = None,
    shelf: options.ShelfOption = None,
    plain: options.PlainOption = False,
    as_json: options.JsonOption = False,
) -> None:
    """Predict a job's recipe on today's curves and bottles, and say what to change."""
    from fewtone.cli.console import SAFETY, out, print_cautions, print_document
    from fewtone.jobs import Book
    from fewtone.report.json.jobs import again_document

    loaded = options.open_shelf(shelf)
    result = loaded.job_again(Book(book).job(name))
    if as_json:
        print_document(again_document(result))
    else:
        out(*_again_parts(result), plain=plain)
    print_cautions([SAFETY])


@job.command(epilog=epilog_of(JOB_EXAMPLES["note"]))
def note(
    name: NameArgument,
    text: Annotated[str, typer.Argument(metavar="TEXT", help="What to write down.")],
    book: options.BookOption = None,
    as_json: options.JsonOption = False,
) -> None:
    """Write something down in a job."""
    from fewtone.jobs import Book, Entry

    _show(Book(book).add(name, Entry("note", {"text": text})), as_json)


@job.command(epilog=epilog_of(JOB_EXAMPLES["end"]))
def end(
    name: NameArgument,
    how: Annotated[str, typer.Argument(metavar="passed|given-up", help="How it ended.")],
    book: options.BookOption = None,
    as_json: options.JsonOption = False,
) -> None:
    """Say how a job ended."""
    from fewtone.jobs import Book, Entry
    from fewtone.jobs.job import ENDINGS

    ending = how.strip().casefold().replace("-", " ")
    if ending not in ENDINGS:
        raise options.usage_error(
            f"A job ends '{ENDINGS[0]}' or '{ENDINGS[1]}'.", "Say one of the two.", how
        )
    _show(Book(book).add(name, Entry("ended", {"how": ending})), as_json)


@job.command(epilog=epilog_of(JOB_EXAMPLES["export"]))
def export(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A .json or .csv file.")],
    only: Annotated[
        list[str] | None, typer.Option("--only", metavar="NAME", help="This job; repeatable.")
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Write over what is there.")] = False,
    book: options.BookOption = None,
    as_json: options.JsonOption = False,
) -> None:
    """Write the book, or some jobs of it, to a file."""
    from fewtone.cli.console import out, print_document
    from fewtone.jobs import Book, write_jobs

    held = Book(book)
    jobs = [held.job(name) for name in only] if only else held.jobs()
    curves = {each.curves_sha256: held.curves_text(each) for each in jobs}
    write_jobs(file, jobs, curves, force=force)
    if as_json:
        print_document({"format": 1, "written": str(file), "jobs": [each.name for each in jobs]})
    else:
        out(f"Wrote {len(jobs)} {'job' if len(jobs) == 1 else 'jobs'} to {file}")


@job.command("import", epilog=epilog_of(JOB_EXAMPLES["import"]))
def import_(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="What `job export` wrote.")],
    force: Annotated[
        bool, typer.Option("--force", help="Let a job replace another of its name.")
    ] = False,
    book: options.BookOption = None,
    as_json: options.JsonOption = False,
) -> None:
    """Take jobs in that were exported, all or none."""
    from fewtone.cli.console import out, print_document
    from fewtone.jobs import Book, read_jobs

    jobs, curves = read_jobs(file)
    new = Book(book).take_in(jobs, curves, force=force)
    if as_json:
        print_document({"format": 1, "imported": new, "known": len(jobs) - len(new)})
    else:
        out(f"Took in {len(new)} of {len(jobs)}; the others were here already.")


def _show(kept: Job, as_json: bool) -> None:
    from fewtone.cli.console import Framed, Heading, out, print_document
    from fewtone.report.json.jobs import job_document
    from fewtone.report.phrases import entry_words
    from fewtone.report.swatches import swatch

    if as_json:
        print_document({"format": 1, "job": job_document(kept)})
        return
    asked = kept.target
    lightness, a, b = asked.lab
    lines = [
        f"Asked for {asked.request}: L* {lightness:.2f}, a* {a:.2f}, b* {b:.2f} in {asked.light}, "
        f"{asked.geometry}, within ΔE00 {kept.tolerance:g}",
        f"Shelf {kept.shelf}, opened {kept.opened[:10]}, {kept.ended or 'open'}",
        f"Recipe {kept.recipe}" if kept.recipe else "No recipe yet",
    ]
    parts: list[Part] = [Heading(kept.name)]
    parts.append(Framed(swatch(asked.lab, asked.light), None, lines))
    parts += [
        "",
        *(f"{entry.at}  {entry_words(entry.kind, entry.data)}" for entry in kept.entries),
    ]
    out(*parts)


def _again_parts(result: Again) -> list[Part]:
    from fewtone.cli.console import Framed, Heading
    from fewtone.report.swatches import swatch
    from fewtone.report.words import difference_words, sureness_words

    kept, now = result.job, result.now
    assert now.de00 is not None
    if result.moved_de00 is None:
        moved = "What was predicted of it then is not known."
    elif result.has_moved:
        moved = f"Curves and bottles have moved: it reads ΔE00 {result.moved_de00:.2f} from then."
    else:
        moved = f"It has not moved (ΔE00 {result.moved_de00:.2f} from then)."
    asked = kept.target
    lines = [
        f"Today ΔE00 {now.de00:.2f}: {difference_words(now.de00)}",
        moved,
        f"How sure: {sureness_words(now.pass_probability)}",
    ]
    parts: list[Part] = [
        Heading(str(now.recipe)),
        Framed(swatch(now.lab, asked.light), swatch(asked.lab, asked.light), lines),
    ]
    if result.instead is not None:
        parts += [
            "",
            f"Nearer today: {result.instead.recipe}, ΔE00 {result.instead.de00:.2f}.",
        ]
    elif not now.in_tolerance:
        parts += ["", f"No other mix of these toners is nearer: match {kept.target.request} anew."]
    return parts
