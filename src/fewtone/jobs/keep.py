"""Opening a job in a book."""

from __future__ import annotations

from fewtone.jobs.book import Book
from fewtone.jobs.job import Entry, Job, opened_job, recipe_entry
from fewtone.match.result import judge
from fewtone.model.curves import Curves
from fewtone.model.recipe import Recipe
from fewtone.model.shelf import ShelfSettings
from fewtone.model.target import Target

__all__ = ["keep_job"]


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
        entries = [recipe_entry(judge(curves, settings, line, target, passing)), *entries]
    opened = opened_job(
        name,
        target,
        tolerance=passing,
        shelf=settings.name,
        readings_sha256=curves.readings_digest,
        curves_text=curves_text,
    )
    return book.keep(opened, curves_text, entries)
