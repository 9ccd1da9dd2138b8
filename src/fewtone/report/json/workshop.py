"""What the bench answers as JSON documents: batches, letdowns, simplifications, adjustments."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import TYPE_CHECKING

from fewtone.report.json.recipes import (
    FORMAT,
    Document,
    match_document,
    recipe_document,
    target_document,
)
from fewtone.report.phrases import alternative_options
from fewtone.workshop.pour.pours import on_steps, printed

if TYPE_CHECKING:
    from fewtone.match.result import Match
    from fewtone.workshop.look.letdown import Letdown
    from fewtone.workshop.look.simplify import Simplification
    from fewtone.workshop.panel.adjust import Adjustment
    from fewtone.workshop.panel.bottle import Bottle
    from fewtone.workshop.panel.posterior import Depth
    from fewtone.workshop.pour.batch import Batch
    from fewtone.workshop.pour.pours import Pour

__all__ = [
    "adjust_document",
    "batch_document",
    "bottle_document",
    "letdown_document",
    "simplify_document",
]

# Volumes and weights are shown to this many decimals [ml, g].
_DECIMALS = 3


def batch_document(result: Batch) -> Document:
    """The answer of `batch`; pours sum to the total as printed, not only before rounding."""
    reducer, ground = result.reducer, result.ground
    return {
        "format": FORMAT,
        "recipe": str(result.recipe),
        "wanted_ml": _plain(result.wanted_ml),
        "extra_ml": _plain(result.extra_ml),
        "total_ml": _plain(result.total_ml),
        "overshoot_ml": _plain(result.overshoot_ml),
        "total_grams": None if result.total_grams is None else _plain(result.total_grams),
        "cost": None if result.cost is None else _plain(result.cost),
        "pours": _pours(result.pours),
        "on": result.on,
        "step": None if result.step is None else _plain(result.step),
        "cup": None
        if result.cup is None
        else {
            "name": str(result.cup),
            "unit": result.cup.unit,
            "step_ml": _plain(result.cup.step_ml),
            "holds_ml": None if result.cup.holds_ml is None else _plain(result.cup.holds_ml),
        },
        "limit_de00": result.limit_de00,
        "rounding_de00": _rounded(result.rounding_de00),
        "rounded_pours": _pours(result.rounded),
        "strengths": {name: round(value, 4) for name, value in result.strengths.items()},
        "reducer": reducer
        and {
            "percent": _plain(reducer.percent),
            "usual_percent": _plain(reducer.usual_percent),
            "strength": round(float(reducer.strength), 6),
            "lab": [round(value, 4) for value in reducer.lab],
            "de00": round(reducer.de00, 4),
            "coats_needed": _plain(reducer.coats_needed),
            "whole_coats": reducer.whole_coats,
            "whole_coats_de00": round(reducer.whole_coats_de00, 4),
        },
        "alternatives": [
            {
                "option": alternative_options(other),
                "total_ml": _plain(other.total_ml),
                "rounding_de00": round(other.rounding_de00, 4),
            }
            for other in result.alternatives
        ],
        "ground": ground
        and {
            "ground": ground.ground,
            "wanted_ml": _plain(ground.wanted_ml),
            "total_ml": _plain(ground.total_ml),
            "pours": _pours(ground.pours),
            "cup": None if ground.cup is None else str(ground.cup),
        },
        "care": list(result.care),
        "cautions": list(result.cautions),
    }


def letdown_document(result: Letdown) -> Document:
    """The answer of `letdown`."""
    return {
        "format": FORMAT,
        "recipe": str(result.recipe),
        "illuminant": result.light.illuminant,
        "observer": result.light.observer,
        "target": None if result.target is None else target_document(result.target),
        "steps": [
            {
                "ground": step.ground,
                "coats": step.coats,
                "lab": [round(value, 4) for value in step.lab],
                "de00": _rounded(step.de00),
                "step_de00": _rounded(step.step_de00),
                "pass_probability": step.pass_probability,
            }
            for strip in result.strips
            for step in strip.steps
        ],
        "grounds": {
            strip.ground: {
                "nearest_coats": None if strip.nearest is None else strip.nearest.coats,
                "nearest_de00": None if strip.nearest is None else _rounded(strip.nearest.de00),
                "best_coats": strip.best_coats,
                "overshoots_from": strip.overshoots_from,
            }
            for strip in result.strips
        },
        "cautions": list(result.cautions),
    }


def simplify_document(result: Simplification) -> Document:
    """The answer of `simplify`: as `match`, with the formula and what each recipe loses."""

    def with_loss(match: Match | None) -> Document | None:
        if match is None:
            return None
        loss = result.losses[match.recipe]
        return {
            **recipe_document(match),
            "grounds_de00": {name: round(off, 4) for name, off in loss.grounds.items()},
            "lights_de00": {name: round(off, 4) for name, off in loss.lights.items()},
        }

    answer = result.result
    simple = result.already_simple
    return {
        **match_document(answer, result.target, answer.tolerance),
        "picks": {
            name: with_loss(getattr(answer, name)) for name in ("simplest", "surest", "closest")
        },
        "recipes": [with_loss(match) for match in answer.recipes],
        "formula": recipe_document(result.formula),
        "every_ground": result.every_ground,
        "already_simple": None if simple is None else str(simple),
        "idle_toners": list(result.idle),
        "cautions": list(result.cautions),
    }


def adjust_document(result: Adjustment, kept: str | None = None) -> Document:
    """The answer of `adjust`; `kept` is the panel's id if its reading was kept."""
    before, after = result.expected_de00
    return {
        "format": FORMAT,
        "target": target_document(result.target),
        "readings": [_depth(depth) for depth in result.depths],
        "earlier": [
            {"recipe": str(panel.recipe), "readings": [_depth(depth) for depth in panel.depths]}
            for panel in result.earlier
        ],
        "passes": result.passes,
        "reading_illuminant": result.reading_light.illuminant,
        "reading_observer": result.reading_light.observer,
        "advice": result.advice,
        "why": list(result.why),
        "coats": recipe_document(result.coats),
        "additions": [
            {
                "component": addition.component,
                "ml": _plain(addition.ml),
                "grams": None if addition.grams is None else _plain(addition.grams),
            }
            for addition in result.additions
        ],
        "after": recipe_document(result.after),
        "next_time": recipe_document(result.next_time),
        "as_is": recipe_document(result.as_is),
        "expected_de00": {"as_is": round(before, 4), "after": round(after, 4)},
        "left_ml": None if result.left_ml is None else _plain(result.left_ml),
        "total_ml": None if result.total_ml is None else _plain(result.total_ml),
        "causes": [
            {
                "name": cause.name,
                "chance": None if cause.chance is None else round(cause.chance, 3),
                "change": round(cause.change, 4),
            }
            for cause in result.causes
        ],
        "kept": kept,
        "cautions": list(result.cautions),
    }


def _depth(depth: Depth) -> Document:
    return {
        "coats": depth.coats,
        "lab": [round(value, 4) for value in depth.lab],
        "count": depth.count,
        "spread": depth.spread and [round(value, 4) for value in depth.spread],
    }


def bottle_document(result: Bottle) -> Document:
    """The answer of `bottle`."""
    return {
        "format": FORMAT,
        "toner": result.toner,
        "recipe": str(result.recipe),
        "readings": [
            {"coats": float(coats), "lab": [round(value, 4) for value in lab]}
            for coats, lab in result.readings
        ],
        "reading_illuminant": result.light.illuminant,
        "reading_observer": result.light.observer,
        "strength": float(result.written),
        "strength_sd": round(result.strength_sd, 4),
        "strength_in_use": result.in_use,
        "hand_chance": round(result.hand_chance, 4),
        "deviation": round(result.deviation, 4),
        "bottle_part": round(result.bottle_part, 4),
        "de00_before": round(result.de00_before, 4),
        "de00_after": round(result.de00_after, 4),
        "de00_left": round(result.de00_left, 4),
        "next_sd": round(result.next_sd, 4),
        "verdict": str(result.verdict),
        "why": list(result.why),
        "applied": result.applied,
        "cautions": list(result.cautions),
    }


def _pours(pours: Sequence[Pour]) -> list[Document]:
    """Pours whose printed amounts sum to the printed running totals."""
    volumes = printed((pour.ml for pour in pours), _DECIMALS)
    weighable = [pour for pour in pours if pour.running_grams is not None]
    weights: list[float | None] = [
        *printed((pour.grams or Fraction(0) for pour in weighable), _DECIMALS)
    ]
    # Behind a component without a density there is no running weight; its own is still known.
    weights += [
        None if pour.grams is None else _plain(pour.grams) for pour in pours[len(weighable) :]
    ]
    return [
        {
            "component": pour.component,
            "ml": ml,
            "grams": grams,
            "running_ml": _plain(pour.running_ml),
            "running_grams": None if pour.running_grams is None else _plain(pour.running_grams),
            "cup_lines": None if pour.lines is None else _plain(pour.lines),
            "cost": None if pour.cost is None else _plain(pour.cost),
        }
        for pour, ml, grams in zip(pours, volumes, weights, strict=True)
    ]


def _plain(value: Fraction) -> float:
    return float(on_steps(value, Fraction(1, 10**_DECIMALS)))


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 4)
