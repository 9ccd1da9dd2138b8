"""The page Bottle: how strong a new bottle is, from a panel sprayed with it, as `bottle` says."""

from __future__ import annotations

from typing import Any

from starlette.responses import Response

from fewtone.board.typed import MOST_READINGS, READING_FIELDS, coats_of, light_of, readings_of
from fewtone.board.visit import Visit
from fewtone.errors import FewtoneError, UsageError
from fewtone.report.json import bottle_document
from fewtone.report.swatches import swatch
from fewtone.workshop.panel.bottle import Bottle, Verdict

__all__ = ["apply", "look"]

_FIELDS = (*READING_FIELDS, "toner", "same_panel")


def look(visit: Visit) -> Response:
    """Show the form, and what the readings say of the bottle where some were typed."""
    return _page(visit, visit.query)


def apply(visit: Visit) -> Response:
    """Write the strength into shelf.toml, as the command `bottle` does where it is asked to."""
    form = visit.form
    assert form is not None
    try:
        result = _bottle(visit, form, write=True)
    except FewtoneError as error:
        return _page(visit, form, error)
    return visit.go(
        visit.to("bottle", written=f"{result.toner} {result.written}", toner=result.toner)
    )


def _page(visit: Visit, fields: Any, error: FewtoneError | None = None) -> Response:
    shelf = visit.shelf
    result = None
    try:
        if error is None and readings_of(fields):
            result = _bottle(visit, fields)
    except FewtoneError as caught:
        error = caught
    line = visit.ticket.recipe or ("" if visit.recipe is None else str(visit.recipe))
    return visit.page(
        "bottle",
        status=200 if error is None else 400,
        faults=[] if error is None else visit.faults(error),
        shelf=shelf,
        line=line,
        typed={name: fields.get(name, "") for name in _FIELDS},
        most_readings=MOST_READINGS,
        own_light=str(shelf.settings.measurement.light),
        result=result,
        answer=None if result is None else bottle_document(result),
        shades=() if result is None else [swatch(lab, result.light) for _, lab in result.readings],
        other=result is not None and result.verdict is Verdict.OTHER,
        unsure=result is not None and result.verdict in (Verdict.UNCLEAR, Verdict.SAME),
        writable=result is not None
        and result.verdict in (Verdict.UNCLEAR, Verdict.DIFFERS)
        and float(result.written) != result.in_use,
        written=visit.query.get("written", "") if visit.form is None else "",
        cautions=(*shelf.cautions, *(() if result is None else result.cautions)),
    )


def _bottle(visit: Visit, fields: Any, *, write: bool = False) -> Bottle:
    """What `bottle` answers to what the form says."""
    recipe = visit.recipe
    if recipe is None:
        raise UsageError("The recipe that the panel was sprayed with is missing.")
    return visit.shelf.bottle(
        recipe,
        readings_of(fields),
        toner=fields.get("toner", "").strip() or None,
        light=light_of(fields),
        sprayed=coats_of(fields),
        same_panel=fields.get("same_panel") == "yes",
        apply=write,
    )
