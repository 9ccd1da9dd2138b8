"""The page Shelf: toners as strips of colour, how well they are known, and learning."""

from __future__ import annotations

from dataclasses import dataclass

from starlette.responses import Response

from fewtone.board.visit import Visit
from fewtone.errors import FewtoneError
from fewtone.report.swatches import Swatch, swatches

__all__ = ["learn", "look", "progress"]

# How long the browser waits for a quick shelf before it is shown that learning goes on.
_PATIENCE_S = 0.4
_MOSTLY_DATA, _HALF_DATA = 0.85, 0.5


@dataclass(frozen=True, slots=True)
class Strip:
    """One toner over one ground, from one coat on."""

    ground: str
    shades: tuple[Swatch, ...]


@dataclass(frozen=True, slots=True)
class Shelved:
    """A toner as it stands on the shelf: its strips, none where it is not learnt."""

    name: str
    label: str
    in_stock: bool
    strips: tuple[Strip, ...]


def look(visit: Visit) -> Response:
    """Show the shelf."""
    open_shelf = visit.open_shelf
    settings = open_shelf.settings()
    rows = None
    faults = []
    try:
        rows = open_shelf.rows()
    except FewtoneError as error:
        faults = visit.faults(error)
    report = open_shelf.learnt_document
    learnt = open_shelf.is_learnt
    return visit.page(
        "shelf",
        settings=settings,
        learnt=learnt,
        toners=_toners(visit) if learnt else [],
        letdown=settings.mixing.medium_parts[0],
        cautions=visit.shelf.cautions if learnt else (),
        report=report,
        notes=() if report is None else report["cautions"],
        removable=()
        if report is None
        else [suspect["panel"] for suspect in report["suspects"] if suspect["removable"]],
        doubt_words=_doubt_words,
        read=0 if rows is None else sum(row.is_read for row in rows.rows),
        waiting=0 if rows is None else sum(not row.is_read for row in rows.rows),
        faults=faults,
    )


def learn(visit: Visit) -> Response:
    """Begin to learn, as `learn` does, and show how it goes on."""
    form = visit.form
    assert form is not None
    left_out = tuple(name for name in form.getlist("leave_out") if name)
    learning = visit.open_shelf.start_learning(
        left_out,
        add_rows=form.get("add_rows") == "yes",
        rows_for=form.get("rows_for", "").strip() or None,
    )
    learning.wait(_PATIENCE_S)
    return visit.go(visit.plain("learn"))


def progress(visit: Visit) -> Response:
    """Show that learning goes on, or what came of it."""
    learning = visit.open_shelf.learning
    if learning is not None and learning.is_running:
        from fewtone.learning import STEPS

        return visit.page("learning", learning=learning, steps=STEPS)
    error = None if learning is None else learning.error
    if isinstance(error, FewtoneError):
        return visit.page("unlearnt", status=409, faults=visit.faults(error))
    if error is not None:
        raise error
    return visit.go(visit.plain("shelf", learnt="yes"))


def _toners(visit: Visit) -> list[Shelved]:
    shelf = visit.shelf
    settings, curves = shelf.settings, shelf.curves
    grounds = [name for name in settings.grounds if name in curves.grounds]
    known = [name for name in settings.toners if name in curves.toners]
    letdown, last = settings.mixing.medium_parts[0], settings.mixing.coats[1]

    def strips() -> tuple[Swatch, ...]:
        lines = [
            f"1 {toner}, {letdown}:1, {coats} coats over {ground}"
            for toner in known
            for ground in grounds
            for coats in range(1, last + 1)
        ]
        if not lines:
            return ()
        return swatches(shelf.predict(lines).lab, settings.measurement.light)

    shades = visit.open_shelf.answer("strips", strips)
    by_toner: dict[str, tuple[Strip, ...]] = {}
    step = iter(shades[start : start + last] for start in range(0, len(shades), last))
    for toner in known:
        by_toner[toner] = tuple(Strip(ground, next(step)) for ground in grounds)
    return [
        Shelved(name, toner.label, toner.in_stock, by_toner.get(name, ()))
        for name, toner in settings.toners.items()
    ]


def _doubt_words(data_share: float) -> str:
    """How much of a toner's colour the readings tell, in words."""
    if data_share >= _MOSTLY_DATA:
        return "well told by your readings"
    if data_share >= _HALF_DATA:
        return "told in part; the rest is how toners are in general"
    return "hardly told by your readings: mostly how toners are in general"
