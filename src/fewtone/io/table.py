"""Tables as spreadsheets really write them: CSV files, and the first sheet of a workbook.

Commas, semicolons or tabs; decimal points or decimal commas; a byte-order mark; any line ends.
What a spreadsheet breaks on its own (a ratio turned into a time, an id into a date) is recognised
and named. Faults are collected, so that one run shows all that is wrong with a file.
"""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path

from fewtone.errors import Fault, FaultList, FewtoneError
from fewtone.io.files import decode, read_bytes
from fewtone.io.workbook import is_workbook, workbook_rows
from fewtone.model.names import nearest
from fewtone.model.numbers import decimal_from

__all__ = ["Row", "Table", "inert", "read_table"]

_MOST_COLUMNS = 3000  # from 300 to 2500 nm in steps of one there are 2201
_DELIMITERS = (",", ";", "\t")
# What a spreadsheet takes for the beginning of a formula, also in the wide forms of East Asia.
_FORMULA = re.compile("'*[=+\\-@\t\r\uff1d\uff0b\uff0d\uff20]")
_MONTH = r"(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]*"
_TIME = re.compile(r"\d{1,2}:\d{2}(?::\d{2})?(?:\.\d+)?(?:\s?[ap]m)?", re.IGNORECASE)
_DATE = re.compile(
    rf"\d{{4}}-\d{{1,2}}-\d{{1,2}}(?:[ t].*)?|\d{{1,2}}[/.]\d{{1,2}}[/.]\d{{2,4}}"
    rf"|\d{{1,2}}[-. ]{{1,2}}{_MONTH}(?:[-. ]{{1,2}}\d{{2,4}})?|{_MONTH}[-. ]{{1,2}}\d{{2,4}}",
    re.IGNORECASE,
)


@dataclass(slots=True)
class Table:
    """A table with its faults: read it row by row, then call `finish`.

    Parameters
    ----------
    file
        Its name, which faults speak of.
    columns
        Names of the columns, in order.
    delimiter
        What sets cells apart.
    rows
        All of them, empty ones left out.
    faults
        What was wrong so far.
    """

    file: str
    columns: tuple[str, ...]
    delimiter: str = ","
    rows: list[Row] = field(default_factory=list)
    faults: FaultList = field(default_factory=FaultList)

    def fault(
        self,
        message: str,
        fix: str | None = None,
        *,
        row: int | None = None,
        column: str | None = None,
        value: str | None = None,
    ) -> None:
        """Note that something is wrong.

        Parameters
        ----------
        message, fix
            What is wrong, and how to mend it.
        row, column, value
            Where, and what stands there; None where that says nothing.
        """
        self.faults.append(Fault(message, fix, self.file, row, column, value))

    def finish(self) -> None:
        """Raise the faults that were noted, in the order of the rows."""
        self.faults.raise_if_any()

    def require(self, names: Iterable[str], known: Iterable[str]) -> None:
        """Note each required column that is missing, with the likely misspelling of it.

        Parameters
        ----------
        names
            The columns that must be there.
        known
            All columns that may be there.
        """
        for name in names:
            if name not in self.columns:
                others = [column for column in self.columns if column not in set(known)]
                close = nearest(name, others, like=0.7)
                hint = f" Column '{close}' looks like it." if close else ""
                self.fault(
                    f"The column '{name}' is missing.{hint}",
                    f"Add a column '{name}' to the first line, or correct its name.",
                    row=1,
                    column=name,
                )

    def strangers(self, known: Iterable[str]) -> list[str]:
        """Return unknown columns; near-misspellings of known ones are noted as faults.

        Parameters
        ----------
        known
            All columns that may be there.
        """
        names = set(known)
        strange = []
        for column in self.columns:
            if column in names or not column:
                continue
            missing = sorted(names - set(self.columns))
            close = nearest(column, missing, like=0.7)
            if close:
                self.fault(
                    f"The column '{column}' is not known.",
                    f"If '{close}' is meant, correct its name; else rename it clearly.",
                    row=1,
                    column=column,
                )
            else:
                strange.append(column)
        return strange


@dataclass(slots=True)
class Row:
    """One row.

    Parameters
    ----------
    table
        The one that it stands in.
    number
        Of the row in the file, the header being 1.
    cells
        By column.
    """

    table: Table
    number: int
    cells: Mapping[str, str]

    def text(self, column: str) -> str:
        """The cell without the white space around it; empty if there is none.

        Parameters
        ----------
        column
            The column's name.
        """
        return self.cells.get(column, "")

    def fault(self, column: str, message: str, fix: str | None = None) -> None:
        """Note that a cell is wrong.

        Parameters
        ----------
        column
            The column's name.
        message, fix
            What is wrong, and how to mend it.
        """
        self.table.fault(message, fix, row=self.number, column=column, value=self.text(column))

    def number_in(
        self, column: str, low: float, high: float, *, what: str = "a number", unit: str = ""
    ) -> Decimal | None:
        """The cell as a number between two bounds, exactly as written; None if it is wrong.

        The cell must not be empty. What is wrong is noted as a fault.

        Parameters
        ----------
        column
            The column's name.
        low, high
            The least and the most that is allowed, in `unit`.
        what
            What the number is, for the message.
        unit
            Its unit, for the message.
        """
        text = self.text(column)
        value = decimal_from(text)
        if value is not None and low <= value <= high:
            return value
        if self.table.faults.is_full:
            self.table.faults.total += 1
            return None
        allowed = f"{what} from {low:g} to {high:g}{unit}"
        if not text:
            self.fault(column, f"This cell is empty; it needs {allowed}.", "Fill it in.")
        elif value is None:
            self.fault(column, f"'{text}' is not {allowed}.{_damage(text)}", _mend(text))
        else:
            self.fault(column, f"{text} is out of range; it needs {allowed}.", "Correct it.")
        return None

    def identifier(self, column: str) -> str:
        """The cell as a name that a spreadsheet has not turned into a date, time or number.

        Parameters
        ----------
        column
            The column's name.
        """
        text = self.text(column)
        if not text:
            self.fault(column, "This cell is empty; each row needs an id here.", "Fill it in.")
        elif _DATE.fullmatch(text) or _TIME.fullmatch(text):
            kind = "date" if _DATE.fullmatch(text) else "time"
            self.fault(
                column,
                f"'{text}' looks like an id that the spreadsheet turned into a {kind}.",
                "Use an id that starts with a letter, such as P3-1, and format the column as text.",
            )
        elif re.fullmatch(r"\d(?:[.,]\d+)?E[+-]?\d+", text, re.IGNORECASE):
            self.fault(
                column,
                f"'{text}' looks like an id that the spreadsheet turned into a number.",
                "Use an id that starts with a letter, and format the column as text.",
            )
        return text


def read_table(path: Path, data: bytes | None = None, *, workbook: bool = False) -> Table:
    """Read a CSV file with a header line.

    Parameters
    ----------
    path
        The file, also for messages.
    data
        Its content, if it was read already.
    workbook
        Whether it may also be an ``.xlsx`` workbook, whose first sheet then counts.

    Returns
    -------
    The table, its column names stripped; rows whose cells are all empty are left out. Short rows
    are as if filled with empty cells; cells beyond the header are a fault.

    Raises
    ------
    FewtoneError
        The file cannot be read as text at all.
    """
    content = read_bytes(path) if data is None else data
    if workbook and is_workbook(content):
        delimiter, lines = ",", workbook_rows(content, path.name, _MOST_COLUMNS)
    else:
        text = decode(content, path.name)
        first = text.lstrip("\r\n").splitlines()[0] if text.strip() else ""
        delimiter = max(_DELIMITERS, key=first.count)
        lines = _records(text, delimiter, path.name)
    table = Table(path.name, (), delimiter)
    _, header = next(lines, (1, []))
    table.columns = tuple(cell.strip() for cell in header)
    if len(table.columns) > _MOST_COLUMNS:
        table.fault(
            f"This file has {len(table.columns)} columns; {_MOST_COLUMNS} are allowed.",
            "Keep the columns that are needed.",
            row=1,
        )
        table.finish()
    counts = Counter(table.columns)
    for name in sorted(name for name, count in counts.items() if name and count > 1):
        table.fault(f"The column '{name}' stands here twice.", "Keep one.", row=1, column=name)
    for number, record in lines:
        cells = [_meant(cell.replace("\u00a0", " ").strip()) for cell in record]
        if not any(cells):
            continue
        if any(cells[len(table.columns) :]):
            table.fault(
                f"This row has {len(cells)} cells, the first line only {len(table.columns)}.",
                "Quote cells that contain the separator, or write decimals with a point.",
                row=number,
            )
            continue
        table.rows.append(Row(table, number, dict(zip(table.columns, cells, strict=False))))
    return table


def inert(text: str) -> str:
    """Text for a cell that no spreadsheet takes for a formula; `read_table` gives it back.

    An apostrophe stands before what would begin one, unless the text is a number.

    Parameters
    ----------
    text
        What is to stand in the cell.
    """
    return f"'{text}" if _FORMULA.match(text) and decimal_from(text) is None else text


def _meant(cell: str) -> str:
    return cell[1:] if cell.startswith("'") and _FORMULA.match(cell, 1) else cell


def _records(text: str, delimiter: str, file: str) -> Iterator[tuple[int, list[str]]]:
    """Yield each record with the line that it starts on."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    start = 1
    try:
        for record in reader:
            if record:
                yield start, record
            start = reader.line_num + 1
    except csv.Error as error:
        raise FewtoneError(
            Fault(f"This row cannot be read: {error}.", "Mend its quotes.", file, start)
        ) from error


def _damage(text: str) -> str:
    if _TIME.fullmatch(text):
        return " It looks like a ratio that the spreadsheet turned into a time."
    if _DATE.fullmatch(text):
        return " It looks like a number that the spreadsheet turned into a date."
    return ""


def _mend(text: str) -> str:
    if _TIME.fullmatch(text):
        return "Write the parts of medium alone (6 for 6:1) and format the column as a number."
    if _DATE.fullmatch(text):
        return "Write the number again and format the column as a number."
    return "Write a plain number, such as 6 or 0.25."
