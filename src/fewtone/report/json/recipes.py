"""Recipes, targets, matches, checks and faults as JSON documents."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict
from decimal import Decimal
from typing import TYPE_CHECKING, Any, TypeAlias

if TYPE_CHECKING:
    from fewtone.errors import Fault
    from fewtone.learning import FitReport
    from fewtone.match.result import Help, Match, MatchResult
    from fewtone.model.blend import Number
    from fewtone.model.target import Target
    from fewtone.workshop.look.check import Check
    from fewtone.workshop.look.steadiness import Change

__all__ = ["Document", "check_document", "fault_document", "learn_document", "match_document"]

Document: TypeAlias = dict[str, Any]

FORMAT = 1


def fault_document(faults: Iterable[Fault]) -> Document:
    """What is wrong."""
    return {
        "format": FORMAT,
        "errors": [
            {
                "file": fault.file,
                "row": fault.row,
                "column": fault.column,
                "value": fault.value,
                "message": fault.message,
                "fix": fault.fix,
            }
            for fault in faults
        ],
    }


def learn_document(report: FitReport) -> Document:
    """The answer of `learn`."""
    return {
        "format": FORMAT,
        "readings": report.readings,
        "panels": report.panels,
        "median_de00": round(report.median_de00, 4),
        "toners": {
            name: {
                "readings": toner.readings,
                "median_de00": round(toner.median_de00, 4),
                "worst_de00": round(toner.worst_de00, 4),
                "worst_panel": toner.worst_panel,
                "left_out_de00": round(toner.leave_one_out_de00, 4),
                "scatters": toner.scatters,
                "data_share": round(toner.data_share, 4),
                "peak_nm": toner.peak_nm,
                "strength": round(toner.strength, 4),
            }
            for name, toner in report.toners.items()
        },
        "left_out": list(report.left_out),
        "suspects": [
            {
                "panel": suspect.panel,
                "explanation": suspect.explanation,
                "left_out_de00": round(suspect.de00, 4),
                "neg_log10_p": round(suspect.neg_log10_p, 2),
                "removable": suspect.removable,
                "disagrees_with": suspect.disagrees_with,
            }
            for suspect in report.suspects
        ],
        "added_panels": list(report.added_panels),
        "spray_next": [str(suggested.recipe) for suggested in report.spray_next],
        # How far off the shelf's blends are expected to be: now, and with each panel in turn.
        "spray_next_de00": [
            round(off, 4)
            for off in (
                *(suggested.before for suggested in report.spray_next[:1]),
                *(suggested.after for suggested in report.spray_next),
            )
        ],
        # At which coats each is read, several of a strip; and why a ground that was only read bare.
        "spray_next_coats": [list(suggested.coats) for suggested in report.spray_next],
        "spray_next_reasons": [
            None if suggested.only_bare is None else str(suggested.only_bare)
            for suggested in report.spray_next
        ],
        "second_light": None if report.second_light is None else str(report.second_light),
        "cautions": list(report.cautions),
    }


def match_document(result: MatchResult, target: Target, tolerance: float) -> Document:
    """The answer of `match`.

    Parameters
    ----------
    tolerance
        ΔE00 that passes.
    """
    picks = {
        name: None if pick is None else recipe_document(pick)
        for name, pick in (
            ("simplest", result.simplest),
            ("surest", result.surest),
            ("closest", result.closest),
        )
    }
    miss = result.miss
    document = {
        "format": FORMAT,
        "target": target_document(target),
        "tolerance": tolerance,
        "picks": picks,
        "recipes": [recipe_document(match) for match in result.recipes],
        "miss": miss
        and {
            "lightness": round(miss.lightness, 2),
            "chroma": round(miss.chroma, 2),
            "hue": round(miss.hue, 2),
            "words": miss.words,
            "would_help": [_help_document(help_) for help_ in miss.would_help],
        },
        "proof": {
            "admissible": result.proof.admissible,
            "colours": result.proof.colours,
            "evaluated": result.proof.evaluated,
            "cut": dict(result.proof.cut),
            "proven": result.proof.proven,
        },
    }
    if result.grounds:
        document["grounds"] = [recipe_document(match) for match in result.grounds]
    if result.keying is not None:
        document["keying"] = {
            "grounds": result.keying.grounds,
            "proposals": [
                {
                    "claims": list(proposal.claims),
                    "recipe": recipe_document(proposal.match),
                    "pass_probability_now": proposal.chance_now,
                    "beside": recipe_document(proposal.beside),
                }
                for proposal in result.keying.proposals
            ],
        }
    if result.versions:
        document["versions"] = [
            {
                "target": target_document(version.target),
                "apart": list(version.apart),
                "reached": version.best.in_tolerance,
                "best": recipe_document(version.best),
            }
            for version in result.versions
        ]
    return document


def _help_document(help_: Help) -> Document:
    """One thing that would help; toners and grounds that the shelf lacks are told by figures."""
    value = help_.value
    return {
        "rule": help_.rule,
        "value": (
            value
            if isinstance(value, str)
            else number(value)
            if isinstance(value, (int, Decimal))
            else asdict(value)
        ),
        "words": help_.words,
        "recipe": recipe_document(help_.match),
    }


def check_document(result: Check) -> Document:
    """The answer of `check`."""
    return {
        "format": FORMAT,
        "recipe": recipe_document(result.match),
        "illuminant": result.light.illuminant,
        "observer": result.light.observer,
        "target": None if result.target is None else target_document(result.target),
        "direction": result.direction or None,
        "reflectance": {
            f"{nm:g}": round(float(value), 6)
            for nm, value in zip(result.wavelength_nm, result.reflectance, strict=True)
        },
        "lights": [
            {
                "illuminant": seen.light.illuminant,
                "observer": seen.light.observer,
                "lab": [round(value, 4) for value in seen.lab],
                "inconstancy": round(seen.inconstancy, 4),
            }
            for seen in result.lights
        ],
        "grounds": [_change_document("ground", change) for change in result.grounds],
        "what_if": [_change_document("what", change) for change in result.what_if],
        "cautions": list(result.cautions),
    }


def _change_document(name: str, change: Change) -> Document:
    return {
        name: change.what,
        "lab": [round(value, 4) for value in change.lab],
        "moved_de00": round(change.moved_de00, 4),
        "de00": None if change.de00 is None else round(change.de00, 4),
    }


def target_document(target: Target) -> Document:
    """What was asked for, and how it was taken."""
    return {
        "lab": [round(value, 4) for value in target.lab],
        "illuminant": target.light.illuminant,
        "observer": target.light.observer,
        "geometry": str(target.geometry),
        "request": target.request,
    }


def recipe_document(match: Match) -> Document:
    """A recipe with its colour."""
    recipe = match.recipe
    document: Document = {
        "recipe": str(recipe),
        "blend": blend_document(recipe.blend),
        "medium_parts": number(recipe.medium_parts),
        "coats": number(recipe.coats),
        "ground": recipe.ground,
        "lab": [round(float(value), 4) for value in match.lab],
        "lab_sd": None if match.lab_sd is None else [round(float(v), 4) for v in match.lab_sd],
        "de00": match.de00,
        "in_tolerance": match.in_tolerance,
        "pass_probability": match.pass_probability,
        "unevenness": match.unevenness,
    }
    if match.each:
        document["pass_any"] = match.pass_any
        document["each"] = [
            {
                "aim": standing.name,
                "lab": [round(value, 4) for value in standing.lab],
                "de00": standing.de00,
                "pass_probability": standing.pass_probability,
            }
            for standing in match.each
        ]
    if match.metamerism:
        document["metamerism"] = [
            {
                "illuminant": left.light.illuminant,
                "observer": left.light.observer,
                "index": left.index,
            }
            for left in match.metamerism
        ]
    return document


def blend_document(blend: Mapping[str, Number]) -> Document:
    """A blend as parts by toner.

    Parameters
    ----------
    blend
        Parts of each toner.
    """
    return {name: number(part) for name, part in blend.items()}


def number(value: Number) -> int | float:
    """A number that JSON has.

    Parameters
    ----------
    value
        Parts, coats or a letdown.
    """
    return float(value) if isinstance(value, Decimal) else value
