"""The reach of a shelf as a JSON document."""

from __future__ import annotations

from fewtone.report.json.recipes import FORMAT, Document, target_document
from fewtone.workshop.look.reach import Placed, Reach

__all__ = ["reach_document"]


def reach_document(result: Reach) -> Document:
    """The answer of `reach`: outlines by ground and lightness, and what lies within them."""
    return {
        "format": FORMAT,
        "illuminant": result.light.illuminant,
        "observer": result.light.observer,
        "grounds": [
            {
                "ground": ground.ground,
                "keyed": ground.keyed,
                "lightest": round(ground.lightest, 2),
                "darkest": round(ground.darkest, 2),
                "outlines": [
                    {
                        "lightness": outline.lightness,
                        "ab": [[round(float(v), 2) for v in row] for row in outline.corners],
                    }
                    for outline in ground.outlines
                ],
            }
            for ground in result.grounds
        ],
        "target": None if result.target is None else _placed(result.target),
        "swatches": [_placed(each) for each in result.swatches],
    }


def _placed(placed: Placed) -> Document:
    document = target_document(placed.target)
    return {**document, "name": placed.target.name, "within": list(placed.grounds)}
