"""How one colour differs from another in a painter's words.

A difference is split as CIE 15:2018 (8.2.2) does: lightness ΔL*, chroma ΔC*ab and hue
ΔH*ab = ±√(Δa*² + Δb*² - ΔC*ab²), the sign being that of the turn in hue. A turn goes towards the
next of the four poles of CIELAB (red, yellow, green, blue at 0°, 90°, 180°, 270°). Near neutral a
hue angle says nothing, and chroma little: there the words name a* and b* themselves.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

from fewtone.typing import FloatLike

__all__ = ["Difference", "difference_of"]

# Below this chroma an eye names a colour grey with a cast, not a hue (common practice, no source).
_NEUTRAL_CHROMA = 4.0
# Smaller parts of a difference would print as 0.0.
_LEAST_SHOWN = 0.05
_POLES = ("red", "yellow", "green", "blue")


class Difference(NamedTuple):
    """A colour less the target.

    Parameters
    ----------
    lightness, chroma, hue
        ΔL*, ΔC*ab and ΔH*ab [CIELAB units].
    words
        The same in words.
    """

    lightness: float
    chroma: float
    hue: float
    words: str


def difference_of(lab: FloatLike, target: FloatLike) -> Difference:
    """How a colour differs from the target, as figures and in words.

    Parameters
    ----------
    lab, target
        CIELAB, shape ``(3,)`` each.

    Examples
    --------
    >>> difference_of((42.0, 20.0, 21.0), (40.0, 22.0, 22.0)).words
    '2.0 too light, 2.1 too dull, 0.7 towards yellow'
    """
    light_1, a_1, b_1 = _triple(target)
    light_2, a_2, b_2 = _triple(lab)
    chroma_1, chroma_2 = math.hypot(a_1, b_1), math.hypot(a_2, b_2)
    lightness, chroma = light_2 - light_1, chroma_2 - chroma_1
    turn = math.atan2(a_1 * b_2 - b_1 * a_2, a_1 * a_2 + b_1 * b_2)
    hue = 2.0 * math.sqrt(chroma_1 * chroma_2) * math.sin(turn / 2.0)
    parts = [(lightness, "too light", "too dark")]
    if min(chroma_1, chroma_2) < _NEUTRAL_CHROMA:
        parts += [(a_2 - a_1, "too red", "too green"), (b_2 - b_1, "too yellow", "too blue")]
    else:
        pole = f"towards {_pole(math.atan2(b_1, a_1), turn)}"
        parts += [(chroma, "too vivid", "too dull"), (abs(hue), pole, pole)]
    words = [
        f"{abs(size):.1f} {more if size > 0 else less}"
        for size, more, less in parts
        if abs(size) >= _LEAST_SHOWN
    ]
    return Difference(lightness, chroma, hue, ", ".join(words) or "on the target")


def _pole(hue: float, turn: float) -> str:
    """The pole that lies ahead of a turn, seen from its middle."""
    quarter = (hue + turn / 2.0) / (math.pi / 2.0)
    ahead = math.floor(quarter) + 1 if turn > 0 else math.ceil(quarter) - 1
    return _POLES[ahead % 4]


def _triple(lab: FloatLike) -> tuple[float, float, float]:
    values: Sequence[float] = [float(value) for value in lab]  # type: ignore[union-attr, arg-type]
    return values[0], values[1], values[2]
