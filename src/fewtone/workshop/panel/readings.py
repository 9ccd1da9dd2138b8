"""Readings of a sprayed panel, as they are said: a Lab triple, at how many coats, over what."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from fractions import Fraction
from typing import TypeAlias

import numpy as np

from fewtone.errors import Fault, UsageError
from fewtone.io.targets import lab_triple
from fewtone.model.blend import Number, exact_number
from fewtone.model.names import NAME
from fewtone.model.recipe import Recipe
from fewtone.model.shelf import MOST_COATS, ShelfSettings
from fewtone.workshop.panel.posterior import Depth

__all__ = [
    "EarlierPanel",
    "PanelReading",
    "ReadingLike",
    "average",
    "earlier_panels",
    "read_earlier",
    "read_panel",
]

ReadingLike: TypeAlias = str | Sequence[float]
PanelReading: TypeAlias = tuple[Number, tuple[float, float, float]]
"""Coats and CIELAB."""
EarlierPanel: TypeAlias = tuple[Recipe, Sequence[ReadingLike]]
"""What a panel of the job was sprayed with, and its readings."""

# Of text whose white space is single spaces: one walk along the numbers, then the words.
_READING = re.compile(
    rf"(?P<lab>[^a-z]*)(?:\bat (?P<coats>[0-9]+(?:[.,][0-9]+)?) ?(?:coats?)?)?"
    rf" ?(?:\bover (?P<ground>{NAME}))?"
)
_LONGEST = 500  # characters; three numbers, coats and a ground
_PATTERN = 'Write L,a,b such as "38.2,-18.4,9.7", or "38.2,-18.4,9.7 at 2 coats".'
_EARLIER_PATTERN = (
    'Write the readings, "of" and the recipe, such as "38.2,-18.4,9.7 of 2 marigold + 1 dusk, 6:1, '
    '4 coats over silver"; several readings of that panel with "and" between.'
)


def read_panel(
    readings: Iterable[ReadingLike], recipe: Recipe, sprayed: Number | None = None
) -> list[PanelReading]:
    """Read what was read of a panel.

    Parameters
    ----------
    readings
        Lab triples, or text such as ``38.2,-18.4,9.7 at 2 coats over silver``.
    recipe
        What was sprayed.
    sprayed
        Coats of readings that do not say; the recipe's if None.

    Raises
    ------
    UsageError
        There is no reading, one is no CIELAB triple, is over another ground than the recipe's, or
        is of no or very many coats.
    """
    usual = recipe.coats if sprayed is None else exact_number(sprayed)
    parsed = [_reading(reading, recipe, usual) for reading in readings]
    if not parsed:
        raise UsageError(Fault("There is no reading of the panel.", fix=_PATTERN))
    return parsed


def read_earlier(text: str) -> tuple[str, list[str]]:
    """Split an earlier panel of a job, ``L,a,b and L,a,b at 2 coats of RECIPE``.

    Parameters
    ----------
    text
        As it was typed.

    Returns
    -------
    The recipe line, and the readings.

    Raises
    ------
    UsageError
        There is no ``of``, or nothing before or behind it.
    """
    labs, _, line = text.partition(" of ")
    if not labs.strip() or not line.strip():
        raise UsageError(
            Fault(f"'{text}' is not a panel of the job.", fix=_EARLIER_PATTERN, value=text)
        )
    return line.strip(), [reading.strip() for reading in labs.split(" and ")]


def earlier_panels(
    panels: Sequence[str | tuple[Recipe | str, Sequence[ReadingLike]]], settings: ShelfSettings
) -> list[EarlierPanel]:
    """Earlier panels of a job, each its recipe and its readings.

    Parameters
    ----------
    panels
        In the order in which they were sprayed, as text that `read_earlier` takes or in two parts.
    settings
        The shelf.

    Raises
    ------
    UsageError
        One does not parse, or names what the shelf does not have.
    """
    parted = [read_earlier(panel) if isinstance(panel, str) else panel for panel in panels]
    return [(settings.recipe(recipe), labs) for recipe, labs in parted]


def average(readings: Sequence[PanelReading]) -> tuple[Depth, ...]:
    """Average the readings of each number of coats, fewest coats first.

    Parameters
    ----------
    readings
        Coats and CIELAB of each.
    """
    depths = []
    for coats in sorted({coats for coats, _ in readings}):
        labs = np.array([lab for count, lab in readings if count == coats])
        mean, several = labs.mean(axis=0), len(labs) > 1
        spread = labs.std(axis=0, ddof=1) if several else mean
        depths.append(
            Depth(
                coats=float(coats),
                lab=(float(mean[0]), float(mean[1]), float(mean[2])),
                count=len(labs),
                spread=(float(spread[0]), float(spread[1]), float(spread[2])) if several else None,
            )
        )
    return tuple(depths)


def _reading(reading: ReadingLike, recipe: Recipe, usual: Number) -> PanelReading:
    text = reading if isinstance(reading, str) else ",".join(str(float(v)) for v in reading)
    plain = " ".join(text.split()) if len(text) <= _LONGEST else ""
    words = _READING.fullmatch(plain)
    lab = lab_triple(words["lab"]) if words else None
    if words is None or lab is None:
        raise UsageError(Fault(f"'{text}' is not a reading.", fix=_PATTERN, value=text))
    if words["ground"] not in (None, recipe.ground):
        raise UsageError(
            Fault(
                f"This reading is over {words['ground']}, the recipe over {recipe.ground}.",
                fix="Give the recipe with the ground that the panel has, or read the right panel.",
                value=text,
            )
        )
    coats = exact_number(words["coats"].replace(",", ".")) if words["coats"] else usual
    if not 0 < Fraction(coats) <= MOST_COATS:
        raise UsageError(
            Fault(
                f"A panel of a mix has more than 0 and at most {MOST_COATS} coats.",
                fix="Say how many coats it has (`sprayed`), or 'at 3 coats' behind a reading.",
                value=str(coats),
            )
        )
    return coats, lab
