"""Swatches: what a colour that was read or predicted looks like on a screen.

Model
    One rule for every swatch, on the page, in the terminal and in pictures, so that two of them
    side by side differ only as the colours do: CIELAB in its light → X, Y, Z → CMCCAT2000 to
    D65/2 at full adaptation → sRGB, clipped, rounded to whole steps of 1/255. At full adaptation
    the white of every light becomes the screen's white: the swatch shows what an eye sees that has
    settled on that light.

Assumptions
    Going from the 10° to the 2° observer by adaptation of the white leaves out what the two
    observers disagree on; from a spectrum it could be had exactly, but targets have none, and a
    target's swatch and its prediction's must go the same way.

Validity
    An aid, not a measurement. Colours that sRGB does not hold are clipped and say so; flake does
    not sparkle on a screen.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fewtone.colorimetry import (
    Light,
    display_p3_from_xyz,
    srgb_from_xyz,
    white_point,
    xyz_from_lab,
)
from fewtone.colorimetry.appearance import adapt_cmccat2000
from fewtone.typing import FloatLike

__all__ = ["RULE", "SCREEN", "Swatch", "swatch", "swatches"]

RULE = (
    "Swatches: CIELAB in its own light, brought to D65/2 by CMCCAT2000 at full adaptation, "
    "then sRGB."
)
"""The rule in one line, for the foot of a page."""

SCREEN = Light("D65", 2)
"""The light of sRGB."""

# The luminance [cd/m²] from which CMCCAT2000's degree of adaptation is 1: 0.08 log₁₀ L + 0.76 = 1.
_FULL_ADAPTATION = 1000.0


@dataclass(frozen=True, slots=True)
class Swatch:
    """A colour on a screen.

    Parameters
    ----------
    rgb
        Red, green, blue, 0..255.
    shown
        Whether the screen shows it truly; False where sRGB does not hold it and the swatch is only
        the nearest by clipping.
    wide
        The same for screens that hold more, as CSS has it: ``color(display-p3 …)``. Empty where
        sRGB holds the colour.
    """

    rgb: tuple[int, int, int]
    shown: bool
    wide: str = ""

    @property
    def hex(self) -> str:
        """As ``#2f5d50``."""
        return "#{:02x}{:02x}{:02x}".format(*self.rgb)


def swatch(lab: FloatLike, light: Light) -> Swatch:
    """The swatch of one colour, CIELAB of shape ``(3,)`` under `light`.

    Parameters
    ----------
    lab
        CIELAB, shape ``(3,)``.
    light
        Its illuminant and observer.
    """
    return swatches(np.reshape(lab, (1, 3)), light)[0]


def swatches(lab: FloatLike, light: Light) -> tuple[Swatch, ...]:
    """The swatches of colours, CIELAB of shape ``(n_colours, 3)`` under `light`.

    Parameters
    ----------
    lab
        CIELAB, shape ``(n_colours, 3)``.
    light
        Their illuminant and observer.
    """
    white, screen_white = white_point(light), white_point(SCREEN)
    adapted = adapt_cmccat2000(
        xyz_from_lab(lab, white),
        white,
        screen_white,
        luminance=_FULL_ADAPTATION,
        luminance_reference=_FULL_ADAPTATION,
    )
    coded, in_gamut = srgb_from_xyz(adapted)
    wide, _ = display_p3_from_xyz(adapted)
    return tuple(
        Swatch(
            (int(red), int(green), int(blue)),
            bool(shown),
            "" if shown else "color(display-p3 {:.4f} {:.4f} {:.4f})".format(*more),
        )
        for (red, green, blue), shown, more in zip(
            np.rint(255.0 * coded), in_gamut, wide.tolist(), strict=True
        )
    )
