"""The page Recipe: one recipe held and moved, and the wall of colours around it."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from starlette.responses import Response

from fewtone.board.shades import costs, shown
from fewtone.board.visit import Visit
from fewtone.errors import FewtoneError, UsageError
from fewtone.model.blend import Number, coats_text, number_text
from fewtone.model.recipe import Recipe
from fewtone.report.json import check_document, letdown_document
from fewtone.report.json.recipes import Document
from fewtone.report.swatches import Swatch, swatch, swatches
from fewtone.report.words import swatch_words
from fewtone.shelf import Shelf

__all__ = ["hold", "keep"]

LIGHTS = (("D65", "Daylight"), ("A", "Tungsten"), ("LED-B3", "White LED"))
"""The lights that the wall can be looked at in, and what they are called."""


@dataclass(frozen=True, slots=True)
class Step:
    """One step of a stepper: where it leads, None where it ends, and what it does in words."""

    recipe: str | None
    words: str


@dataclass(frozen=True, slots=True)
class Stepper:
    """Something of a recipe that can be moved down and up."""

    name: str
    value: str
    down: Step
    up: Step


@dataclass(frozen=True, slots=True)
class Cell:
    """One coat over one ground, on the wall."""

    step: Document
    shade: Swatch
    recipe: str | None
    held: bool


def hold(visit: Visit) -> Response:
    """Hold a recipe, or ask for one."""
    try:
        recipe = visit.recipe
    except UsageError as error:
        return visit.page(
            "recipe_wanted", status=400, to="recipe", faults=visit.faults(error), shelf=visit.shelf
        )
    if recipe is None:
        return visit.page("recipe_wanted", to="recipe", faults=[], shelf=visit.shelf)
    return _held(visit, recipe)


def keep(visit: Visit) -> Response:
    """Keep the recipe as a job, as `job keep` does; in a job that is open, as its new recipe."""
    form = visit.form
    assert form is not None
    recipe, target = visit.recipe, visit.target
    if recipe is None:
        raise UsageError("There is no recipe to keep.")
    if target is None:
        raise UsageError("A job needs what was asked for: name a target first, on the page Ask.")
    try:
        job = visit.shelf.keep_job(
            visit.bench.book,
            form.get("name", ""),
            target=target,
            recipe=recipe,
            note=form.get("note", "").strip() or None,
            tolerance=visit.tolerance,
        )
    except FewtoneError as error:
        return _held(visit, recipe, error)
    return visit.go(visit.plain("job", job=job.name))


def _held(visit: Visit, recipe: Recipe, error: FewtoneError | None = None) -> Response:
    shelf, target = visit.shelf, visit.target
    lit = visit.query.get("lit", "")
    lit = lit if lit in dict(LIGHTS) else ""
    passing = visit.tolerance
    check = shelf.check(recipe, target=target, tolerance=passing)
    letdown = shelf.letdown(recipe, target=target, tolerance=passing)
    seen = letdown if not lit else shelf.letdown(recipe, light=lit)
    # Under another light the target is not known, so that its edge is left away.
    other = lit != "" and seen.light != letdown.light
    shades = swatches([step.lab for strip in seen.strips for step in strip.steps], seen.light)
    document = letdown_document(letdown)
    cells: dict[str, list[Cell]] = {}
    for step, shade in zip(document["steps"], shades, strict=True):
        moved = recipe.with_(coats=step["coats"], ground=step["ground"])
        cells.setdefault(step["ground"], []).append(
            Cell(step, shade, str(moved) if step["coats"] else None, moved == recipe)
        )
    checked = check_document(check)
    return visit.page(
        "recipe",
        status=200 if error is None else 409,
        faults=[] if error is None else visit.faults(error),
        recipe=recipe,
        line=str(recipe),
        held=shown(check.match, target, shelf, cost=costs(shelf, [recipe])[recipe]),
        check=checked,
        lights_seen=[
            (swatch(each.lab, each.light), document)
            for each, document in zip(check.lights, checked["lights"], strict=True)
        ],
        target=target,
        target_words="" if target is None else swatch_words(target),
        steppers=_steppers(shelf, recipe),
        others=[
            name
            for name, toner in shelf.settings.toners.items()
            if name not in recipe.blend and name in shelf.curves.toners and toner.in_stock
        ],
        adding={
            name: str(recipe.with_(blend={**recipe.blend, name: 1}))
            for name in shelf.curves.toners
            if name not in recipe.blend
        },
        walls=cells,
        marks={ground: _marks(strip) for ground, strip in document["grounds"].items()},
        labels={name: ground.label for name, ground in shelf.settings.grounds.items()},
        tolerance=shelf.settings.mixing.tolerance if passing is None else passing,
        light=str(check.light),
        seen_light=str(seen.light),
        framed=target is not None and not other,
        lit=lit,
        lights=LIGHTS,
        job=visit.job,
        typed="" if visit.form is None else visit.form.get("name", ""),
        cautions=dict.fromkeys(
            (
                *shelf.cautions,
                *(target.cautions if target else ()),
                *check.cautions,
                *letdown.cautions,
            )
        ),
    )


def _marks(strip: Document) -> str:
    """Where a strip comes nearest to the target, in words; empty without one."""
    nearest, beyond = strip["nearest_coats"], strip["overshoots_from"]
    if nearest is None:
        return ""
    at = "bare" if nearest == 0 else f"at {coats_text(nearest)}"
    if beyond is None:
        return f"nearest {at}, still short"
    if beyond <= nearest:
        return f"nearest {at}, a little beyond"
    return f"nearest {at}, beyond it from {beyond} on"


def _steppers(shelf: Shelf, recipe: Recipe) -> list[Stepper]:
    return [
        *(_part(recipe, name) for name in recipe.blend),
        _letdown(shelf, recipe),
        _coats(recipe),
        _ground(shelf, recipe),
    ]


def _part(recipe: Recipe, name: str) -> Stepper:
    parts = recipe.blend[name]
    more: dict[str, Number] = {**recipe.blend, name: parts + 1}
    if parts > 1:
        less: dict[str, Number] | None = {**recipe.blend, name: parts - 1}
        words = f"One part of {name} less"
    else:
        rest = {other: part for other, part in recipe.blend.items() if other != name}
        less, words = rest or None, f"Take {name} out"
    return Stepper(
        name=name,
        value=f"{number_text(parts)} {'part' if parts == 1 else 'parts'}",
        down=Step(None if less is None else str(recipe.with_(blend=less)), words),
        up=Step(str(recipe.with_(blend=more)), f"One part of {name} more"),
    )


def _letdown(shelf: Shelf, recipe: Recipe) -> Stepper:
    """Through the shop's letdowns, the strongest first."""
    known = sorted({*shelf.settings.mixing.medium_parts, recipe.medium_parts}, key=Decimal)
    index = known.index(recipe.medium_parts)
    below = known[index - 1] if index else None
    above = known[index + 1] if index + 1 < len(known) else None

    def step(parts: Number | None, words: str) -> Step:
        moved = None if parts is None else str(recipe.with_(medium_parts=parts))
        return Step(moved, words)

    return Stepper(
        name="Letdown",
        value=f"{number_text(recipe.medium_parts)}:1",
        down=step(below, "Stronger letdown"),
        up=step(above, "Weaker letdown"),
    )


def _coats(recipe: Recipe) -> Stepper:
    fewer = recipe.coats - 1
    return Stepper(
        name="Coats",
        value=coats_text(recipe.coats),
        down=Step(str(recipe.with_(coats=fewer)) if fewer > 0 else None, "One coat less"),
        up=Step(str(recipe.with_(coats=recipe.coats + 1)), "One coat more"),
    )


def _ground(shelf: Shelf, recipe: Recipe) -> Stepper:
    known = [name for name in shelf.settings.grounds if name in shelf.curves.grounds]
    if recipe.ground not in known:
        known.insert(0, recipe.ground)
    index = known.index(recipe.ground)
    before = known[index - 1] if index else None
    after = known[index + 1] if index + 1 < len(known) else None

    def step(ground: str | None) -> Step:
        if ground is None:
            return Step(None, "No further ground")
        return Step(str(recipe.with_(ground=ground)), f"Over {ground} instead")

    return Stepper("Ground", recipe.ground, step(before), step(after))
