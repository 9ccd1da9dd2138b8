"""The page Simplify: few-toner recipes for an inherited formula, and what they cost."""

from __future__ import annotations

from starlette.responses import Response

from fewtone.board.shades import shown
from fewtone.board.ticket import Ticket
from fewtone.board.visit import Visit
from fewtone.recipes.rules import RuleOptions
from fewtone.report.json import simplify_document
from fewtone.report.phrases import titled_picks

__all__ = ["simplify"]

_BESIDE = 5
"""Recipes that are offered side by side with the formula."""


def simplify(visit: Visit) -> Response:
    """Show what `simplify` answers for the recipe that is held."""
    recipe = visit.recipe
    if recipe is None:
        return visit.page("recipe_wanted", to="simplify", faults=[], shelf=visit.shelf)
    shelf = visit.shelf
    most = "1" if visit.query.get("max_toners") == "1" else "2"
    every_ground = visit.query.get("every_ground") == "yes"
    rules: RuleOptions = {"max_toners": int(most)}
    answer = visit.open_shelf.answer(
        ("simplify", str(recipe), every_ground, most),
        lambda: shelf.simplify(recipe, every_ground=every_ground, **rules),
    )
    result, target = answer.result, answer.target
    picks = titled_picks(result)
    listed = {str(pick.recipe) for _, pick in picks}
    rows = [
        *picks,
        *(("", match) for match in result.recipes if str(match.recipe) not in listed),
    ]
    document = simplify_document(answer)
    grounds_de00 = {
        entry["recipe"]: entry["grounds_de00"]
        for entry in (*document["picks"].values(), *document["recipes"])
        if entry is not None
    }
    wanted = ",".join(f"{value:g}" for value in document["target"]["lab"])
    return visit.page(
        "simplify",
        recipe=recipe,
        answer=document,
        formula=shown(answer.formula, None, shelf),
        rows=[shown(match, target, shelf, title=title.rstrip(".")) for title, match in rows],
        grounds_de00=grounds_de00,
        beside=[str(match.recipe) for _, match in rows][:_BESIDE],
        # Held on, a recipe is judged by what was asked for, else by the formula's own colour.
        ticket=visit.ticket
        if visit.target is not None
        else Ticket(target=wanted, light=str(target.light)),
        every_ground=every_ground,
        most=most,
        cautions=(*shelf.cautions, *answer.cautions),
    )
