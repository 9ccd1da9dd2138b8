"""Changing cells of a user's CSV file and nothing else.

Rows that are not touched stay as they are, byte for byte: their quotes, their spaces, their line
ends. Rows that are touched keep the file's separator, and numbers its decimal mark.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from fewtone.io.files import decode
from fewtone.io.table import Table, inert

__all__ = ["Edit"]

_BYTE_ORDER_MARK = b"\xef\xbb\xbf"
_POINT, _COMMA = re.compile(r"[-+]?\d*\.\d+"), re.compile(r"[-+]?\d*,\d+")


@dataclass(slots=True)
class _Record:
    """A record as it stands, and as cells if it has any."""

    text: str
    cells: list[str]
    changed: bool = False


class Edit:
    """A CSV file under change.

    Parameters
    ----------
    table
        The file as it was read.
    data
        Its content, the same that the table was read from.
    """

    def __init__(self, table: Table, data: bytes) -> None:
        self._mark = _BYTE_ORDER_MARK if data.startswith(_BYTE_ORDER_MARK) else b""
        self._delimiter = table.delimiter
        self._columns = list(table.columns)
        text = decode(data, table.file)
        lines = list(io.StringIO(text, newline=""))
        line_end = re.search(r"\r\n|\n|\r", text)
        self._ending = line_end[0] if line_end else "\n"
        self._records: dict[int, _Record] = {}
        reader = csv.reader(iter(lines), delimiter=table.delimiter, strict=True)
        start = 1
        for cells in reader:
            self._records[start] = _Record("".join(lines[start - 1 : reader.line_num]), cells)
            start = reader.line_num + 1
        self._next = start
        self._header = next(number for number, record in self._records.items() if record.cells)
        self._decimal_comma = self._uses_decimal_comma(table)

    def add_columns(self, names: Sequence[str]) -> None:
        """Add columns at the end; the rows stay short until something stands there.

        Parameters
        ----------
        names
            Of the new columns.
        """
        header = self._records[self._header]
        header.cells += names
        header.changed = header.changed or bool(names)
        self._columns += names

    def set(self, row: int, column: str, value: str | Decimal) -> None:
        """Write one cell of a row, which is named by the line that it starts on.

        Parameters
        ----------
        row
            The line that the row starts on, the header being line 1.
        column
            The column's name.
        value
            What is to stand there.
        """
        record = self._records[row]
        at = self._columns.index(column)
        record.cells += [""] * (at + 1 - len(record.cells))
        record.cells[at] = inert(value) if isinstance(value, str) else self._number(value)
        record.changed = True

    def append(self, cells: Mapping[str, str | Decimal]) -> int:
        """Add a row at the end; return the line that it will stand on.

        Parameters
        ----------
        cells
            What stands in it, by column; other cells stay empty.
        """
        last = max((n for n, record in self._records.items() if record.cells), default=1)
        for number in [number for number in self._records if number > last]:
            del self._records[number]  # blank lines at the end
        tail = self._records[last]
        if not tail.text.endswith(("\r", "\n")):
            tail.text += self._ending
        row = last + max(1, len(list(io.StringIO(tail.text, newline=""))))
        self._records[row] = _Record("", [])
        for column, value in cells.items():
            self.set(row, column, value)
        self._records[row].text = self._ending
        return row

    def content(self) -> bytes:
        """The file as it now is."""
        text = "".join(
            self._written(record) if record.changed else record.text
            for _, record in sorted(self._records.items())
        )
        return self._mark + text.encode()

    def _written(self, record: _Record) -> str:
        ending = re.search(r"(?:\r\n|\n|\r)?\Z", record.text)
        text = io.StringIO(newline="")
        writer = csv.writer(
            text, delimiter=self._delimiter, lineterminator=ending[0] if ending else self._ending
        )
        writer.writerow(record.cells)
        return text.getvalue()

    def _number(self, value: Decimal) -> str:
        text = f"{value:f}"
        if "." in text:
            text = text.rstrip("0").rstrip(".")
        return text.replace(".", ",") if self._decimal_comma else text

    def _uses_decimal_comma(self, table: Table) -> bool:
        cells = [cell for row in table.rows for cell in row.cells.values()]
        if any(_POINT.fullmatch(cell) for cell in cells):
            return False
        # Spreadsheets that set cells apart by semicolons do so because the comma is taken.
        return table.delimiter == ";" or any(_COMMA.fullmatch(cell) for cell in cells)
