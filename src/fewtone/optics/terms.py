"""What a film does to light, as the rooms of optics hand it to each other."""

from __future__ import annotations

from typing import NamedTuple

from fewtone.typing import FloatArray

__all__ = ["FilmDerivatives", "FilmTerms", "HazeDerivatives", "HazeTerms"]


class FilmTerms(NamedTuple):
    """What a film does to light in one geometry, or its derivatives in τ; shaped like τ."""

    escape: FloatArray
    trapped: FloatArray


class FilmDerivatives(NamedTuple):
    """Reflectance of a film over its ground, and its derivatives; all of one shape."""

    reflectance: FloatArray
    d_tau: FloatArray
    d_scattering: FloatArray
    d_ground: FloatArray
    d_return_ratio: FloatArray


class HazeTerms(NamedTuple):
    """What scattering does to a film's terms; arrays shaped like the depths.

    `haze` adds to reflectance, `brightening` is ln(escape/clear escape), `returned` adds to
    `trapped`.
    """

    haze: FloatArray
    brightening: FloatArray
    returned: FloatArray


class HazeDerivatives(NamedTuple):
    """`HazeTerms` and their derivatives in τ_a and in τ_s."""

    terms: HazeTerms
    d_absorption: HazeTerms
    d_scattering: HazeTerms
