"""What a shelf reaches of a deck, by hue and lightness.

Swatches are sorted by what was asked for, not by what answers it. Sectors of hue are eight, each
45° of CIELAB's hue angle wide, the first about 0°; below a chroma of 4 a swatch counts as grey
(common practice, no source, as in `fewtone.match.miss`). Bands of lightness are 20 units of L*.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from fewtone.decks.swatch import Row

__all__ = ["BANDS", "HUES", "Cell", "Chip", "Summary"]

HUES = (
    "red",
    "orange",
    "yellow",
    "yellow-green",
    "green",
    "blue-green",
    "blue",
    "purple",
    "grey",
)
"""Sectors of hue in their order; grey stands last."""

BANDS = ("0-20", "20-40", "40-60", "60-80", "80-100")
"""Bands of L*; the last takes in what is lighter still."""

_NEUTRAL_CHROMA = 4.0
_BAND = 20.0


@dataclass(frozen=True, slots=True)
class Cell:
    """Swatches of one sector of hue and one band of lightness.

    Parameters
    ----------
    hue, lightness
        The sector and the band, in words.
    swatches, reached
        How many there are, and how many of them are within tolerance.
    """

    hue: str
    lightness: str
    swatches: int
    reached: int


@dataclass(frozen=True, slots=True)
class Chip:
    """One swatch and what answers it, for the picture.

    Parameters
    ----------
    number, name
        Which it is.
    lab, light
        What was asked for.
    predicted
        CIELAB of the recipe that answers it.
    recipe, de00
        That recipe, and how far it is off.
    reached
        Whether something is within tolerance.
    """

    number: str
    name: str
    lab: tuple[float, float, float]
    light: str
    predicted: tuple[float, float, float]
    recipe: str
    de00: float
    reached: bool

    @property
    def field(self) -> tuple[str, str]:
        """Its sector of hue and band of lightness."""
        lightness, a, b = self.lab
        band = BANDS[min(max(int(lightness // _BAND), 0), len(BANDS) - 1)]
        if math.hypot(a, b) < _NEUTRAL_CHROMA:
            return HUES[-1], band
        sectors = len(HUES) - 1
        turn = math.degrees(math.atan2(b, a)) / (360.0 / sectors)
        return HUES[math.floor(turn + 0.5) % sectors], band


@dataclass(frozen=True, slots=True)
class Summary:
    """What a shelf reaches of a deck.

    Parameters
    ----------
    chips
        Every swatch, in the order of the deck.
    """

    chips: tuple[Chip, ...]

    @classmethod
    def of(cls, rows: Iterable[Row]) -> Summary:
        """Sum up a deck's rows."""
        return cls(tuple(_chip(row) for row in rows))

    @property
    def swatches(self) -> int:
        """How many swatches there are."""
        return len(self.chips)

    @property
    def reached(self) -> int:
        """For how many of them something is within tolerance."""
        return sum(chip.reached for chip in self.chips)

    @property
    def cells(self) -> tuple[Cell, ...]:
        """The sectors and bands that hold swatches, hue by hue, dark to light."""
        counts = {(hue, band): [0, 0] for hue in HUES for band in BANDS}
        for chip in self.chips:
            held = counts[chip.field]
            held[0] += 1
            held[1] += chip.reached
        return tuple(
            Cell(hue, band, all_, reached)
            for (hue, band), (all_, reached) in counts.items()
            if all_
        )


def _chip(row: Row) -> Chip:
    def lab(before: str) -> tuple[float, float, float]:
        lightness, a, b = (float(row[f"{before}{axis}"] or 0.0) for axis in "Lab")
        return lightness, a, b

    return Chip(
        str(row["number"]),
        str(row["name"]),
        lab(""),
        str(row["light"]),
        lab("headline_"),
        str(row["headline"]),
        float(row["headline_de00"] or 0.0),
        bool(row["reached"]),
    )
