"""Recipes side by side as a JSON document."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fewtone.report.json.recipes import FORMAT, Document, recipe_document, target_document

if TYPE_CHECKING:
    from fewtone.workshop.look.compare import Compared, Comparison

__all__ = ["compare_document"]


def compare_document(result: Comparison) -> Document:
    """The answer of `compare`: each recipe as elsewhere, with what it is compared by."""
    return {
        "format": FORMAT,
        "target": None if result.target is None else target_document(result.target),
        "illuminant": result.light.illuminant,
        "observer": result.light.observer,
        "tolerance": result.tolerance,
        "recipes": [_compared_document(compared) for compared in result.recipes],
    }


def _compared_document(compared: Compared) -> Document:
    return {
        **recipe_document(compared.match),
        "de00_from_first": round(compared.from_first, 4),
        "grounds": [
            {
                "ground": ground,
                "lab": [round(value, 4) for value in seen.lab],
                "de00": round(seen.de00, 4),
            }
            for ground, seen in compared.grounds.items()
        ],
        "lights": [
            {
                "illuminant": seen.light.illuminant,
                "observer": seen.light.observer,
                "lab": [round(value, 4) for value in seen.lab],
                "inconstancy": round(seen.inconstancy, 4),
                "de00_from_first": round(off, 4),
            }
            for seen, off in zip(compared.lights, compared.lights_from_first, strict=True)
        ],
        "cost_per_litre": _rounded(compared.cost_per_litre),
        "cost_per_m2": _rounded(compared.cost_per_m2),
    }


def _rounded(cost: float | None) -> float | None:
    return None if cost is None else round(cost, 4)
