"""Jobs as JSON documents."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fewtone.jobs.transfer import job_document
from fewtone.report.json.recipes import FORMAT, Document, recipe_document

if TYPE_CHECKING:
    from fewtone.jobs import Again, KeptMatch

__all__ = ["again_document", "job_document", "kept_document"]


def again_document(result: Again) -> Document:
    """The answer of `job again`; `result` is that."""
    moved = result.moved_de00
    return {
        "format": FORMAT,
        "job": result.job.name,
        "recipe": recipe_document(result.now),
        "moved_de00": None if moved is None else round(moved, 4),
        "has_moved": result.has_moved,
        "instead": None if result.instead is None else recipe_document(result.instead),
    }


def kept_document(kept: KeptMatch) -> Document:
    """A kept job that answers to a target; `kept` is that."""
    return {
        "job": kept.job.name,
        "opened": kept.job.opened,
        "recipe": recipe_document(kept.match),
    }
