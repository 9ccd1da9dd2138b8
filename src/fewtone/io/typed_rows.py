"""Rows of readings.csv as they are typed: read with a mark each, written where they still stand.

Two may type at once. Whoever writes says of each row what stood there when it was shown; a row that
has changed since is not written over, and then nothing is written at all. Cells that were not
touched stay as they are, byte for byte.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

from fewtone.errors import Fault, FaultList, FewtoneError
from fewtone.io.atomic import locked, write_atomic
from fewtone.io.edit import Edit
from fewtone.io.files import read_bytes
from fewtone.io.readings import READINGS_FILE, ReadingColumns, load_readings
from fewtone.io.table import Row, read_table
from fewtone.model.numbers import decimal_from
from fewtone.model.shelf import ShelfSettings

__all__ = ["RowChange", "TypedRow", "TypedRows", "read_rows", "write_rows"]

_NUMBERS = ("medium_parts", "coats", "reducer_percent")
_MARK_LENGTH = 16


@dataclass(frozen=True, slots=True)
class TypedRow:
    """A row as it stands.

    Parameters
    ----------
    number
        Its line in the file.
    mark
        Tells this content from any other.
    cells
        Text by column.
    is_read
        Whether it has a reading, or part of one.
    """

    number: int
    mark: str
    cells: Mapping[str, str]
    is_read: bool


@dataclass(frozen=True, slots=True)
class TypedRows:
    """All rows of a shelf's readings.csv.

    Parameters
    ----------
    columns
        Its columns, in order.
    reading
        Those that hold readings.
    rows
        The rows.
    faults
        What is wrong with them.
    """

    columns: tuple[str, ...]
    reading: tuple[str, ...]
    rows: tuple[TypedRow, ...]
    faults: tuple[Fault, ...]


@dataclass(frozen=True, slots=True)
class RowChange:
    """What is to become of a row.

    Parameters
    ----------
    number, mark
        The row as it was shown; None and empty for a new one.
    cells
        Text by column; columns that are left out stay as they are.
    remove
        Take the row out.
    """

    number: int | None
    mark: str
    cells: Mapping[str, str]
    remove: bool = False


def read_rows(folder: Path, settings: ShelfSettings) -> TypedRows:
    """Read the rows, whatever is wrong with them.

    Parameters
    ----------
    folder
        The shelf's folder.
    settings
        What its ``shelf.toml`` says.

    Raises
    ------
    FewtoneError
        The file cannot be read as a table at all.
    """
    path = folder / READINGS_FILE
    data = read_bytes(path)
    table = read_table(path, data)
    reading = ReadingColumns.of(table, settings.measurement.light).reading
    return TypedRows(
        columns=tuple(column for column in table.columns if column),
        reading=reading,
        rows=tuple(
            TypedRow(
                row.number, _mark(row), dict(row.cells), any(row.text(name) for name in reading)
            )
            for row in table.rows
        ),
        faults=_faults(folder, settings, data),
    )


def write_rows(folder: Path, settings: ShelfSettings, changes: Sequence[RowChange]) -> int:
    """Write rows, all or none; return how many were changed.

    Parameters
    ----------
    folder, settings
        The shelf.
    changes
        What is to become of which rows.

    Raises
    ------
    FewtoneError
        A row has changed since it was shown, a cell is wrong, or the folder cannot be written to.
        What was wrong before in rows that are not touched does not count.
    """
    path = folder / READINGS_FILE
    with locked(path):
        data = read_bytes(path)
        table = read_table(path, data)
        reading = set(ReadingColumns.of(table, settings.measurement.light).reading)
        rows = {row.number: row for row in table.rows}
        faults = FaultList()
        edit, touched = Edit(table, data), set()
        for change in changes:
            if change.number is None:
                new = {
                    name: _cell(name, text, reading) for name, text in change.cells.items() if text
                }
                if new:
                    touched.add(edit.append(new))
                continue
            row = rows.get(change.number)
            wanted = {} if row is None else _differing(change, row)
            if row is not None and not wanted:
                continue
            if row is None or _mark(row) != change.mark:
                faults.append(_moved(change, row))
                continue
            for name, text in wanted.items():
                edit.set(change.number, name, _cell(name, text, reading))
            touched.add(change.number)
        faults.raise_if_any()
        if not touched:
            return 0
        content = edit.content()
        known = {_same(fault) for fault in _faults(folder, settings, data)}
        for fault in _faults(folder, settings, content):
            if fault.row in touched or _same(fault) not in known:
                faults.append(fault)
        faults.raise_if_any()
        write_atomic(path, content)
    return len(touched)


def _differing(change: RowChange, row: Row) -> dict[str, str]:
    """The cells that are to be other than they are."""
    if change.remove:
        return {name: "" for name, text in row.cells.items() if text}
    return {name: text for name, text in change.cells.items() if text != row.text(name)}


def _cell(column: str, text: str, reading: set[str]) -> str | Decimal:
    """Numbers as such, so that they are written with the file's own decimal mark."""
    value = decimal_from(text) if column in reading or column in _NUMBERS else None
    return text if value is None else value


def _faults(folder: Path, settings: ShelfSettings, data: bytes) -> tuple[Fault, ...]:
    try:
        load_readings(folder, settings, data)
    except FewtoneError as error:
        return error.faults
    return ()


def _same(fault: Fault) -> tuple[int | None, str | None, str]:
    return fault.row, fault.column, fault.message


def _moved(change: RowChange, row: Row | None) -> Fault:
    now = (
        "it is gone"
        if row is None
        else f"it now says {', '.join(filter(None, row.cells.values()))}"
    )
    return Fault(
        f"This row was changed by somebody else since it was shown: {now}. Nothing was written.",
        fix="Look at it as it now is, then write yours again if it should still count.",
        file=READINGS_FILE,
        row=change.number,
    )


def _mark(row: Row) -> str:
    text = "\x1f".join(f"{name}\x1e{value}" for name, value in row.cells.items() if value)
    return hashlib.sha256(text.encode("utf-8", "replace")).hexdigest()[:_MARK_LENGTH]
