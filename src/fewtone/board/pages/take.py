"""The page Take: an instrument's readings, pasted, into readings.csv as `take` does it.

What is pasted is all there is: nothing of a request names a file.
"""

from __future__ import annotations

from collections import Counter
from typing import Any

from starlette.responses import Response

from fewtone.board.visit import Visit
from fewtone.errors import FewtoneError, UsageError
from fewtone.io.instruments.take import Taken, take_text
from fewtone.model.shelf import ShelfSettings
from fewtone.report.json import take_document

__all__ = ["look", "take"]

_FIELDS = ("text", "mode", "light", "leave_out", "force")
_WORDS = {
    "filled": "filled in",
    "added": "added",
    "replaced": "replaced",
    "unchanged": "there already",
}


def look(visit: Visit) -> Response:
    """Show the form."""
    return _page(visit, {})


def take(visit: Visit) -> Response:
    """Show where each reading would go, or write them there."""
    form = visit.form
    assert form is not None
    write = form.get("write") == "yes"
    try:
        taken = _taken(visit, form, write=write)
    except FewtoneError as error:
        return _page(visit, form, error=error)
    if write:
        changed = sum(one.what != "unchanged" for one in taken.placed)
        return visit.go(visit.plain("readings", wrote=changed, only="all"))
    return _page(visit, form, taken)


def _page(
    visit: Visit, fields: Any, taken: Taken | None = None, error: FewtoneError | None = None
) -> Response:
    counts = Counter() if taken is None else Counter(one.what for one in taken.placed)
    settings = visit.open_shelf.settings()
    return visit.page(
        "take",
        status=200 if error is None else 400,
        faults=[] if error is None else visit.faults(error),
        typed={name: fields.get(name, "") for name in _FIELDS},
        own_light=str(settings.measurement.light),
        example=_example(settings),
        answer=None if taken is None else take_document(taken),
        words=_WORDS,
        counted=", ".join(f"{number} {_WORDS[what]}" for what, number in counts.items()),
        is_new=any(what != "unchanged" for what in counts),
    )


def _example(settings: ShelfSettings) -> str:
    """A recipe of this shelf, as a sample may be named."""
    toner, ground = next(iter(settings.toners)), next(iter(settings.grounds))
    return f"1 {toner}, {settings.mixing.medium_parts[0]}:1, 3 coats over {ground}"


def _taken(visit: Visit, form: Any, *, write: bool) -> Taken:
    text = form.get("text", "")
    if not text.strip():
        raise UsageError("Nothing was pasted.")
    return take_text(
        visit.open_shelf.folder,
        text,
        mode=form.get("mode", "").strip() or None,
        light=form.get("light", "").strip() or None,
        leave_out=[
            name for line in form.get("leave_out", "").splitlines() if (name := line.strip())
        ],
        force=form.get("force") == "yes",
        dry_run=not write,
    )
