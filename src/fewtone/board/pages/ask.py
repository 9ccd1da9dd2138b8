"""The page Ask: from a target to recipes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from starlette.datastructures import QueryParams
from starlette.responses import Response

from fewtone.board.requests import colour_text, deck_file, deck_swatches, requested
from fewtone.board.shades import shown, shown_picks
from fewtone.board.ticket import Ticket
from fewtone.board.visit import Visit
from fewtone.colorimetry import delta_e_2000
from fewtone.errors import Fault, FewtoneError, UsageError
from fewtone.io.targets import lab_triple
from fewtone.match.result import Match
from fewtone.model.blend import exact_number
from fewtone.model.numbers import decimal_from
from fewtone.model.target import Target
from fewtone.recipes.rules import RuleOptions
from fewtone.report.json import match_document
from fewtone.report.json.recipes import recipe_document
from fewtone.report.swatches import Swatch, swatch
from fewtone.report.words import difference_words, swatch_words
from fewtone.shelf import Shelf

__all__ = ["ask"]

_MOST_CHIPS = 120
_ALSO = (2, 3, 4)
_LIGHTS = ("D65/10", "D65/2", "D50/2", "A/10", "A/2")


@dataclass(frozen=True, slots=True)
class Chip:
    """A swatch of the deck; `off` is its ΔE00 to what it is compared with."""

    number: str
    name: str
    shade: Swatch
    off: float | None


def ask(visit: Visit) -> Response:
    """Show the form, and the answer where something was asked."""
    shelf, query = visit.shelf, visit.query
    typed, learnt = _typed(query), visit.open_shelf.learnt_document
    values: dict[str, Any] = {
        "settings": shelf.settings,
        "typed": typed,
        "lights": list(dict.fromkeys((str(shelf.settings.measurement.light), *_LIGHTS))),
        "chosen": {name: query.getlist(name) for name in ("ground", "letdown", "without")},
        "answer": None,
        "faults": [],
        "chips": None,
        "also": _ALSO,
        "versions": [],
        "left_out": () if learnt is None else learnt["left_out"],
        "cautions": shelf.cautions,
    }
    status = 200
    try:
        values["chips"] = _chips(visit, query.get("find", ""))
        if near := query.get("near", "").strip():
            values["chips"] = _chips(visit, query.get("find", ""), near)
        text = _asked(query)
        if text:
            values |= _answer(visit, shelf, text)
    except FewtoneError as error:
        values["faults"], status = visit.faults(error), 400
    return visit.page("ask", status=status, **values)


def _answer(visit: Visit, shelf: Shelf, text: str) -> dict[str, Any]:
    query = visit.query
    light = query.get("light") or None
    target = requested(visit.open_shelf, shelf, text, light)
    also = [requested(visit.open_shelf, shelf, each, light) for each in _versions(query)]
    rules = _rules(query, shelf)
    # All of the rules, as their order in the address says nothing.
    asked = (
        "match",
        target,
        *also,
        tuple(sorted((name, str(value)) for name, value in rules.items())),
    )
    result = visit.open_shelf.answer(
        asked, lambda: shelf.match(target, also=also, by_ground=True, **rules)
    )
    tolerance = "" if rules.get("tolerance") is None else f"{result.tolerance:g}"
    shelf_light = str(shelf.settings.measurement.light)
    light_text = (
        "" if text.startswith("#") or str(target.light) == shelf_light else str(target.light)
    )
    ticket = Ticket(target=text, light=light_text, tolerance=tolerance)
    picks = shown_picks(result, target, shelf)
    document = match_document(result, target, result.tolerance)
    listed = {pick.document["recipe"] for pick in picks}

    def others(matches: tuple[Match, ...]) -> list[Any]:
        return [shown(match, target, shelf) for match in matches]

    return {
        "answer": document,
        "ticket": ticket,
        "target": target,
        "target_shade": swatch(target.lab, target.light),
        "target_words": swatch_words(target),
        "picks": picks,
        "beside": [pick.document["recipe"] for pick in picks],
        "others": [
            each for each in others(result.recipes) if each.document["recipe"] not in listed
        ],
        "grounds": others(result.grounds),
        "help": []
        if result.miss is None
        else [
            (help_.words, recipe_document(help_.match), not help_.rule.startswith("new_"))
            for help_ in result.miss.would_help
        ],
        "keyings": []
        if result.keying is None
        else [
            (shown(proposal.match, target, shelf), entry)
            for proposal, entry in zip(
                result.keying.proposals, document["keying"]["proposals"], strict=True
            )
        ],
        "proof": f"{result.proof.admissible:,}",
        "kept": [
            (kept.job, shown(kept.match, target, shelf))
            for kept in shelf.kept_matches(target, result.tolerance, book=visit.bench.book)
        ],
        "cautions": (
            *shelf.cautions,
            *dict.fromkeys(caution for each in (target, *also) for caution in each.cautions),
        ),
        "versions": [
            (version.name, shown(version.best, version.target, shelf), entry)
            for version, entry in zip(result.versions, document.get("versions", ()), strict=True)
        ],
    }


def _typed(query: QueryParams) -> dict[str, str]:
    """What stands in the fields: as it was typed, else as the target has it."""
    names = ("L", "a", "b", "hex", "find", "near", *(f"{name}{n}" for n in _ALSO for name in "Lab"))
    typed = {name: query.get(name, "") for name in names}
    target = query.get("target", "")
    triple = lab_triple(target)
    if triple is not None:
        typed |= dict(zip("Lab", (f"{value:g}" for value in triple), strict=True))
    elif target.startswith("#") or target[:7].casefold() == "munsell":
        typed["hex"] = target
    for name in ("light", "tolerance", "max_toners", "coats_from", "coats_to", "max_part", "keyed"):
        typed[name] = query.get(name, "")
    return typed


def _asked(query: QueryParams) -> str:
    """The target as the command line takes it; empty where nothing was asked yet.

    Raises
    ------
    UsageError
        It was said in two ways at once, or a coordinate is missing.
    """
    if swatch_number := query.get("swatch", "").strip():
        return swatch_number
    cells = [query.get(name, "").strip().replace(",", ".") for name in "Lab"]
    hex_code = query.get("hex", "").strip()
    if hex_code and any(cells):
        raise UsageError(
            Fault("The target is said twice, as L*, a*, b* and as a code.", "Empty one of the two.")
        )
    if hex_code:
        return colour_text(hex_code)
    if any(cells):
        if not all(cells):
            raise UsageError(
                Fault("A target has three numbers: L*, a* and b*.", "Fill in the missing ones.")
            )
        return ",".join(cells)
    return query.get("target", "").strip()


def _versions(query: QueryParams) -> list[str]:
    """Other versions of the colour, as the command line takes them.

    Raises
    ------
    UsageError
        One has not all three numbers.
    """
    texts = []
    for number in _ALSO:
        cells = [query.get(f"{name}{number}", "").strip().replace(",", ".") for name in "Lab"]
        if any(cells) and not all(cells):
            raise UsageError(
                Fault(
                    f"Version {number} has not all of L*, a* and b*.",
                    fix="Fill in the missing ones, or empty it.",
                )
            )
        if any(cells):
            texts.append(",".join(cells))
    return texts


def _rules(query: QueryParams, shelf: Shelf) -> RuleOptions:
    """What a recipe must keep, as the form says."""
    rules: RuleOptions = {}
    mixing = shelf.settings.mixing
    if most := query.get("max_toners"):
        rules["max_toners"] = _whole(most, "Most toners")
    if grounds := query.getlist("ground"):
        rules["grounds"] = grounds
    if letdowns := query.getlist("letdown"):
        rules["medium_parts"] = [exact_number(text) for text in letdowns]
    if query.get("keyed") == "yes":
        rules["keyed"] = True
    if without := query.getlist("without"):
        rules["without"] = without
    if largest := query.get("max_part"):
        rules["max_part"] = _whole(largest, "Largest part")
    fewest, most = query.get("coats_from"), query.get("coats_to")
    if fewest or most:
        rules["coats"] = (
            _whole(fewest, "Coats") if fewest else mixing.coats[0],
            _whole(most, "Coats") if most else mixing.coats[1],
        )
    tolerance = Ticket(tolerance=query.get("tolerance", "").strip()).passing
    if tolerance is not None:
        rules["tolerance"] = tolerance
    return rules


def _whole(text: str, what: str) -> int:
    value = decimal_from(text)
    if value is None or value != int(value):
        raise UsageError(Fault(f"{what}: '{text}' is no whole number.", "Write such as 3."))
    return int(value)


def _chips(visit: Visit, find: str, near: str = "") -> dict[str, Any] | None:
    """The deck's swatches that answer to the words, the nearest first; None without a deck.

    Raises
    ------
    FewtoneError
        The deck is wrong, or what they are to be near is no colour.
    """
    shelf, open_shelf = visit.shelf, visit.open_shelf
    file = deck_file(open_shelf, shelf)
    if file is None:
        return None
    deck = deck_swatches(open_shelf, shelf)
    words = find.casefold().split()
    listed = [
        (number, one, None)
        for number, one in deck.items()
        if all(word in f"{number} {one.name}".casefold() for word in words)
    ]
    chips: list[tuple[str, Target, float | None]] = list(listed)
    if near:
        wanted = requested(open_shelf, shelf, colour_text(near))
        seen = [one for one in listed if one[1].light == wanted.light]
        off = delta_e_2000(np.array([one.lab for _, one, _ in seen]).reshape(-1, 3), wanted.lab)
        order = np.argsort(off, kind="stable")
        chips = [(seen[i][0], seen[i][1], float(off[i])) for i in order]
    return {
        "name": file.name,
        "total": len(deck),
        "found": len(chips),
        "shown": [
            Chip(number, one.name, swatch(one.lab, one.light), off)
            for number, one, off in chips[:_MOST_CHIPS]
        ],
        "words": difference_words,
    }
