"""What the readings say of hand, instrument, film and grounds, where it is not what was stated.

Every sentence says what was found, what was stated, and what to look at; predictions already
follow what was found, or are told to be less sure where they cannot.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from fewtone.learning.forward import Problem
from fewtone.learning.hyperparameters import inferred_hand
from fewtone.learning.solver import Solution
from fewtone.model.blend import Number
from fewtone.model.shelf import ShelfSettings
from fewtone.model.variation import film_build_sd, film_departures
from fewtone.optics.film import Geometry
from fewtone.optics.interface import fresnel

__all__ = ["findings"]

# Less than this is not worth a sentence: a black level [1], a film index, an edge loss, the share
# that six coats are thin by, a ground's variation [1].
_BLACK, _INDEX, _EDGE, _THIN, _GROUND = 0.001, 0.015, 0.015, 0.03, 0.01
# A constant so large is the surface's reflection [share of it], which this geometry includes.
_SPECULAR, _INCLUDED = 0.5, Geometry.DIFFUSE_SPECULAR_INCLUDED
# Coats of a usual panel, and of a thick one.
_USUAL, _MANY = 3.0, 6.0
_LITTLE = 0.5
# Panels that miss by no more than so many times what was reckoned with are worth no sentence.
_MISSES = 1.25


def findings(
    problem: Problem,
    solution: Solution,
    settings: ShelfSettings,
    noise_factor: float,
    uncertainty_factor: float,
    per_doubling: float,
) -> Iterator[str]:
    """Say what differs from what shelf.toml says.

    Parameters
    ----------
    problem, solution
        The fit.
    settings
        What was stated.
    noise_factor
        How many times the stated noise the readings scatter [1].
    uncertainty_factor
        How many times as far as told panels miss what all others say of them [1].
    per_doubling
        Log strength of all toners per doubling of the letdown that predictions follow [1].
    """
    yield from _hand_and_grounds(problem, settings)
    yield from _instrument(problem, solution, settings)
    if per_doubling != 0.0:
        yield _letdown(per_doubling, settings.mixing.medium_parts)
    if noise_factor > 1.0:
        yield (
            f"The readings scatter {noise_factor:.1f} times as much as instrument and film model "
            "explain: predictions are widened accordingly. The usual causes: panels read uncleared "
            "or through dust, a coarse or mottled film, an instrument that drifts."
        )
    if uncertainty_factor > _MISSES:
        yield (
            f"Panels miss what all others say of them by {uncertainty_factor:.1f} times what hand, "
            "instrument and film model explain: predictions are widened accordingly. The usual "
            "causes: grounds or flakes that differ from panel to panel, films or letdowns that are "
            "not as noted, toners that were not stirred."
        )
    little = [
        name
        for name, weight in zip(problem.seen.panels, solution.weights, strict=True)
        if weight < _LITTLE
    ]
    if little:
        yield (
            f"These panels fit less well than the rest and count for less than half: "
            f"{', '.join(little[:12])}{' and more' if len(little) > 12 else ''}. Read them again."
        )


def _hand_and_grounds(problem: Problem, settings: ShelfSettings) -> Iterator[str]:
    as_stated, inferred = settings.mixing, problem.mixing
    stated, seen = (float(film_build_sd(_USUAL, mixing)) for mixing in (as_stated, inferred))
    if inferred_hand(as_stated, inferred) is not None:
        yield (
            f"Your panels of {_USUAL:g} coats differ by about {100 * seen:.0f} % in film build, "
            f"shelf.toml says {100 * stated:.0f}: panel_cv = {inferred.panel_cv:.2f} and coat_cv = "
            f"{inferred.coat_cv:.2f} would say so. Chances to pass reckon with what was found."
        )
    for kind, cv in zip(("solid", "metallic"), problem.ground_cv, strict=True):
        if cv > _GROUND:
            yield (
                f"Your {kind} grounds seem to differ by about {100 * cv:.0f} % from panel to "
                "panel: read several bare panels of each to see."
            )


def _instrument(problem: Problem, solution: Solution, settings: ShelfSettings) -> Iterator[str]:
    stated, optics, black = settings.measurement, problem.optics, solution.at.black
    surface = float(fresnel(0.0, stated.film_index))
    if black > _SPECULAR * surface:
        yield (
            f"Every reading is {black:.3f} higher than the film explains, about what its surface "
            f"reflects: they seem to be read with the specular reflection included, not in the "
            f"geometry {stated.geometry} that shelf.toml says. Correct geometry and learn again."
        )
    elif black < -_SPECULAR * surface and stated.geometry is _INCLUDED:
        yield (
            f"Every reading is {-black:.3f} lower than the film explains, about what its surface "
            f"reflects: they seem to be read without the specular reflection (45:0 or de:8), not "
            f"in the geometry {stated.geometry} that shelf.toml says. Correct geometry and learn "
            "again."
        )
    elif abs(black) > _BLACK:
        yield (
            f"Every reading is {abs(black):.4f} {'higher' if black > 0 else 'lower'} than the film "
            "explains: calibrate the instrument's black (or look for stray light) and read again."
        )
    if abs(optics.index - stated.film_index) > _INDEX:
        yield (
            f"The readings fit a film index of {optics.index:.2f}, shelf.toml says "
            f"{stated.film_index:g}; predictions use what fits."
        )
    if optics.edge > _EDGE:
        yield (
            "Light is lost beyond the edge of the aperture, more the thicker film and clear are "
            f"(about {100 * optics.edge:.0f} % of the aperture's radius): a larger aperture helps."
        )
    if optics.asymmetry:
        yield (
            "Toners that scatter send light on rather than back, as coarse pearl does. Predictions "
            "follow."
        )
    thin = 1.0 - _MANY**-problem.thinning
    if abs(thin) > _THIN:
        yield (
            f"Later coats come out {'thinner' if thin > 0 else 'thicker'} than the first: "
            f"{_MANY:g} coats make the film of {_MANY * (1.0 - thin):.1f}. Predictions follow."
        )


def _letdown(per_doubling: float, letdowns: Sequence[Number]) -> str:
    """What a strength that leans on the letdown means, beside the house letdown."""
    house, others = letdowns[0], sorted({min(letdowns), max(letdowns)} - {letdowns[0]})
    differs = [
        f"{_more(per_doubling * film_departures(1.0, float(other), float(house))[1])} at {other}:1"
        for other in others
    ]
    beside = f", {' and '.join(differs)} beside {house}:1" if differs else ""
    return (
        f"A part of toner colours {_more(per_doubling)} for each doubling of the letdown (as from "
        f"4:1 to 9:1){beside}. Predictions follow: take a recipe to another letdown by "
        "`fewtone check`, not by its parts alone."
    )


def _more(log_strength: float) -> str:
    """How much more or less a part colours, in percent."""
    percent = 100.0 * float(np.expm1(log_strength))
    return f"{abs(percent):.0f} % {'more' if percent > 0.0 else 'less'}"
