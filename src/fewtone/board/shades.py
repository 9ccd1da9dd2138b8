"""Colours as pages show them: one beside another, framed, and in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fewtone.match.result import Match, MatchResult
from fewtone.model.recipe import Recipe
from fewtone.model.target import Target
from fewtone.report.json.recipes import Document, recipe_document
from fewtone.report.phrases import titled_picks
from fewtone.report.swatches import Swatch, swatch
from fewtone.report.words import difference_words, evenness_words, sureness_words
from fewtone.shelf import Shelf

__all__ = ["Cost", "Shown", "costs", "shown", "shown_picks", "title_pieces"]


@dataclass(frozen=True, slots=True)
class Cost:
    """What a recipe costs; None where a price is missing."""

    per_litre: float | None
    per_m2: float | None


@dataclass(frozen=True, slots=True)
class Shown:
    """A recipe with its colour, figures and words.

    Parameters
    ----------
    title
        What it is among others, such as ``The simplest.``
    document
        Its figures, as ``--json`` has them.
    pieces
        Its line in pieces that are not broken.
    shade, target
        The prediction's colour, and the target's; None without one.
    difference, sureness, evenness
        Its figures in words; empty where they are not known.
    cost
        What it costs; None where nobody asked.
    """

    title: str
    document: Document
    pieces: tuple[str, ...]
    shade: Swatch
    target: Swatch | None
    difference: str
    sureness: str
    evenness: str
    cost: Cost | None = None


def shown(
    match: Match, target: Target | None, shelf: Shelf, *, title: str = "", cost: Cost | None = None
) -> Shown:
    """A recipe as a page shows it; without a target in the shelf's own light."""
    light = shelf.settings.measurement.light if target is None else target.light
    return Shown(
        title=title,
        document=recipe_document(match),
        pieces=title_pieces(match.recipe),
        shade=swatch(match.lab, light),
        target=None if target is None else swatch(target.lab, target.light),
        difference="" if match.de00 is None else difference_words(match.de00),
        sureness="" if target is None else sureness_words(match.pass_probability),
        evenness=evenness_words(match.unevenness),
        cost=cost,
    )


def shown_picks(result: MatchResult, target: Target, shelf: Shelf) -> list[Shown]:
    """The picks of an answer, each once, with what they cost."""
    picks = titled_picks(result)
    prices = costs(shelf, [pick.recipe for _, pick in picks])
    return [
        shown(pick, target, shelf, title=title.rstrip("."), cost=prices[pick.recipe])
        for title, pick in picks
    ]


def costs(shelf: Shelf, recipes: Sequence[Recipe]) -> dict[Recipe, Cost]:
    """What recipes cost, as `compare` says."""
    # It takes two: a lone one stands beside itself with a coat more.
    beside = [*recipes, recipes[0].with_(coats=recipes[0].coats + 1)]
    return {
        each.match.recipe: Cost(each.cost_per_litre, each.cost_per_m2)
        for each in shelf.compare(beside).recipes
    }


def title_pieces(recipe: Recipe) -> tuple[str, ...]:
    """A recipe's line in pieces that are not broken: each toner, letdown, coats, ground."""
    blend, rest = str(recipe).split(", ", 1)
    toners = blend.split(" + ")
    letdown, coats = rest.split(", ", 1)
    coats, ground = coats.split(" over ", 1)
    return (
        *(f"{toner} +" for toner in toners[:-1]),
        f"{toners[-1]},",
        f"{letdown},",
        coats,
        f"over {ground}",
    )
