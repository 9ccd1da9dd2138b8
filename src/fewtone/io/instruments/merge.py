"""Taking an instrument's readings into ``readings.csv``.

A sample's name says where it goes (`rows`). Where several rows of one step wait, readings of it
fill them in the file's order; a recipe line makes a row on a new panel, the same line twice two
rows of one panel. A reading that stands there already is left alone, so a file that holds an
instrument's whole memory can be taken again and again. Nothing is written unless all can be.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from itertools import count

import numpy as np

from fewtone.colorimetry import Light
from fewtone.errors import Fault, FaultList, FewtoneError
from fewtone.io.edit import Edit
from fewtone.io.instruments.choose import ChosenReading
from fewtone.io.instruments.rows import Rows, panel_of
from fewtone.io.readings import REQUIRED_COLUMNS, ReadingColumns
from fewtone.io.table import Row, Table
from fewtone.model.numbers import decimal_from
from fewtone.model.recipe import Recipe
from fewtone.model.shelf import ShelfSettings
from fewtone.spectra import learning_grid, resampling_onto

__all__ = ["Merge", "Placed", "merge"]

_FACTOR_STEP, _OTHER_STEP = Decimal("0.000001"), Decimal("0.0001")
_NEW_PANEL = "R{:03d}"


@dataclass(frozen=True, slots=True)
class Placed:
    """Where one sample's reading went.

    Parameters
    ----------
    sample
        The sample's name.
    what
        ``filled`` a row that had no reading, ``added`` a row, ``replaced`` a reading, or
        ``unchanged``: it stood there already.
    panel, row
        The panel and its row in readings.csv.
    """

    sample: str
    what: str
    panel: str
    row: int


@dataclass(frozen=True, slots=True)
class Merge:
    """What readings.csv becomes.

    Parameters
    ----------
    content
        Its bytes.
    placed
        Where each sample went, in the order of readings.csv.
    columns_added
        Columns that it did not have.
    cautions
        What should be told.
    """

    content: bytes
    placed: tuple[Placed, ...]
    columns_added: tuple[str, ...]
    cautions: tuple[str, ...]


def merge(
    table: Table,
    data: bytes,
    settings: ShelfSettings,
    readings: Sequence[ChosenReading],
    *,
    file: str,
    force: bool = False,
) -> Merge:
    """Put readings where their names say.

    Parameters
    ----------
    table, data
        readings.csv as a table and as bytes.
    settings
        The shelf's settings.
    readings
        What was found in the instrument's file, by name.
    file
        That file's name, for messages and for the notes of new rows.
    force
        Whether readings may be replaced.

    Raises
    ------
    FewtoneError
        Names that match nothing or leave a choice, spectra that do not reach the columns, Lab
        under a light that has no columns, or readings.csv is wrong: all of it.
    """
    columns = ReadingColumns.of(table, settings.measurement.light)
    table.require(REQUIRED_COLUMNS, columns.known)
    table.finish()
    merger = _Merger(table, settings, columns, file, force)
    merger.plan(readings)
    merger.faults.raise_if_any()
    return merger.carried_out(Edit(table, data))


@dataclass(slots=True)
class _Cells:
    """One sample and the cells that it fills."""

    reading: ChosenReading
    cells: dict[str, Decimal]


@dataclass(slots=True)
class _Merger:
    """Plans where each reading goes; faults are collected, nothing is changed until all fit."""

    table: Table
    settings: ShelfSettings
    columns: ReadingColumns
    file: str
    force: bool
    faults: FaultList = field(default_factory=FaultList)
    cautions: list[str] = field(default_factory=list)
    new_wavelengths: dict[str, float] = field(default_factory=dict)
    new_lab: tuple[str, ...] = ()
    filled: list[tuple[Row, _Cells]] = field(default_factory=list)
    added: list[tuple[Recipe, _Cells]] = field(default_factory=list)
    placed: list[Placed] = field(default_factory=list)
    taken: set[int] = field(default_factory=set)

    def fault(self, reading: ChosenReading, message: str, fix: str) -> None:
        text = f"Sample '{reading.name}': {message}"
        self.faults.append(Fault(text, fix, self.file, reading.row, value=reading.name))

    def plan(self, readings: Sequence[ChosenReading]) -> None:
        self.columns_needed(readings)
        known_rows = Rows(self.table, self.settings, self.columns)
        unmatched: list[str] = []
        steps: dict[tuple[int, ...], tuple[list[Row], list[_Cells]]] = {}
        for reading in readings:
            cells = _Cells(reading, self.cells(reading))
            try:
                meant = known_rows.of(reading.name)
            except FewtoneError as error:
                if not self.is_there(known_rows.named(reading.name), cells):
                    self.faults += [
                        replace(fault, file=self.file, row=reading.row) for fault in error.faults
                    ]
                continue
            if meant is None:
                unmatched.append(reading.name + known_rows.suggest(reading.name))
            elif isinstance(meant, Recipe):
                if not self.is_there(known_rows.holding(meant), cells):
                    self.added.append((meant, cells))
            elif not self.is_there(known_rows.named(reading.name), cells):
                key = tuple(row.number for row in meant)
                steps.setdefault(key, (meant, []))[1].append(cells)
        if unmatched:
            self.faults.append(
                Fault(
                    f"{len(unmatched)} names are neither a panel of readings.csv nor a recipe "
                    f"line, so nothing was written: {', '.join(unmatched)}.",
                    fix="Rename these samples, add their rows to readings.csv, or leave them out "
                    "(`leave_out`).",
                    file=self.file,
                )
            )
        for rows, samples in steps.values():
            self.place(samples, [row for row in rows if row.number not in self.taken], known_rows)

    def columns_needed(self, readings: Sequence[ChosenReading]) -> None:
        spectral = [
            reading.wavelength_nm for reading in readings if reading.wavelength_nm is not None
        ]
        if spectral and not self.columns.wavelengths:
            grid = learning_grid(spectral[0])
            self.new_wavelengths = {f"{nm:g}": float(nm) for nm in grid}
        light = self.settings.measurement.light
        if light not in self.columns.lights and any(
            reading.wavelength_nm is None and light in reading.lab for reading in readings
        ):
            self.new_lab = ("L", "a", "b")

    def cells(self, reading: ChosenReading) -> dict[str, Decimal]:
        """The cells that a reading fills, by column; what cannot be filled is noted."""
        cells: dict[str, Decimal] = {}
        lights = dict(self.columns.lights)
        if self.new_lab:
            lights[self.settings.measurement.light] = ("L", "a", "b")
        for light, lab in reading.lab.items():
            if light in lights:
                for column, value in zip(lights[light], lab, strict=True):
                    cells[column] = _rounded(value, _OTHER_STEP)
        if reading.wavelength_nm is not None and reading.reflectance is not None:
            cells |= self.spectral_cells(reading)
        elif reading.lab and not cells:
            self.refuse_light(reading, next(iter(reading.lab)))
        return cells

    def spectral_cells(self, reading: ChosenReading) -> dict[str, Decimal]:
        grid = self.columns.wavelengths or self.new_wavelengths
        if reading.wavelength_nm is None or reading.reflectance is None:
            return {}
        wanted = list(grid.values())
        try:
            onto = resampling_onto(reading.wavelength_nm, wanted)
        except FewtoneError as error:
            short = Fault(
                f"{error.faults[0].message} readings.csv has columns from {wanted[0]:g} to "
                f"{wanted[-1]:g} nm.",
                "Export the instrument's full range, or export Lab alone.",
                self.file,
            )
            if short not in self.faults:
                self.faults.append(short)
            return {}
        if not np.isin(wanted, reading.wavelength_nm).all():
            self.caution(
                f"{self.file}: spectra read at other wavelengths than those of readings.csv were "
                "brought onto them."
            )
        if self.settings.percent:
            scale, step = 100.0, _OTHER_STEP
        else:
            scale, step = 1.0, _FACTOR_STEP
        values = scale * (reading.reflectance @ onto)
        return {
            column: _rounded(float(value), step) for column, value in zip(grid, values, strict=True)
        }

    def caution(self, text: str) -> None:
        if text not in self.cautions:
            self.cautions.append(text)

    def refuse_light(self, reading: ChosenReading, light: Light) -> None:
        shelf = self.settings.measurement.light
        self.fault(
            reading,
            f"Its Lab is under {light}, and the shelf is read under {shelf}.",
            f"Export Lab under {shelf}, or spectra; or, to keep Lab under {light} beside it, add "
            f"the columns 'L {light}', 'a {light}' and 'b {light}' to readings.csv.",
        )

    # Which row

    def is_there(self, rows: Sequence[Row], cells: _Cells) -> bool:
        """Whether one of these rows has this reading already; it is then spoken for."""
        for row in rows:
            if (
                row.number not in self.taken
                and cells.cells
                and all(
                    decimal_from(row.text(column)) == value for column, value in cells.cells.items()
                )
            ):
                self.taken.add(row.number)
                self.placed.append(
                    Placed(cells.reading.name, "unchanged", panel_of(row), row.number)
                )
                return True
        return False

    def place(self, samples: Sequence[_Cells], rows: Sequence[Row], known_rows: Rows) -> None:
        """Put the readings of one step into its rows."""
        waiting = [row for row in rows if known_rows.waits(row)]
        read = [row for row in rows if not known_rows.waits(row)]
        over = len(samples) - len(waiting)
        if over <= 0:
            self.filled += zip(waiting, samples, strict=False)
        elif self.force and over == len(read):
            self.filled += zip([*waiting, *read], samples, strict=True)
        else:
            self.refuse(samples, waiting, read)

    def refuse(
        self, samples: Sequence[_Cells], waiting: Sequence[Row], read: Sequence[Row]
    ) -> None:
        numbers = ", ".join(str(row.number) for row in read)
        if len(samples) == 1:
            message = f"It has another reading already, in row {numbers} of readings.csv."
        else:
            there = f"; row {numbers} has one already" if numbers else ""
            message = (
                f"The file has {len(samples)} new readings of it, and in readings.csv "
                f"{len(waiting)} of its rows wait for one{there}."
            )
        fix = "To keep both, add a row for it to readings.csv, its reading left empty"
        if len(samples) - len(waiting) == len(read):
            fix += "; to replace what stands there, say `force`"
        self.fault(samples[0].reading, message, f"{fix}.")

    # Carrying out

    def carried_out(self, edit: Edit) -> Merge:
        added = (*self.new_wavelengths, *self.new_lab)
        edit.add_columns(added)
        for row, cells in self.filled:
            old = [column for column in self.columns.reading if row.text(column)]
            for column in old:
                edit.set(row.number, column, "")
            for column, value in cells.cells.items():
                edit.set(row.number, column, value)
            if "date" in self.table.columns and (old or not row.text("date")):
                edit.set(row.number, "date", cells.reading.date)
            what = "replaced" if old else "filled"
            self.placed.append(Placed(cells.reading.name, what, panel_of(row), row.number))
        panels: dict[Recipe, str] = {}
        free = self.free_panels()
        for recipe, cells in self.added:
            panel = panels.get(recipe) or panels.setdefault(recipe, next(free))
            number = edit.append({**self.described(recipe, panel, cells), **cells.cells})
            self.placed.append(Placed(cells.reading.name, "added", panel, number))
        placed = sorted(self.placed, key=lambda one: one.row)
        return Merge(edit.content(), tuple(placed), added, tuple(self.cautions))

    def described(self, recipe: Recipe, panel: str, cells: _Cells) -> Mapping[str, str | Decimal]:
        described: dict[str, str | Decimal] = {
            "panel": panel,
            "ground": recipe.ground,
            "blend": str(recipe.blend),
            "medium_parts": Decimal(recipe.medium_parts),
            "coats": Decimal(recipe.coats),
        }
        if "date" in self.table.columns:
            described["date"] = cells.reading.date
        if "note" in self.table.columns:
            described["note"] = f"taken from {self.file}"
        return described

    def free_panels(self) -> Iterator[str]:
        used = {panel_of(row).casefold() for row in self.table.rows}
        names = (_NEW_PANEL.format(number) for number in count(1))
        return (name for name in names if name.casefold() not in used)


def _rounded(value: float, step: Decimal) -> Decimal:
    return Decimal(value).quantize(step)
