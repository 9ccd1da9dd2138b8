"""From what was asked for to a target: a swatch number, a CIELAB triple, a hex colour."""

from __future__ import annotations

import re
from pathlib import Path

from fewtone.colorimetry import Light, lab_from_hex
from fewtone.errors import Fault, FewtoneError, UsageError
from fewtone.io.exchanged import check_exchanged
from fewtone.io.table import Row, Table, read_table
from fewtone.model.names import Names
from fewtone.model.numbers import decimal_from
from fewtone.model.shelf import Measurement
from fewtone.model.target import Target

__all__ = ["lab_triple", "read_deck", "read_target"]

_DECK_COLUMNS = ("number", "L", "a", "b")
_DECK_OPTIONAL = ("name", "light")
_HEX_LIGHT = Light("D65", 2)
_HEX_CAUTION = (
    "A hex colour is what a screen shows, not a reading: match a reading of the swatch if you can."
)
_LONGEST_TRIPLE = 500  # characters; three numbers with their spaces
_HEX = re.compile(r"#[0-9a-fA-F]*")


def read_target(
    text: str,
    measurement: Measurement,
    *,
    light: Light | None = None,
    deck: Path | None = None,
    own_deck: Path | None = None,
) -> Target:
    """Read a target.

    Parameters
    ----------
    text
        A swatch's number or name if there is a deck; a CIELAB triple such as ``38.2,-18.4,9.7``;
        or a hex colour such as ``#2f5d50`` (sRGB, D65/2). Tried in this order.
    measurement
        How the shelf is read: its light holds for targets that do not say otherwise, its geometry
        for all.
    light
        The light of a triple, or of a deck that has no column `light`.
    deck
        A CSV file or an ``.xlsx`` workbook of swatches: columns number, L, a, b, optional name and
        light.
    own_deck
        The shelf's own, looked into where no other is given and the text is no colour by itself.

    Raises
    ------
    FewtoneError
        The deck is wrong; or (as UsageError) the text is no colour.
    """
    said = text.strip()
    shelf_light = light or measurement.light
    triple = lab_triple(said)
    if deck is None and triple is None and not _HEX.fullmatch(said):
        deck = own_deck
    names = None
    if deck is not None:
        swatches = read_deck(deck, measurement, shelf_light)
        labels = {number: swatch.name or number for number, swatch in swatches.items()}
        names = Names("swatch", labels, f"the deck {deck.name}")
        if number := names.find(said):
            return swatches[number]
        if names.is_shared(said):
            raise UsageError(names.fault(said, fix="Give the number of the one that is meant."))
    if _HEX.fullmatch(said):
        if light not in (None, _HEX_LIGHT):
            raise UsageError(
                Fault(
                    f"A hex colour is always in {_HEX_LIGHT}.",
                    fix="Leave `light` out, or give the target as L,a,b.",
                    value=said,
                )
            )
        return Target(_hex(said), _HEX_LIGHT, measurement.geometry, said, cautions=(_HEX_CAUTION,))
    if triple is None:
        swatch = "" if names is None else f", or the number or name of a swatch in {names.home}"
        meant = "" if names is None else names.hint(said)
        raise UsageError(
            Fault(
                f"'{said}' is not a target.{meant}",
                fix=f'Write a CIELAB triple such as "38.2,-18.4,9.7" or a hex colour such as '
                f'"#2f5d50"{swatch}; for a swatch number give its deck (`deck`).',
                value=said,
            )
        )
    return Target(triple, shelf_light, measurement.geometry, said)


def _hex(text: str) -> tuple[float, float, float]:
    lightness, green_red, blue_yellow = lab_from_hex(text).tolist()
    return lightness, green_red, blue_yellow


def lab_triple(text: str) -> tuple[float, float, float] | None:
    """A CIELAB triple; with decimal commas its coordinates are set apart by semicolons."""
    if len(text) > _LONGEST_TRIPLE:
        return None
    mark = ";" if ";" in text else ","
    cells = " ".join(text.split()).replace(f" {mark}", mark).replace(f"{mark} ", mark)
    values = [decimal_from(cell) for cell in re.split(f"[{mark} ]", cells)]
    if len(values) != 3 or any(value is None for value in values):
        return None
    lightness, green_red, blue_yellow = (float(value or 0) for value in values)
    if not 0 <= lightness <= 200 or max(abs(green_red), abs(blue_yellow)) > 200:
        return None
    return lightness, green_red, blue_yellow


def read_deck(path: Path, measurement: Measurement, light: Light) -> dict[str, Target]:
    """Read a deck: the swatches by their numbers, in the order of the file.

    Parameters
    ----------
    path
        A CSV file or an ``.xlsx`` workbook with columns number, L, a, b, optional name and light.
    measurement
        How the shelf is read: its geometry is taken for the swatches'.
    light
        The light of swatches that do not say theirs.

    Raises
    ------
    FewtoneError
        All that is wrong with it, by row and column.
    """
    table = read_table(path, workbook=True)
    known = {*_DECK_COLUMNS, *_DECK_OPTIONAL}
    table.strangers(known)
    table.require(_DECK_COLUMNS, known)
    swatches: dict[str, Target] = {}
    if not table.faults:
        for row in table.rows:
            number = row.identifier("number")
            if number in swatches:
                row.fault("number", f"Swatch {number} stands in this deck twice.", "Keep one.")
            values = [row.number_in("L", 0, 200, what="an L*")]
            values += [row.number_in(c, -200, 200, what=f"an {c}*") for c in ("a", "b")]
            lab = tuple(float(value or 0) for value in values)
            swatches[number] = Target(
                (lab[0], lab[1], lab[2]),
                _deck_light(table, row, light),
                measurement.geometry,
                number,
                row.text("name"),
            )
        check_exchanged(table, [("L", "a", "b")], lambda _: False)
    table.finish()
    return swatches


def _deck_light(table: Table, row: Row, light: Light) -> Light:
    text = row.text("light")
    if not text:
        return light
    try:
        return Light.parse(text)
    except FewtoneError as error:
        for fault in error.faults:
            table.fault(fault.message, fault.fix, row=row.number, column="light", value=text)
        return light
