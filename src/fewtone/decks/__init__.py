"""Decks: every swatch of a deck against the shelf, by the thousand, and what that says of it."""

from __future__ import annotations

from fewtone.decks.deck import Deck, answer_deck, answer_into
from fewtone.decks.needed import Loss, Needed, needed
from fewtone.decks.run import Runner, cores, here, on_executor, on_processes
from fewtone.decks.summary import Cell, Chip, Summary
from fewtone.decks.swatch import COLUMNS, Answer, Question, Row

__all__ = [
    "COLUMNS",
    "Answer",
    "Cell",
    "Chip",
    "Deck",
    "Loss",
    "Needed",
    "Question",
    "Row",
    "Runner",
    "Summary",
    "answer_deck",
    "answer_into",
    "cores",
    "here",
    "needed",
    "on_executor",
    "on_processes",
]
