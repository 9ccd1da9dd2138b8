"""The page Book: jobs as a wall of chips, and each job with what can be done about it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from starlette.responses import Response

from fewtone.board.shades import shown
from fewtone.board.visit import Visit
from fewtone.errors import Fault, FewtoneError, UsageError
from fewtone.io.targets import lab_triple
from fewtone.jobs import Entry, Job
from fewtone.jobs.job import ENDINGS
from fewtone.model.numbers import decimal_from
from fewtone.report.phrases import entry_words
from fewtone.report.swatches import Swatch, swatch
from fewtone.report.words import swatch_words

__all__ = ["job", "wall", "write"]

_MOST_CHIPS = 200
_USUAL_NEARNESS = 2.0


@dataclass(frozen=True, slots=True)
class Chip:
    """A job on the wall: what was asked for, within it what was predicted."""

    job: Job
    asked: Swatch
    predicted: Swatch | None
    off: float | None


def wall(visit: Visit) -> Response:
    """Show the jobs that answer to words and colour, as `job find` does."""
    query = visit.query
    typed = {
        name: query.get(name, "").strip()
        for name in ("words", "like", "within", "toner", "ground", "since", "until")
    }
    jobs: list[tuple[Job, float | None]] = []
    faults: list[Any] = []
    settings = visit.open_shelf.settings()
    try:
        jobs = visit.bench.book.find(
            typed["words"],
            toner=typed["toner"] or None,
            ground=typed["ground"] or None,
            since=typed["since"] or None,
            until=typed["until"] or None,
            lab=_like(typed["like"]),
            within=_within(typed["within"]),
        )
    except FewtoneError as error:
        faults = visit.faults(error)
    return visit.page(
        "book",
        status=400 if faults else 200,
        chips=[_chip(each, off) for each, off in jobs[:_MOST_CHIPS]],
        n_jobs=len(jobs),
        typed=typed,
        filtered=any(typed.values()),
        settings=settings,
        faults=faults,
    )


def job(visit: Visit, error: FewtoneError | None = None) -> Response:
    """Show one job: all that it holds, and its recipe on today's curves."""
    kept = visit.bench.book.job(visit.ticket.job)
    of_this_shelf = kept.shelf == visit.open_shelf.settings().name
    again, faults_today = None, None
    if of_this_shelf and kept.recipe is not None and visit.open_shelf.is_learnt:
        try:
            again = visit.shelf.job_again(kept)
        except FewtoneError as caught:
            faults_today = visit.faults(caught)
    target = kept.target
    return visit.page(
        "job",
        status=200 if error is None else 400,
        faults=[] if error is None else visit.faults(error),
        job=kept,
        of_this_shelf=of_this_shelf,
        target=target,
        target_words=swatch_words(target),
        chip=_chip(kept, None),
        entries=[
            (entry.at, entry.kind, entry_words(entry.kind, entry.data)) for entry in kept.entries
        ],
        again=again,
        now=None if again is None else shown(again.now, target, visit.shelf),
        instead=None
        if again is None or again.instead is None
        else shown(again.instead, target, visit.shelf),
        not_again=faults_today,
        endings=ENDINGS,
        kept=visit.query.get("kept", ""),
        typed="" if visit.form is None else visit.form.get("note", ""),
    )


def write(visit: Visit) -> Response:
    """Write a note or the end into a job."""
    form = visit.form
    assert form is not None
    name = visit.ticket.job
    try:
        if ending := form.get("how"):
            if ending not in ENDINGS:
                raise UsageError(
                    Fault("A job does not end so.", "Choose one of the two.", value=ending)
                )
            visit.bench.book.add(name, Entry("ended", {"how": ending}))
        else:
            text = form.get("note", "").strip()
            if not text:
                raise UsageError(Fault("The note is empty.", "Write something down."))
            visit.bench.book.add(name, Entry("note", {"text": text}))
    except FewtoneError as error:
        return job(visit, error)
    return visit.go(visit.plain("job", job=name))


def _chip(kept: Job, off: float | None) -> Chip:
    predicted = kept.predicted
    lab = None if predicted is None else predicted.data.get("lab")
    light = kept.target.light
    return Chip(
        kept,
        swatch(kept.target.lab, light),
        None if not lab else swatch(lab, light),
        off,
    )


def _like(text: str) -> tuple[float, float, float] | None:
    if not text:
        return None
    lab = lab_triple(text)
    if lab is None:
        raise UsageError(
            Fault(f"'{text}' is no colour.", "Write L,a,b such as 38.2,-18.4,9.7.", value=text)
        )
    return lab


def _within(text: str) -> float:
    if not text:
        return _USUAL_NEARNESS
    value = decimal_from(text)
    if value is None or value < 0:
        raise UsageError(Fault(f"'{text}' is no ΔE00.", "Write such as 2.", value=text))
    return float(value)
