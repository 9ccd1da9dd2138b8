"""What became of a deck, as a JSON document."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fewtone.report.json.recipes import FORMAT, Document

if TYPE_CHECKING:
    from fewtone.decks import Deck, Needed

__all__ = ["deck_document", "needed_document"]


def deck_document(deck: Deck, tolerance: float) -> Document:
    """The answer of `deck`: what is reached, by hue and lightness; rows stand in the CSV file.

    Parameters
    ----------
    tolerance
        ΔE00 that passes.
    """
    summary = deck.summary
    return {
        "format": FORMAT,
        "written": str(deck.out),
        "resumed": deck.resumed,
        "tolerance": tolerance,
        "swatches": summary.swatches,
        "reached": summary.reached,
        "cells": [
            {
                "hue": cell.hue,
                "lightness": cell.lightness,
                "swatches": cell.swatches,
                "reached": cell.reached,
            }
            for cell in summary.cells
        ],
        "bottles": None if deck.needed is None else needed_document(deck.needed),
    }


def needed_document(needed: Needed) -> Document:
    """Which bottles reach so much of a deck."""
    return {
        "percent": needed.percent,
        "swatches": needed.swatches,
        "reachable": needed.reachable,
        "toners": None if needed.toners is None else list(needed.toners),
        "grounds": None if needed.grounds is None else list(needed.grounds),
        "reached": needed.reached,
        "least_toners": needed.least_toners,
        "least_grounds": needed.least_grounds,
        "most_reached": needed.most_reached,
        "proven": needed.proven,
        "losses": {loss.name: loss.swatches for loss in needed.losses},
    }
