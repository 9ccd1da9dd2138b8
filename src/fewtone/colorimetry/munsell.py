"""Munsell notation to CIELAB, by the renotation data as colour-science interpolates them.

The notation is defined in illuminant C and the CIE 1931 observer (ASTM D1535; S. M. Newhall,
D. Nickerson and D. B. Judd, J. Opt. Soc. Am. 33, 385 (1943), doi:10.1364/JOSA.33.000385): hue
0 to 10 of ten families, value 1 to 9 (0 to 10 of greys), chroma as far as the data reach. Smooth,
matte chips; between the tabulated ones it is an interpolation.
"""

from __future__ import annotations

import re
import warnings

import numpy as np

from fewtone.colorimetry.cielab import lab_from_xyz
from fewtone.colorimetry.light import Light, white_point
from fewtone.errors import Fault, UsageError
from fewtone.typing import FloatArray

__all__ = ["MUNSELL_LIGHT", "lab_from_munsell"]

MUNSELL_LIGHT = Light("C", 2)
"""The light that the notation is defined in."""

_FAMILIES = ("R", "YR", "Y", "GY", "G", "BG", "B", "PB", "P", "RP")
_NUMBER = r"([0-9]{1,3}(?:[.,][0-9]{1,4})?)"
_COLOURED = re.compile(rf"{_NUMBER}\s*({'|'.join(_FAMILIES)})\s+{_NUMBER}\s*/\s*{_NUMBER}", re.I)
_WHITEST = 10.0
_NEUTRAL = re.compile(rf"N\s*{_NUMBER}\s*/?", re.I)


def lab_from_munsell(notation: str) -> FloatArray:
    """CIELAB in C/2 of a Munsell notation.

    Parameters
    ----------
    notation
        Such as ``5BG 3/4`` or, for a grey, ``N 5``; capitals do not matter.

    Returns
    -------
    L*, a*, b*, shape ``(3,)``.

    Raises
    ------
    UsageError
        It is no notation, or beyond what the renotation data hold.
    """
    text = " ".join(notation.split())
    coloured, neutral = _COLOURED.fullmatch(text), _NEUTRAL.fullmatch(text)
    if not (coloured or neutral):
        raise UsageError(
            Fault(
                f"'{text}' is no Munsell notation.",
                fix=f"Write it like 5BG 3/4 or N 5: a hue of 0 to 10 and one of "
                f"{', '.join(_FAMILIES)}, then value/chroma.",
                value=text,
            )
        )
    match = coloured or neutral
    assert match is not None
    words = [group.replace(",", ".").upper() for group in match.groups()]
    plain = f"{words[0]}{words[1]} {words[2]}/{words[3]}" if coloured else f"N{words[0]}"
    if neutral and float(words[0]) > _WHITEST:
        raise UsageError(_beyond(text))
    import colour

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            x, y, luminance = np.asarray(colour.munsell_colour_to_xyY(plain), dtype=float).tolist()
    except (AssertionError, ValueError, RuntimeError, IndexError):
        x = y = luminance = float("nan")
    if not (y > 0.0 and luminance >= 0.0):
        raise UsageError(_beyond(text))
    xyz = 100.0 * luminance * np.array([x / y, 1.0, (1.0 - x - y) / y])
    return lab_from_xyz(xyz, white_point(MUNSELL_LIGHT))


def _beyond(text: str) -> Fault:
    return Fault(
        f"There is no Munsell colour {text} in the renotation data.",
        fix="Value reaches from 1 to 9 (greys 0 to 10), and chroma only so far as surfaces of that "
        "hue and value do: take the value and the chroma nearer to the middle.",
        value=text,
    )
