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


def needed_document(found: Needed) -> Document:
    """Which bottles reach so much of a deck."""
    return {
        "percent": found.percent,
        "swatches": found.swatches,
        "reachable": found.reachable,
        "toners": None if found.toners is None else list(found.toners),
        "grounds": None if found.grounds is None else list(found.grounds),
        "reached": found.reached,
        "least_toners": found.least_toners,
        "least_grounds": found.least_grounds,
        "proven": found.proven,
        "losses": {loss.name: loss.swatches for loss in found.losses},
    }
