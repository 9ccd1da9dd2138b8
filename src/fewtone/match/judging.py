"""How recipes stand to a target, and to several aims at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from fewtone.colorimetry import Light
from fewtone.match.miss import difference_of
from fewtone.match.result import Match, Miss, Standing
from fewtone.model.curves import Curves
from fewtone.model.recipe import Recipe
from fewtone.model.shelf import ShelfSettings
from fewtone.model.target import Target
from fewtone.prediction.pass_probability import pass_any_probability, pass_probability
from fewtone.prediction.recipes import predict
from fewtone.recipes.evaluate import THIN_AND_THICK, Aim, rounded_difference, rounded_unevenness
from fewtone.typing import FloatArray, frozen

__all__ = [
    "aims_of",
    "describe_all",
    "is_single",
    "judge_aims",
    "judge_all",
    "miss_of",
]


def aims_of(target: Target | Sequence[Aim]) -> Sequence[Aim]:
    """The aims of what is asked for."""
    return (Aim(target),) if isinstance(target, Target) else target


def is_single(aims: Sequence[Aim]) -> bool:
    """Whether it is one target over recipes' own grounds, of which chances of passing decide."""
    return len(aims) == 1 and aims[0].over is None


def judge_all(
    curves: Curves,
    settings: ShelfSettings,
    recipes: Sequence[Recipe],
    target: Target,
    tolerance: float,
) -> tuple[Match, ...]:
    """Predict recipes and say how they stand to a target.

    Parameters
    ----------
    curves, settings
        The learnt shelf.
    recipes
        What is sprayed; there may be none.
    target
        What is asked for; colours are predicted in its light.
    tolerance
        ΔE00 that passes.

    Raises
    ------
    FewtoneError
        A recipe names a toner or ground that was not learnt.
    """
    described = describe_all(curves, recipes, target.light)
    if not recipes:
        return described
    chances = pass_probability(curves, settings, recipes, target, tolerance)
    off = rounded_difference([match.lab for match in described], target.lab)
    return tuple(
        replace(
            match,
            de00=float(off[row]),
            in_tolerance=bool(off[row] <= tolerance),
            pass_probability=None if chances is None else float(chances[row]),
        )
        for row, match in enumerate(described)
    )


def describe_all(curves: Curves, recipes: Sequence[Recipe], light: Light) -> tuple[Match, ...]:
    """Predict recipes where nothing is asked for: without ΔE00, tolerance or chance.

    Parameters
    ----------
    curves
        The learnt shelf.
    recipes
        What is sprayed; there may be none.
    light
        Illuminant and observer of the Lab values.

    Raises
    ------
    FewtoneError
        A recipe names a toner or ground that was not learnt.
    """
    if not recipes:
        return ()
    predicted = predict(curves, recipes, light, deviations=True)
    thin, thick = (predict(curves, recipes, light, build=b).lab for b in THIN_AND_THICK)
    unevenness = rounded_unevenness(thin, thick)
    return tuple(
        Match(
            recipe=recipe,
            lab=frozen(predicted.lab[row]),
            lab_sd=None if predicted.lab_sd is None else frozen(predicted.lab_sd[row]),
            de00=None,
            in_tolerance=None,
            pass_probability=None,
            unevenness=float(unevenness[row]),
        )
        for row, recipe in enumerate(recipes)
    )


def judge_aims(
    curves: Curves,
    settings: ShelfSettings,
    recipes: Sequence[Recipe],
    aims: Sequence[Aim],
    tolerance: float,
) -> tuple[Match, ...]:
    """Predict recipes and say how they stand to all aims at once.

    Parameters
    ----------
    curves, settings
        The learnt shelf.
    recipes
        What is sprayed; there may be none.
    aims
        What is asked for. To a single target over recipes' own grounds they stand as
        `judge_all` says; to several by the largest ΔE00.
    tolerance
        ΔE00 that passes.

    Raises
    ------
    FewtoneError
        A recipe names a toner or ground that was not learnt.
    """
    if is_single(aims):
        return judge_all(curves, settings, recipes, aims[0].target, tolerance)
    if not recipes:
        return ()
    described = describe_all(curves, recipes, aims[0].target.light)
    columns = [_standings(curves, settings, recipes, aim, tolerance) for aim in aims]
    any_of = None
    if all(aim.over is None for aim in aims):
        any_of = pass_any_probability(curves, settings, recipes, _versions(aims), tolerance)
    matches = []
    for row, (match, *each) in enumerate(zip(described, *columns, strict=True)):
        worst = max(standing.de00 for standing in each)
        matches.append(
            replace(
                match,
                de00=worst,
                in_tolerance=worst <= tolerance,
                each=tuple(each),
                pass_any=None if any_of is None else float(any_of[row]),
            )
        )
    return tuple(matches)


def _versions(aims: Sequence[Aim]) -> list[list[Target]]:
    """Versions of a colour; what has one spectrum is one version, in several lights."""
    versions: dict[int, list[Target]] = {}
    for number, aim in enumerate(aims):
        spectrum = aim.target.spectrum
        versions.setdefault(number if spectrum is None else id(spectrum), []).append(aim.target)
    return list(versions.values())


def _standings(
    curves: Curves,
    settings: ShelfSettings,
    recipes: Sequence[Recipe],
    aim: Aim,
    tolerance: float,
) -> list[Standing]:
    """How recipes stand to one aim."""
    target = aim.target
    films = [recipe if aim.over is None else recipe.with_(ground=aim.over) for recipe in recipes]
    labs = predict(curves, films, target.light).lab
    off = rounded_difference(labs, target.lab).tolist()
    chances: FloatArray | None = pass_probability(curves, settings, films, target, tolerance)
    passing = [None] * len(films) if chances is None else chances.tolist()
    name = aim.over or target.name or target.request
    return [
        Standing(name, (lab[0], lab[1], lab[2]), de00, chance)
        for lab, de00, chance in zip(labs.tolist(), off, passing, strict=True)
    ]


def miss_of(closest: Match, aims: Sequence[Aim]) -> Miss:
    """How the closest recipe falls short; of several aims, of the one it is farthest from."""
    if not closest.each:
        return Miss(*difference_of(closest.lab, aims[0].target.lab))
    worst = int(np.argmax([standing.de00 for standing in closest.each]))
    standing = closest.each[worst]
    off = difference_of(standing.lab, aims[worst].target.lab)
    where = f"over {standing.name}" if aims[worst].over else f"against {standing.name}"
    return Miss(off.lightness, off.chroma, off.hue, f"{where}: {off.words}")
