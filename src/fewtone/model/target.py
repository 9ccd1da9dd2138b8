"""A target: the colour that was asked for."""

from __future__ import annotations

from dataclasses import dataclass

from fewtone.colorimetry import Light
from fewtone.optics.film import Geometry

__all__ = ["Target"]


@dataclass(frozen=True, slots=True)
class Target:
    """The colour that was asked for.

    Parameters
    ----------
    lab
        CIELAB under `light`.
    light
        The illuminant and observer that it is taken to be in.
    geometry
        The geometry that it is taken to be read in.
    request
        How it was asked for: the text, the swatch's number.
    name
        Its name, if it has one.
    cautions
        What should be told about it.
    """

    lab: tuple[float, float, float]
    light: Light
    geometry: Geometry
    request: str = ""
    name: str = ""
    cautions: tuple[str, ...] = ()
