"""What a film does to light, as the rooms of optics hand it to each other."""

from __future__ import annotations

from typing import NamedTuple

from fewtone.typing import FloatArray

__all__ = ["FilmDerivatives", "FilmTerms", "HazeDerivatives", "HazeTerms"]


class FilmTerms(NamedTuple):
    """What a film does to light in one geometry, or its derivatives in τ; shaped like τ.

    Parameters
    ----------
    escape
        Share of the light from the ground that reaches the instrument after one passage in and out.
    trapped
        Share that comes back to the ground from inside the film.
    """

    escape: FloatArray
    trapped: FloatArray


class FilmDerivatives(NamedTuple):
    """Reflectance of a film over its ground, and its derivatives; all of one shape.

    Parameters
    ----------
    reflectance
        Reflectance factor [1].
    d_tau, d_scattering, d_ground, d_return_ratio
        Its derivatives in absorption depth, in scattering depth, in the ground's reflectance and
        in its internal-return ratio.
    """

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
    """`HazeTerms` with derivatives.

    Parameters
    ----------
    terms
        The terms.
    d_absorption, d_scattering
        Their derivatives in τ_a and in τ_s.
    """

    terms: HazeTerms
    d_absorption: HazeTerms
    d_scattering: HazeTerms
