"""What stands on the printed page: one recipe, looked at from all sides.

The page says nothing of its own: it gathers what `check`, `batch` and `letdown` answer, in the
figures of their documents.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass

from fewtone.model.shelf import ShelfSettings
from fewtone.report.json import Document, batch_document, check_document, letdown_document
from fewtone.workshop.look.check import Check
from fewtone.workshop.look.letdown import Letdown
from fewtone.workshop.pour.batch import Batch

__all__ = ["PageContent", "sheet_document"]


@dataclass(frozen=True, slots=True, eq=False)
class PageContent:
    """A page about one recipe.

    Parameters
    ----------
    settings, readings_digest, learnt_by
        The shelf, the SHA-256 of the readings it was learnt from, and by which version.
    check, batch, letdown
        What those commands answer.
    tolerance
        ΔE00 that passes.
    by_weight
        Whether the mix is poured by the scale's steps instead of the cup's lines.
    date
        The day on the page.
    cautions
        What should be told, each once.
    spectrum
        Whether the predicted spectrum is drawn.
    """

    settings: ShelfSettings
    readings_digest: str
    learnt_by: str
    check: Check
    batch: Batch
    letdown: Letdown
    tolerance: float
    by_weight: bool
    date: datetime.date
    cautions: tuple[str, ...]
    spectrum: bool = True


def sheet_document(page: PageContent) -> Document:
    """All that stands on the page, in the documents of the commands that answered it."""
    return {
        "format": 1,
        "check": check_document(page.check),
        "batch": batch_document(page.batch),
        "letdown": letdown_document(page.letdown),
        "cautions": list(page.cautions),
        "date": page.date.isoformat(),
    }
