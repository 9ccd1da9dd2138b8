"""The page Panel: type the reading, see what it means and what to do; keep it."""

from __future__ import annotations

from typing import Any

from starlette.responses import Response

from fewtone.board.shades import shown
from fewtone.board.typed import MOST_READINGS, READING_FIELDS, coats_of, light_of, readings_of
from fewtone.board.visit import Visit
from fewtone.errors import FewtoneError, UsageError
from fewtone.jobs import panel_entries
from fewtone.model.blend import coats_text, exact_number
from fewtone.model.numbers import decimal_from
from fewtone.report.json import adjust_document
from fewtone.report.phrases import advice_words
from fewtone.report.swatches import swatch
from fewtone.report.words import difference_words, swatch_words
from fewtone.workshop.panel.adjust import Adjustment, AdjustOptions

__all__ = ["keep", "read"]

_FIELDS = (*READING_FIELDS, "left", "room", "activated", "learn_from", "name")


def read(visit: Visit) -> Response:
    """Show the form, and what a reading means where one was typed."""
    return _page(visit, visit.query)


def keep(visit: Visit) -> Response:
    """Write panel and advice down in the job, and the reading for learning where that is wished."""
    form, shelf, recipe, target = visit.form, visit.shelf, visit.recipe, visit.target
    assert form is not None
    if recipe is None or target is None:
        raise UsageError("A panel needs a recipe and a target.")
    try:
        readings = readings_of(form)
        result = _adjust(visit, form)
        name = visit.ticket.job
        if visit.job is None:
            name = shelf.keep_job(
                visit.bench.book,
                form.get("name", ""),
                target=target,
                recipe=recipe,
                tolerance=visit.tolerance,
            ).name
            # If what follows fails, the job is open all the same: the next try works on it.
            visit.work_on(name)
        coats = coats_of(form)
        sprayed = result.recipe if coats is None else result.recipe.with_(coats=coats)
        # The reading goes to the shelf and to the job at once, or to neither.
        with visit.bench.book.adding(name) as add:
            curves = shelf.over([result.after.recipe])
            add(*panel_entries(curves, result, sprayed, readings))
            if form.get("learn_from") == "yes":
                shelf.keep_reading(recipe, readings, light=result.reading_light, sprayed=coats)
    except FewtoneError as error:
        return _page(visit, form, error)
    return visit.go(visit.plain("job", job=name, kept="panel"))


def _page(visit: Visit, fields: Any, error: FewtoneError | None = None) -> Response:
    shelf, recipe, target = visit.shelf, visit.recipe, visit.target
    if recipe is None or target is None:
        return visit.page("panel_wanted", recipe=recipe, target=target, shelf=shelf, faults=[])
    result = None
    try:
        if error is None and readings_of(fields):
            result = _adjust(visit, fields)
    except FewtoneError as caught:
        error = caught
    return visit.page(
        "panel",
        status=200 if error is None else 400,
        faults=[] if error is None else visit.faults(error),
        recipe=recipe,
        line=str(recipe),
        target=target,
        target_words=swatch_words(target),
        target_shade=swatch(target.lab, target.light),
        own_light=str(shelf.settings.measurement.light),
        typed={name: fields.get(name, "") for name in _FIELDS},
        most_readings=MOST_READINGS,
        job=visit.job,
        earlier=() if visit.job is None else visit.job.panels,
        result=None if result is None else _result(visit, result),
        cautions=(*shelf.cautions, *(() if result is None else result.cautions)),
    )


def _result(visit: Visit, result: Adjustment) -> dict[str, Any]:
    document = adjust_document(result)
    shelf, target = visit.shelf, result.target
    return {
        "document": document,
        "advice": advice_words(result),
        "after": shown(result.after, target, shelf),
        "next_time": None
        if result.next_time.recipe == result.after.recipe
        else shown(result.next_time, target, shelf),
        "next_time_holds": result.next_time_holds,
        "read": [
            {
                "shade": swatch(depth.lab, result.reading_light),
                "coats": coats_text(exact_number(f"{depth.coats:g}")),
                "document": reading,
            }
            for depth, reading in zip(result.depths, document["readings"], strict=True)
        ],
        "coats": coats_text(result.after.recipe.coats),
        "without": coats_text(result.coats.recipe.coats),
        "words": difference_words(result.expected_de00[1]),
    }


def _adjust(visit: Visit, fields: Any) -> Adjustment:
    """What `adjust` answers, with the job's earlier panels in mind."""
    recipe, target, job = visit.recipe, visit.target, visit.job
    assert recipe is not None
    assert target is not None
    how: AdjustOptions = {
        "sprayed": coats_of(fields),
        "activated": fields.get("activated") == "yes",
    }
    if left := _millilitres(fields.get("left", "")):
        how["left"] = left
    if room := _millilitres(fields.get("room", "")):
        how["room"] = room
    return visit.shelf.adjust(
        recipe,
        target=target,
        readings=readings_of(fields),
        earlier=[
            (str(panel.data["recipe"]), list(panel.data["readings"]))
            for panel in (() if job is None else job.panels)
        ],
        reading_light=light_of(fields),
        **how,
    )


def _millilitres(text: str) -> str:
    plain = text.strip()
    return f"{plain}ml" if plain and decimal_from(plain) is not None else plain
