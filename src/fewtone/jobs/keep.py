"""What a job is opened with, and what a panel adds to it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fewtone.jobs.book import Book
from fewtone.jobs.job import Entry, Job, opened_job, recipe_entry
from fewtone.match.judging import judge_all
from fewtone.model.curves import Curves
from fewtone.model.recipe import Recipe
from fewtone.model.shelf import ShelfSettings
from fewtone.model.target import Target
from fewtone.prediction.recipes import predict

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fewtone.workshop.panel.adjust import Adjustment

__all__ = ["keep_job", "panel_entries"]


def keep_job(
    book: Book,
    name: str,
    curves: Curves,
    settings: ShelfSettings,
    target: Target,
    recipe: Recipe | str | None,
    curves_text: bytes,
    *,
    note: str | None = None,
    tolerance: float | None = None,
) -> Job:
    """Keep a new job: what was asked, and the recipe that was chosen.

    Parameters
    ----------
    book, name
        Where, and what the job is to go by.
    curves, settings
        The learnt shelf.
    target, recipe
        What was asked for, and what was chosen or its line; None if nothing is chosen yet.
    curves_text
        The shelf's ``curves.csv``, whole.
    note
        A note to keep with it.
    tolerance
        ΔE00 that passes; the shelf's own if None.

    Raises
    ------
    FewtoneError
        The name or the recipe cannot be used, there is such a job, or the book cannot be written.
    """
    passing = settings.mixing.tolerance if tolerance is None else tolerance
    entries = [] if note is None else [Entry("note", {"text": note})]
    if recipe is not None:
        line = settings.recipe(recipe)
        entries = [
            *map(recipe_entry, judge_all(curves, settings, [line], target, passing)),
            *entries,
        ]
    opened = opened_job(
        name,
        target,
        tolerance=passing,
        shelf=settings.name,
        readings_sha256=curves.readings_digest,
        curves_text=curves_text,
    )
    return book.keep(opened, curves_text, entries)


def panel_entries(
    curves: Curves, result: Adjustment, sprayed: Recipe, readings: Sequence[str]
) -> tuple[Entry, Entry]:
    """The entries of a panel and of what was advised after it.

    Parameters
    ----------
    curves
        The learnt shelf, the recipes' grounds among its own.
    result
        The advice.
    sprayed
        What the panel was sprayed with.
    readings
        What it reads, as they were said.

    Returns
    -------
    The panel; then the adjustment, with what these curves predict of its recipe, so that `again`
    can tell whether they have moved.

    Raises
    ------
    FewtoneError
        The advised recipe names a toner or ground that was not learnt.
    """
    after = result.after.recipe
    lab = predict(curves, [after], result.target.light).lab[0]
    return (
        Entry("panel", {"recipe": str(sprayed), "readings": list(readings)}),
        Entry(
            "adjustment",
            {
                "recipe": str(after),
                "advice": result.advice,
                "lab": [round(float(value), 4) for value in lab],
            },
        ),
    )
