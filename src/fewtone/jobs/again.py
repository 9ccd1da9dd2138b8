"""Spraying a job again: its recipe on today's curves and bottles."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from fewtone.colorimetry import delta_e_2000
from fewtone.errors import Fault, FewtoneError
from fewtone.jobs.job import Job
from fewtone.match.judging import judge_all
from fewtone.match.result import Match
from fewtone.match.search import search
from fewtone.model.curves import Curves
from fewtone.model.shelf import ShelfSettings
from fewtone.model.target import Target
from fewtone.recipes.rules import Rules

__all__ = ["Again", "KeptMatch", "again", "kept_matches", "of_shelf"]

# A prediction that moved by less than instruments agree within (common practice, no source: 0.1 to
# 0.3) has not moved.
_MOVED = 0.3


@dataclass(frozen=True, slots=True, eq=False)
class Again:
    """What became of a job's recipe.

    Parameters
    ----------
    job
        The job.
    now
        Its recipe as today's curves and bottles predict it, judged against the job's request.
    moved_de00
        ΔE00 between that and what was predicted when it was chosen; None where that is not known.
    has_moved
        Whether that is more than instruments differ by.
    instead
        The recipe of the same toners over the same ground that is best today, where the old one no
        longer passes or has moved, and another is nearer; None else.
    """

    job: Job
    now: Match
    moved_de00: float | None
    has_moved: bool
    instead: Match | None


@dataclass(frozen=True, slots=True, eq=False)
class KeptMatch:
    """A kept job whose recipe answers to a target today.

    Parameters
    ----------
    job
        The job.
    match
        Its recipe, judged against the target.
    """

    job: Job
    match: Match


def of_shelf(job: Job, settings: ShelfSettings) -> Job:
    """Return `job` if it is of the shelf that `settings` describes.

    Raises
    ------
    FewtoneError
        It is of another: toners may go by the same names and be others.
    """
    if job.shelf != settings.name:
        raise FewtoneError(
            Fault(
                f"The job '{job.name}' is of the shelf '{job.shelf}', not of '{settings.name}'.",
                fix="Use that shelf (`shelf`).",
                value=job.name,
            )
        )
    return job


def kept_matches(
    curves: Curves, settings: ShelfSettings, jobs: Iterable[Job], target: Target, tolerance: float
) -> list[KeptMatch]:
    """Jobs of this shelf that passed, and whose recipe is within tolerance of a target today.

    Parameters
    ----------
    curves, settings
        The learnt shelf.
    jobs
        Jobs of a book.
    target, tolerance
        What is asked for now, and the ΔE00 that passes.

    Returns
    -------
    The nearest first.
    """
    matches = []
    for job in jobs:
        recipe = job.recipe
        same = (
            job.shelf == settings.name
            and job.target.light == target.light
            and job.ended == "passed"
        )
        # What was asked then lies within a tolerance of each from what its recipe reads.
        near = same and delta_e_2000(job.target.lab, target.lab) <= tolerance + job.tolerance
        if not near or recipe is None or recipe.ground not in curves.grounds:
            continue
        if all(name in curves.toners for name in recipe.blend):
            (match,) = judge_all(curves, settings, [recipe], target, tolerance)
            if match.in_tolerance:
                matches.append(KeptMatch(job, match))
    return sorted(matches, key=lambda kept: kept.match.de00 or 0.0)


def again(curves: Curves, settings: ShelfSettings, job: Job) -> Again:
    """Predict a job's recipe today, say whether it has moved, and what to change.

    Parameters
    ----------
    curves, settings
        The learnt shelf.
    job
        A job of that shelf.

    Raises
    ------
    FewtoneError
        The job is of another shelf, has no recipe, or the shelf no longer has its toners or ground.
    """
    recipe = of_shelf(job, settings).chosen
    (now,) = judge_all(curves, settings, [recipe], job.target, job.tolerance)
    then = job.predicted
    moved = None
    if then is not None and then.data.get("recipe") == str(recipe) and then.data.get("lab"):
        moved = float(delta_e_2000(now.lab, np.array(then.data["lab"], dtype=float)))
    has_moved = moved is not None and moved > _MOVED
    instead = None
    if (has_moved or not now.in_tolerance) and now.de00 is not None:
        rules = Rules.of(
            settings,
            use=tuple(recipe.blend),
            grounds=(recipe.ground,),
            max_toners=len(recipe.blend),
            tolerance=job.tolerance,
        )
        answer = search(curves, settings, job.target, rules)
        best = answer.simplest or answer.closest
        if best.recipe != recipe and best.de00 is not None and best.de00 < now.de00:
            instead = best
    return Again(job, now, moved, has_moved, instead)
