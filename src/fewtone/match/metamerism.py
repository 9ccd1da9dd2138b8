"""How far a match of a spectrum parts in other lights: the metamerism that is left.

The index is that of ISO 18314-4:2024, the special index of CIE 15:2018 for a change of illuminant:
what the pair differs by in the reference light is taken out by ratios of X, Y, Z, and
ΔE*ab in the other light is the index. The standard is for solid colours; of films over
flake it tells what the instrument's one geometry sees.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from fewtone.colorimetry import Light, white_point, xyz
from fewtone.colorimetry.appearance import metamerism_index
from fewtone.match.result import Match, MatchResult, Metamerism
from fewtone.model.curves import Curves
from fewtone.model.target import Target
from fewtone.prediction.recipes import predict

__all__ = ["TEST_ILLUMINANTS", "with_metamerism"]

TEST_ILLUMINANTS = ("D65", "A", "F11", "LED-B3")
"""Daylight, tungsten, a fluorescent lamp and a white LED: told where no lights are asked for."""


def with_metamerism(
    curves: Curves, target: Target, lights: Sequence[Light], result: MatchResult
) -> MatchResult:
    """A match's answer with the metamerism that is left; as it is if no spectrum was asked for.

    Parameters
    ----------
    curves
        The learnt shelf.
    target
        What was asked for; its light is the one that counts as reference.
    lights
        The other lights; with none, those of `TEST_ILLUMINANTS` with the target's observer.
    result
        The answer.
    """
    spectrum, reference = target.spectrum, target.light
    if spectrum is None:
        return result
    others = [light for light in dict.fromkeys(lights) if light != reference]
    if not others:
        tests = [Light(name, reference.observer) for name in TEST_ILLUMINANTS]
        others = [light for light in tests if light != reference]
    picks = (result.simplest, result.surest, result.closest)
    listed = [match for match in (*picks, *result.recipes) if match is not None]
    recipes = list(dict.fromkeys(match.recipe for match in listed))
    films = predict(curves, recipes, reference).reflectance
    indices = {}
    for light in others:
        pair, white = (reference, light), np.array([white_point(reference), white_point(light)])
        standard = [xyz(spectrum.reflectance, spectrum.wavelength_nm, each) for each in pair]
        sample = np.stack([xyz(films, curves.wavelength_nm, each) for each in pair], axis=1)
        indices[light] = metamerism_index(standard, sample, white).tolist()

    def judged(match: Match) -> Match:
        row = recipes.index(match.recipe)
        left = [Metamerism(reference, light, round(indices[light][row], 4)) for light in others]
        return replace(match, metamerism=tuple(left))

    simplest, surest, closest = (None if match is None else judged(match) for match in picks)
    assert closest is not None
    return replace(
        result,
        simplest=simplest,
        surest=surest,
        closest=closest,
        recipes=tuple(judged(match) for match in result.recipes),
    )
