"""Reading ``readings.csv``: spectral and Lab readings, all faults in one go."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from types import MappingProxyType

import numpy as np

from fewtone.colorimetry import Light
from fewtone.errors import FewtoneError
from fewtone.io.exchanged import check_exchanged
from fewtone.io.files import read_bytes
from fewtone.io.odd_spectra import odd_spectra
from fewtone.io.table import Row, Table, read_table
from fewtone.model.blend import Blend, Number, exact_number
from fewtone.model.names import slug
from fewtone.model.numbers import decimal_from
from fewtone.model.readings import Reading, Readings
from fewtone.model.recipe import parse_blend
from fewtone.model.shelf import ShelfSettings
from fewtone.typing import FloatArray, frozen

__all__ = [
    "FACTOR_LIMIT",
    "LARGEST_FACTOR",
    "LEAST_FACTOR",
    "LEAST_NM",
    "MOST_NM",
    "READINGS_FILE",
    "REQUIRED_COLUMNS",
    "ReadingColumns",
    "load_readings",
    "readings_digest",
    "reads_spectra",
]

READINGS_FILE = "readings.csv"
REQUIRED_COLUMNS = ("panel", "ground", "blend", "medium_parts", "coats")
_OPTIONAL = ("date", "note", "reducer_percent", "separate")
_YES, _NO = ("yes", "y", "x", "true", "1"), ("", "no", "n", "false", "0")
_WAVELENGTH = re.compile(r"([0-9]{1,10}(?:[.,][0-9]{1,10})?)\s*(?:nm)?")
_LIGHT_COLUMN = re.compile(r"([Lab])\s+(\S+/\d+)")
_RATIO = re.compile(r"([\d.,]+)\s*:\s*1")
LEAST_NM, MOST_NM = 300.0, 2500.0
# A factor above this is taken for percent, a percentage that never reaches it for a factor:
# flake in 45:0 stays well below 2.5, and no panel is darker than 2.5 % at every wavelength of
# every reading.
FACTOR_LIMIT = 2.5
LEAST_FACTOR, LARGEST_FACTOR = -0.05, 10.0


def readings_digest(folder: Path) -> str:
    """SHA-256 of a shelf's readings, hexadecimal; empty if there are none to read.

    Parameters
    ----------
    folder
        The shelf's folder.
    """
    try:
        return hashlib.sha256(read_bytes(folder / READINGS_FILE)).hexdigest()
    except FewtoneError:
        return ""


def reads_spectra(folder: Path, settings: ShelfSettings) -> bool:
    """Whether a shelf's readings have columns of wavelengths; not if they cannot be read.

    Parameters
    ----------
    folder
        The shelf's folder.
    settings
        What its ``shelf.toml`` says.
    """
    try:
        header = read_bytes(folder / READINGS_FILE).partition(b"\n")[0]
        table = read_table(folder / READINGS_FILE, header)
        return bool(ReadingColumns.of(table, settings.measurement.light).wavelengths)
    except FewtoneError:
        return False


def load_readings(folder: Path, settings: ShelfSettings, data: bytes | None = None) -> Readings:
    """Read and check a shelf's readings.

    Parameters
    ----------
    folder
        The shelf's folder.
    settings
        What its ``shelf.toml`` says: names, light, and whether spectra are factors or percent.
    data
        What is to stand in the file, to check it before it is written; read if None.

    Raises
    ------
    FewtoneError
        All that is wrong with the file.
    """
    path = folder / READINGS_FILE
    if data is None:
        data = read_bytes(path)
    table = read_table(path, data)
    columns = ReadingColumns.of(table, settings.measurement.light)
    strange = table.strangers(columns.known)
    table.require(REQUIRED_COLUMNS, columns.known)
    if not (columns.wavelengths or columns.lights or table.faults):
        table.fault(
            "There are no readings here: neither L, a, b nor wavelength columns such as 400, 410.",
            "Add the columns L, a, b, or one column per wavelength in nm.",
            row=1,
        )
    items: list[Reading] = []
    if not table.faults:
        off_scale = _check_scale(table, columns, settings.percent)
        check_exchanged(table, columns.lights.values(), lambda row: row.text("coats") == "0")
        rows = [row for row in table.rows if row.number not in off_scale]
        items = [item for row in rows if (item := _reading(row, columns, settings))]
        _check_strips(table, items)
        if not (items or table.faults):
            table.fault(
                "No row has a reading yet.", "Fill in the readings of the panels you sprayed."
            )
    table.finish()
    return Readings(
        items=tuple(items),
        wavelength_nm=frozen(list(columns.wavelengths.values())) if columns.wavelengths else None,
        digest=hashlib.sha256(data).hexdigest(),
        cautions=(
            *_cautions(table, strange, len(items)),
            *(
                f"{table.file}, {caution}"
                for caution in odd_spectra(
                    items, list(columns.wavelengths.values()), settings.is_metallic
                )
            ),
        ),
    )


@dataclass(frozen=True, slots=True)
class ReadingColumns:
    """Which columns hold what.

    Parameters
    ----------
    wavelengths
        Wavelength by column [nm].
    lights
        The three columns of each light.
    """

    wavelengths: Mapping[str, float]
    lights: Mapping[Light, tuple[str, str, str]]

    @property
    def reading(self) -> tuple[str, ...]:
        """The columns that hold readings."""
        return (*self.wavelengths, *(name for names in self.lights.values() for name in names))

    @property
    def known(self) -> set[str]:
        """Every column that has a meaning."""
        names = {*REQUIRED_COLUMNS, *_OPTIONAL, *self.wavelengths}
        return names.union(*self.lights.values()) | ({"L", "a", "b"} if self.lights else set())

    @classmethod
    def of(cls, table: Table, shelf_light: Light) -> ReadingColumns:
        """Sort a table's columns; what is wrong with them is noted as its faults."""
        wavelengths: dict[str, float] = {}
        coordinates: dict[Light, dict[str, str]] = {}
        for column in table.columns:
            if match := _WAVELENGTH.fullmatch(column):
                wavelengths[column] = float(match[1].replace(",", "."))
            elif column in ("L", "a", "b"):
                coordinates.setdefault(shelf_light, {})[column] = column
            elif match := _LIGHT_COLUMN.fullmatch(column):
                light = _light(table, column, match[2])
                if light:
                    coordinates.setdefault(light, {})[match[1]] = column
        _check_wavelengths(table, wavelengths)
        lights: dict[Light, tuple[str, str, str]] = {}
        for light, columns in coordinates.items():
            if missing := [name for name in "Lab" if name not in columns]:
                table.fault(
                    f"The columns L, a and b under {light} belong together; "
                    f"missing: {', '.join(missing)}.",
                    "Add the missing columns to the first line.",
                    row=1,
                    column=next(iter(columns.values())),
                )
            else:
                lights[light] = (columns["L"], columns["a"], columns["b"])
        return cls(wavelengths, lights)


def _light(table: Table, column: str, text: str) -> Light | None:
    try:
        return Light.parse(text)
    except FewtoneError as error:
        for fault in error.faults:
            table.fault(fault.message, fault.fix, row=1, column=column, value=text)
        return None


def _check_wavelengths(table: Table, wavelengths: Mapping[str, float]) -> None:
    values = list(wavelengths.values())
    for column, value in wavelengths.items():
        if not LEAST_NM <= value <= MOST_NM:
            unit = " It looks like micrometres." if 0.3 <= value <= 2.5 else ""
            table.fault(
                f"A wavelength column must lie between {LEAST_NM:g} and {MOST_NM:g} nm.{unit}",
                "Name each column by its wavelength in nm, such as 400.",
                row=1,
                column=column,
            )
            return
    for (column, value), before in zip(list(wavelengths.items())[1:], values, strict=False):
        if value <= before:
            table.fault(
                f"The wavelength columns must ascend, but {value:g} stands after {before:g}.",
                "Put the columns in order; check that each reading stands under its wavelength.",
                row=1,
                column=column,
            )
            return


def _check_scale(table: Table, columns: ReadingColumns, percent: bool) -> set[int]:
    """Judge, over whole rows, whether reflectance is a factor or a percentage.

    Returns the rows that are on the wrong scale; their faults are noted.
    """
    largest: list[tuple[Row, Decimal]] = []
    for row in table.rows:
        values = [decimal_from(row.text(column)) for column in columns.wavelengths]
        known = [value for value in values if value is not None]
        if known:
            largest.append((row, max(known)))
    if percent:
        if largest and all(value <= FACTOR_LIMIT for _, value in largest):
            table.fault(
                'shelf.toml says reflectance = "percent", but no reading exceeds '
                f"{FACTOR_LIMIT:g}: these are factors.",
                'Set reflectance = "factor" in shelf.toml.',
                row=largest[0][0].number,
            )
        return set()
    over = [(row, value) for row, value in largest if value > FACTOR_LIMIT]
    if over and len(over) == len(largest):
        table.fault(
            'shelf.toml says reflectance = "factor" (0 to 1), but every row reads like percent '
            f"(row {over[0][0].number} reaches {over[0][1]}).",
            'Set reflectance = "percent" in shelf.toml.',
            row=over[0][0].number,
        )
        over = []
    for row, value in over:
        table.fault(
            f"This row reads like percent (it reaches {value}); the others are factors, 0 to 1.",
            "Divide the row by 100, or read the panel again.",
            row=row.number,
            value=str(value),
        )
    return {row.number for row, value in largest if value > FACTOR_LIMIT}


def _reading(row: Row, columns: ReadingColumns, settings: ShelfSettings) -> Reading | None:
    """One reading; None where there is none yet, or where a fault was noted."""
    spectral = [row.text(column) for column in columns.wavelengths]
    lab_cells = [row.text(column) for names in columns.lights.values() for column in names]
    if not any(spectral) and not any(lab_cells):
        return None
    known_faults = row.table.faults.total
    panel = row.identifier("panel")
    ground = _ground(row, settings)
    coats = row.number_in("coats", 0, 100, what="a number of coats")
    blend, medium_parts = _film(row, settings, coats)
    thinning = _thinning(row, settings)
    separate = _separate(row)
    reflectance = _reflectance(row, columns, settings.percent) if any(spectral) else None
    lab = {
        light: values
        for light, names in columns.lights.items()
        if any(row.text(name) for name in names) and (values := _lab(row, names))
    }
    if row.table.faults.total > known_faults or coats is None:
        return None
    return Reading(
        row=row.number,
        panel=panel,
        ground=ground,
        blend=blend,
        medium_parts=medium_parts,
        coats=exact_number(coats),
        thinning=thinning,
        reflectance=reflectance,
        lab=MappingProxyType(lab),
        date=row.text("date"),
        note=row.text("note"),
        separate=separate,
    )


def _ground(row: Row, settings: ShelfSettings) -> str:
    text = row.text("ground")
    name = settings.ground_names.find(text)
    if name is None:
        fix = f"Correct the name, or add a table [grounds.{slug(text) or 'name'}] to shelf.toml."
        fault = settings.ground_names.fault(text, fix=fix)
        row.fault("ground", fault.message, fault.fix)
    return name or text


def _film(row: Row, settings: ShelfSettings, coats: Decimal | None) -> tuple[Blend, Number | None]:
    """The blend and its letdown; no toner and None for the bare ground."""
    nothing = Blend({})
    text = row.text("blend")
    if coats == 0 or coats is None:
        return nothing, None
    if not text:
        row.fault(
            "blend",
            "This row has coats but no blend.",
            "Write the toner or blend, 'medium' for medium alone, or 0 coats for the bare ground.",
        )
        return nothing, None
    blend = nothing
    if text.lower() != "medium":
        try:
            blend = parse_blend(text, settings.toner_names)
        except FewtoneError as error:
            for fault in error.faults:
                row.fault("blend", fault.message, fault.fix)
    elif not row.text("medium_parts"):
        return nothing, None
    return blend, _medium_parts(row)


def _medium_parts(row: Row) -> Number | None:
    if ratio := _RATIO.fullmatch(row.text("medium_parts")):
        value = decimal_from(ratio[1])
        if value is not None and 0 <= value <= 1000:
            return exact_number(value)
    parts = row.number_in("medium_parts", 0, 1000, what="parts of medium to one part of blend,")
    return None if parts is None else exact_number(parts)


def _thinning(row: Row, settings: ShelfSettings) -> Fraction:
    if not row.text("reducer_percent"):
        return Fraction(1)
    used = row.number_in("reducer_percent", 0, 1000, unit=" percent by volume")
    if used is None:
        return Fraction(1)
    return (100 + Fraction(settings.house_reducer_percent)) / (100 + Fraction(used))


def _separate(row: Row) -> bool:
    """Whether the rows of this panel id are separate panels of one session."""
    text = row.text("separate").casefold()
    if text not in (*_YES, *_NO):
        row.fault(
            "separate",
            f"'{row.text('separate')}' is neither yes nor no.",
            "Write yes if the rows of this panel id are separate panels of one session; leave it "
            "blank where they are the steps of one strip.",
        )
    return text in _YES


def _reflectance(row: Row, columns: ReadingColumns, percent: bool) -> FloatArray | None:
    scale = 100 if percent else 1
    values = [
        row.number_in(column, LEAST_FACTOR * scale, LARGEST_FACTOR * scale, what="a reflectance")
        for column in columns.wavelengths
    ]
    if any(value is None for value in values):
        return None
    return frozen(np.array(values, dtype=float) / scale)


def _lab(row: Row, names: tuple[str, str, str]) -> tuple[float, float, float] | None:
    lightness = row.number_in(names[0], 0, 200, what="an L*")
    green_red = row.number_in(names[1], -200, 200, what="an a*")
    blue_yellow = row.number_in(names[2], -200, 200, what="a b*")
    if lightness is None or green_red is None or blue_yellow is None:
        return None
    return float(lightness), float(green_red), float(blue_yellow)


def _check_strips(table: Table, items: list[Reading]) -> None:
    """All steps of one panel have one film on them: one blend, one letdown."""
    first: dict[str, Reading] = {}
    for item in items:
        if item.is_bare:
            continue
        known = first.setdefault(item.panel, item)
        if dict(known.blend) != dict(item.blend) or known.medium_parts != item.medium_parts:
            table.fault(
                f"Panel {item.panel} has another blend or letdown here than in row {known.row}: "
                "the steps of a panel share one film.",
                "Give each sprayed panel an id of its own, or correct the blend.",
                row=item.row,
                column="panel",
                value=item.panel,
            )
        elif known.separate != item.separate:
            table.fault(
                f"Panel {item.panel} is told to be separate panels here or in row {known.row}, but "
                "not in both.",
                "Write yes in the column separate of every row of this panel id, or of none.",
                row=item.row,
                column="separate",
                value=item.panel,
            )


def _cautions(table: Table, strange: list[str], n_read: int) -> tuple[str, ...]:
    cautions = []
    if strange:
        cautions.append(f"{table.file}: columns not used: {', '.join(strange)}.")
    if unread := len(table.rows) - n_read:
        rows = "1 row has" if unread == 1 else f"{unread} rows have"
        cautions.append(f"{table.file}: {rows} no reading yet and count for nothing.")
    return tuple(cautions)
