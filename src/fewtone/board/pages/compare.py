"""The page Compare: recipes side by side, as `compare` has them."""

from __future__ import annotations

from starlette.responses import Response

from fewtone.board.shades import Cost, shown
from fewtone.board.visit import Visit
from fewtone.errors import Fault, FewtoneError, UsageError
from fewtone.model.recipe import Recipe
from fewtone.report.json import compare_document
from fewtone.report.words import swatch_words

__all__ = ["compare"]

_MOST = 6
"""Recipes that stand side by side on a page."""
_LEAST = 2


def compare(visit: Visit) -> Response:
    """Show what `compare` answers, or ask for the recipes."""
    shelf = visit.shelf
    lines: list[str] = []
    result, error = None, None
    try:
        recipes = _recipes(visit)
        lines = [str(recipe) for recipe in recipes]
        if len(recipes) >= _LEAST:
            result = shelf.compare(recipes, target=visit.target, tolerance=visit.tolerance)
    except FewtoneError as caught:
        error = caught
        lines = lines or _typed(visit)
    document = None if result is None else compare_document(result)
    return visit.page(
        "compare",
        status=200 if error is None else 400,
        faults=[] if error is None else visit.faults(error),
        shelf=shelf,
        typed=(lines + [""] * _MOST)[:_MOST],
        answer=document,
        target=None if result is None else result.target,
        target_words="" if result is None or result.target is None else swatch_words(result.target),
        rows=[]
        if result is None or document is None
        else [
            (
                shown(
                    each.match,
                    result.target,
                    shelf,
                    cost=Cost(each.cost_per_litre, each.cost_per_m2),
                ),
                entry,
            )
            for each, entry in zip(result.recipes, document["recipes"], strict=True)
        ],
        cautions=(*shelf.cautions, *(() if result is None else result.cautions)),
    )


def _typed(visit: Visit) -> list[str]:
    """The lines that were said, the recipe held first."""
    lines = [visit.ticket.recipe, *visit.query.getlist("beside")]
    return list(dict.fromkeys(line for each in lines if (line := each.strip())))


def _recipes(visit: Visit) -> list[Recipe]:
    """The recipes that were said; of a job its own first.

    Raises
    ------
    UsageError
        A line is none, or there are too many.
    """
    typed = _typed(visit)
    faults: list[Fault] = []
    recipes = [] if visit.ticket.recipe or visit.recipe is None else [visit.recipe]
    for line in typed:
        try:
            recipes.append(visit.shelf.settings.recipe(line))
        except UsageError as error:
            faults += error.faults
    if faults:
        raise UsageError(*faults)
    recipes = list(dict.fromkeys(recipes))
    if len(recipes) > _MOST:
        raise UsageError(f"{len(recipes)} recipes do not fit side by side: {_MOST} do.")
    return recipes
