"""What a shelf reaches of a deck, as one self-contained page: figures, and a picture of it.

The picture has one chip for each swatch, sorted by hue and lightness: what was asked for on the
left, what answers it on the right. One that is out of reach is crossed out, so that nothing is told
by colour alone; what each is stands in its title. Inline SVG: no script, no other file.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from fewtone.colorimetry import Light
from fewtone.decks import Chip, Deck
from fewtone.decks.summary import BANDS, HUES
from fewtone.report.swatches import RULE, Swatch, swatches
from fewtone.report.words import needed_lines
from fewtone.version import __version__

__all__ = ["DeckPicture", "deck_page", "deck_picture"]

_HALF, _TALL, _GAP = 10.0, 13.0, 3.0
_ABREAST = 8  # chips side by side in a field
_GUTTER, _HEAD, _FIELD_GAP = 74.0, 16.0, 10.0


@dataclass(frozen=True, slots=True)
class PlacedChip:
    """A chip where it stands.

    Parameters
    ----------
    x, y
        Its corner, in the picture's units.
    asked, answer
        What was asked for and what answers it.
    reached
        Whether that is within tolerance.
    words
        What is said of it.
    """

    x: float
    y: float
    asked: Swatch
    answer: Swatch
    reached: bool
    words: str


@dataclass(frozen=True, slots=True)
class DeckPicture:
    """The picture, ready to draw.

    Parameters
    ----------
    width, height, half, tall
        Its size, and that of half a chip, in its own units.
    chips
        Every swatch.
    columns, rows
        What stands over the columns and beside the rows: a place on the axis, and words.
    """

    width: float
    height: float
    half: float
    tall: float
    chips: tuple[PlacedChip, ...]
    columns: tuple[tuple[float, str], ...]
    rows: tuple[tuple[float, str], ...]


def deck_picture(chips: Sequence[Chip]) -> DeckPicture:
    """Lay out a chip for each swatch: hues are rows, bands of lightness columns."""
    fields: dict[tuple[str, str], list[Chip]] = {}
    for chip in chips:
        fields.setdefault(chip.field, []).append(chip)
    asked = _colours([(chip.lab, chip.light) for chip in chips])
    answers = _colours([(chip.predicted, chip.light) for chip in chips])
    colours = {id(chip): pair for chip, *pair in zip(chips, asked, answers, strict=True)}
    bands = [band for band in BANDS if any(hue_and_band[1] == band for hue_and_band in fields)]
    pitch_x, pitch_y = 2 * _HALF + _GAP, _TALL + _GAP
    field_width = _ABREAST * pitch_x + _FIELD_GAP
    placed, rows, y = [], [], _HEAD
    for hue in HUES:
        row = [sorted(fields.get((hue, band), ()), key=_order) for band in bands]
        lines = max((-(-len(field) // _ABREAST) for field in row), default=0)
        if not lines:
            continue
        rows.append((y + _TALL - 2.0, hue))
        for column, field in enumerate(row):
            for i, chip in enumerate(field):
                line, across = divmod(i, _ABREAST)
                one, other = colours[id(chip)]
                placed.append(
                    PlacedChip(
                        _GUTTER + column * field_width + across * pitch_x,
                        y + line * pitch_y,
                        one,
                        other,
                        chip.reached,
                        f"{chip.number} {chip.name}".strip()
                        + f": ΔE00 {chip.de00:.2f}, {chip.recipe}"
                        + ("" if chip.reached else ", out of reach"),
                    )
                )
        y += lines * pitch_y + _FIELD_GAP
    columns = tuple((_GUTTER + i * field_width, f"L* {band}") for i, band in enumerate(bands))
    width = _GUTTER + len(bands) * field_width
    return DeckPicture(width, y, _HALF, _TALL, tuple(placed), columns, tuple(rows))


def deck_page(deck: Deck, shelf: str, tolerance: float, rules: str) -> str:
    """The page as one HTML document.

    Parameters
    ----------
    deck
        What became of the deck.
    shelf
        The shelf's name.
    tolerance
        ΔE00 that passes.
    rules
        What recipes had to keep, in words.
    """
    from fewtone.report.page import environment

    summary = deck.summary
    table: dict[str, dict[str, Any]] = {}
    for cell in summary.cells:
        table.setdefault(cell.hue, {})[cell.lightness] = cell
    picture = deck_picture(summary.chips)
    return (
        environment()
        .get_template("deck.html.jinja")
        .render(
            shelf=shelf,
            tolerance=f"{tolerance:g}",
            rules=rules,
            summary=summary,
            share=summary.reached / max(1, summary.swatches),
            bands=[band for band in BANDS if any(band in row for row in table.values())],
            table=table,
            picture=picture,
            all_shown=all(c.asked.shown and c.answer.shown for c in picture.chips),
            bottles=[] if deck.needed is None else needed_lines(deck.needed),
            rule=RULE,
            version=__version__,
        )
    )


def _order(chip: Chip) -> tuple[float, float]:
    return chip.lab[0], chip.lab[1] ** 2 + chip.lab[2] ** 2


def _colours(labs: Sequence[tuple[tuple[float, float, float], str]]) -> list[Swatch]:
    """The swatches of colours, each in its light, light by light."""
    by_position: dict[int, Swatch] = {}
    for light in dict.fromkeys(light for _, light in labs):
        positions = [position for position, (_, light_of) in enumerate(labs) if light_of == light]
        shades = swatches([labs[position][0] for position in positions], Light.parse(light))
        by_position |= dict(zip(positions, shades, strict=True))
    return [by_position[position] for position in range(len(labs))]
