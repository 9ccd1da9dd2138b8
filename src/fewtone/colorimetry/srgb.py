"""Colours on a screen: sRGB, and Display P3 for screens that hold more.

Model
    IEC 61966-2-1: the primaries of ITU-R BT.709, white D65, and its two-part gamma. The white is
    that of `white_point`, so that greys stay exactly neutral; the standard's own matrix, printed
    to four digits, differs by less than 0.0003. Display P3, as CSS Color 4 (section 10.4) has it:
    the primaries of SMPTE RP 431-2, with the white and the gamma of sRGB.

Validity
    Screens as shops have them show colours only roughly: a swatch is an aid, not a measurement.
"""

from __future__ import annotations

import re
from functools import cache

import numpy as np

from fewtone.colorimetry.cielab import lab_from_xyz
from fewtone.colorimetry.light import Light, white_point
from fewtone.errors import Fault, UsageError
from fewtone.typing import BoolArray, FloatArray, FloatLike, frozen

__all__ = ["display_p3_from_xyz", "lab_from_hex", "srgb_from_xyz"]

# Chromaticities x, y of full red, green and blue.
_SRGB = ((0.64, 0.33), (0.30, 0.60), (0.15, 0.06))
_DISPLAY_P3 = ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060))


def srgb_from_xyz(xyz: FloatLike) -> tuple[FloatArray, BoolArray]:
    """Screen colour of tristimulus values under D65 for the 2° observer.

    Parameters
    ----------
    xyz
        X, Y, Z, Y = 100 for white, shape ``(..., 3)``.

    Returns
    -------
    rgb
        Red, green, blue in 0..1, gamma-coded and clipped, shape ``(..., 3)``.
    in_gamut
        Whether the screen can show it: clipping moves no channel by more than half a step of
        1/255; shape ``(...)``.
    """
    return _coded(xyz, _SRGB)


def display_p3_from_xyz(xyz: FloatLike) -> tuple[FloatArray, BoolArray]:
    """Display P3 of tristimulus values; takes and returns what `srgb_from_xyz` does."""
    return _coded(xyz, _DISPLAY_P3)


def lab_from_hex(text: str) -> FloatArray:
    """CIELAB under D65/2 of an sRGB colour such as ``"#2f5d50"`` or ``"#2a5"``, shape ``(3,)``.

    Parameters
    ----------
    text
        The colour, with three or six digits.

    Raises
    ------
    UsageError
        The text is no such colour.
    """
    match = re.fullmatch(r"\s*#([0-9a-fA-F]{3}|[0-9a-fA-F]{6})\s*", text)
    if match is None:
        raise UsageError(
            Fault(
                f"'{text}' is no hex colour: '#' and three or six digits 0-9, a-f are allowed.",
                fix="Write it like #2f5d50.",
                value=text,
            )
        )
    digits = match[1] if len(match[1]) == 6 else "".join(2 * digit for digit in match[1])
    coded = np.frombuffer(bytes.fromhex(digits), dtype=np.uint8) / 255.0
    linear = np.where(coded > 0.04045, ((coded + 0.055) / 1.055) ** 2.4, coded / 12.92)
    return lab_from_xyz(_primaries(_SRGB) @ linear, white_point(Light("D65", 2)))


def _coded(
    xyz: FloatLike, chromaticities: tuple[tuple[float, float], ...]
) -> tuple[FloatArray, BoolArray]:
    """Screen values 0..1 of X, Y, Z, clipped, and whether they are in gamut.

    IEC 61966-2-1: 12.92 v up to v = 0.0031308, above it 1.055 v^(1/2.4) - 0.055.
    """
    linear = np.asarray(xyz, dtype=np.float64) @ np.linalg.inv(_primaries(chromaticities)).T
    # The power is meaningless below the straight part, and negative values have none.
    power = 1.055 * np.maximum(linear, 0.0031308) ** (1.0 / 2.4) - 0.055
    coded = np.where(linear > 0.0031308, power, 12.92 * linear)
    clipped = np.clip(coded, 0.0, 1.0)
    in_gamut = np.abs(coded - clipped).max(axis=-1) <= 0.5 / 255.0
    return clipped, np.asarray(in_gamut)


@cache
def _primaries(chromaticities: tuple[tuple[float, float], ...]) -> FloatArray:
    """X, Y, Z of full red, green and blue as columns, shape ``(3, 3)``."""
    x, y = np.array(chromaticities).T
    unscaled = np.stack([x / y, np.ones(3), (1.0 - x - y) / y])
    return frozen(unscaled * np.linalg.solve(unscaled, white_point(Light("D65", 2))))
