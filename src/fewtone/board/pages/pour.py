"""The page Pour: amounts to read at arm's length, ticked off as they are poured."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from starlette.responses import Response

from fewtone.board.visit import Visit
from fewtone.errors import Fault, FewtoneError, UsageError
from fewtone.jobs import Entry
from fewtone.model.cup import Cup
from fewtone.model.numbers import decimal_from
from fewtone.report.json import batch_document
from fewtone.report.swatches import swatch
from fewtone.workshop.pour.batch import Batch, BatchOptions
from fewtone.workshop.pour.pours import Pour

__all__ = ["note_down", "pour"]

_FIELDS = ("volume", "area", "extra", "reducer", "use_up", "ground_volume")


def pour(visit: Visit) -> Response:
    """Say what to pour, or ask how much."""
    recipe = visit.recipe
    if recipe is None:
        return visit.page("recipe_wanted", to="pour", faults=[], shelf=visit.shelf)
    asked = any(visit.query.get(name, "").strip() for name in ("volume", "area", "use_up"))
    result, error = None, None
    if asked:
        try:
            result = _batch(visit, visit.query)
        except FewtoneError as caught:
            error = caught
    shelf = visit.shelf
    light = shelf.settings.measurement.light
    return visit.page(
        "pour",
        status=200 if error is None else 400,
        recipe=recipe,
        line=str(recipe),
        shade=swatch(shelf.predict(recipe, light=light).lab[0], light),
        typed={name: visit.query.get(name, "") for name in (*_FIELDS, "way")},
        asked={
            name: value
            for name in (*_FIELDS, "way")
            if (value := visit.query.get(name, "").strip())
        },
        result=result,
        poured=None if result is None else batch_document(result),
        cups=[] if result is None else _cup_figures(result.pours, result.cup),
        rounded_cups=[] if result is None else _cup_figures(result.rounded, result.cup),
        ground_cups=[]
        if result is None or result.ground is None
        else _cup_figures(result.ground.pours, result.ground.cup),
        ground_cup=None if result is None or result.ground is None else result.ground.cup,
        keyed="+" in recipe.ground,
        labels={name: toner.label for name, toner in shelf.settings.toners.items()}
        | {"medium": shelf.settings.medium.label},
        can_weigh=shelf.settings.mixing.scale_g is not None,
        can_cover=shelf.settings.mixing.ml_per_m2 is not None,
        job=visit.job,
        noted=visit.query.get("noted", ""),
        faults=[] if error is None else visit.faults(error),
        cautions=(*shelf.cautions, *(() if result is None else result.cautions)),
    )


def note_down(visit: Visit) -> Response:
    """Write the mix down in the job, as `batch` does of a job."""
    form = visit.form
    assert form is not None
    if visit.job is None:
        raise UsageError("There is no job to write this down in: keep the recipe as a job first.")
    result = _batch(visit, form)
    poured = {each.component: round(float(each.ml), 2) for each in result.pours}
    data = {
        "recipe": str(result.recipe),
        "total_ml": round(float(result.total_ml), 2),
        "ml": poured,
    }
    visit.bench.book.add(visit.job.name, Entry("batch", data))
    how = {name: form.get(name, "") for name in (*_FIELDS, "way")}
    return visit.go(visit.to("pour", visit.ticket, **how, noted="yes"))


def _batch(visit: Visit, fields: Mapping[str, str]) -> Batch:
    """What `batch` answers to what the form says."""
    recipe = visit.recipe
    if recipe is None:
        raise UsageError("There is no recipe to pour.")
    how: BatchOptions = {}
    if volume := _measure(fields.get("volume", ""), "ml"):
        how["volume"] = volume
    if area := _measure(fields.get("area", ""), "m2"):
        how["area"] = area
    if extra := _measure(fields.get("extra", ""), "ml"):
        how["extra"] = extra
    if reducer := _measure(fields.get("reducer", ""), "%"):
        how["reducer"] = reducer
    if rests := _rests(fields.get("use_up", "")):
        how["use_up"] = rests
    if ground := _measure(fields.get("ground_volume", ""), "ml"):
        how["ground_volume"] = ground
    way = fields.get("way", "")
    how["by_weight"] = way in ("weight", "exact-weight")
    how["exact"] = way in ("exact", "exact-weight")
    return visit.shelf.batch(recipe, **how)


def _measure(text: str, unit: str) -> str:
    """An amount; a bare number is in the unit that stands beside the field."""
    plain = text.strip()
    return f"{plain}{unit}" if decimal_from(plain) is not None else plain


def _rests(text: str) -> dict[str, str]:
    """What is left of toners and medium, as ``peony 40, medium 200 ml``.

    Raises
    ------
    UsageError
        A piece is not a name and an amount, or a name is given twice.
    """
    rests: dict[str, str] = {}
    for piece in re.split(r"[,;]\s+|;|,(?![0-9])", text):
        if not piece.strip():
            continue
        name, *amount = piece.replace("=", " ").split(maxsplit=1)
        if not amount or name in rests:
            raise UsageError(
                Fault(
                    f"'{piece.strip()}' is not a name and how much is left, each name once.",
                    fix="Write such as: peony 40, medium 200.",
                    value=text,
                )
            )
        rests[name] = _measure(amount[0], "ml")
    return rests


def _cup_figures(pours: Sequence[Pour], cup: Cup | None) -> list[dict[str, Any]]:
    """What the cup shows at each pour, in the unit of its marks."""
    unit = 1 if cup is None else cup.unit_ml
    return [
        {
            "running": float(pour.running_ml / unit),
            "lines": None if pour.lines is None else round(float(pour.lines), 1),
        }
        for pour in pours
    ]
