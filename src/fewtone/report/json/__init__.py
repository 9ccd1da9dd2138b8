"""Results as plain JSON documents, the form that users script against.

Each function turns one result into dictionaries, lists, strings and numbers; ``format`` counts
the layout. Figures are rounded to what is meaningful, never finer than they are known. Those of the
job book stand in `fewtone.report.json.jobs`, so that other commands do not load the book.
"""

from __future__ import annotations

from fewtone.report.json.compare import compare_document
from fewtone.report.json.decks import deck_document
from fewtone.report.json.instruments import take_document
from fewtone.report.json.recipes import (
    Document,
    check_document,
    fault_document,
    learn_document,
    match_document,
)
from fewtone.report.json.workshop import (
    adjust_document,
    batch_document,
    bottle_document,
    letdown_document,
    simplify_document,
)

__all__ = [
    "Document",
    "adjust_document",
    "batch_document",
    "bottle_document",
    "check_document",
    "compare_document",
    "deck_document",
    "fault_document",
    "learn_document",
    "letdown_document",
    "match_document",
    "simplify_document",
    "take_document",
]
