"""Workbooks (``.xlsx``) as rows of text, so that they are read, and faulted, as CSV files are.

The first sheet counts. A number is the shortest text that reads back as it; a formula counts as
what it last came to; dates and times stand as such text, which `fewtone.io.table` recognises as
what a spreadsheet made of a number. openpyxl reads row by row and no cell is made up between the
last one of a row and the edge of the sheet, so that a few bytes cannot unfold into gigabytes.
"""

from __future__ import annotations

import datetime
import io
import warnings
import zipfile
from collections.abc import Iterator
from typing import Any

from fewtone.errors import Fault, FewtoneError
from fewtone.io.files import LARGEST_FILE

__all__ = ["is_workbook", "workbook_rows"]

_MAGIC = b"PK\x03\x04"
_MOST_MEMBERS = 1000
_MOST_CELLS = 1_000_000
_MOST_ROWS = 1_048_576  # of a sheet


def is_workbook(data: bytes) -> bool:
    """Whether a file's content is a ZIP archive, as workbooks are and no text is.

    Parameters
    ----------
    data
        The file's content.
    """
    return data.startswith(_MAGIC)


def workbook_rows(data: bytes, file: str, most_columns: int) -> Iterator[tuple[int, list[str]]]:
    """Yield the rows of a workbook's first sheet that hold anything.

    Parameters
    ----------
    data
        The file's content.
    file
        Its name, for messages.
    most_columns
        A row of more cells ends the reading: it is yielded, and nothing after it.

    Yields
    ------
    The row's number on the sheet, from 1, and its cells as text.

    Raises
    ------
    FewtoneError
        It is no workbook, is damaged, or unfolds to more than any deck needs.
    """
    from openpyxl import load_workbook

    _refuse_what_swells(data, file)
    cells = 0
    try:
        with warnings.catch_warnings():
            # It warns of styles and extensions that it leaves out; only values are wanted.
            warnings.simplefilter("ignore")
            book = load_workbook(io.BytesIO(data), read_only=True, data_only=True, keep_links=False)
            try:
                if not book.worksheets:
                    raise _refused(file, "This workbook has no sheet of cells")
                sheet: Any = book.worksheets[0]
                # What a file says of its own extent need not be so.
                sheet.reset_dimensions()
                for number, row in enumerate(sheet.iter_rows(values_only=True), start=1):
                    texts = [_text(value) for value in row]
                    cells += len(texts)
                    if cells > _MOST_CELLS or number > _MOST_ROWS:
                        raise _refused(file, "This sheet has more cells than any deck needs")
                    if any(texts):
                        yield number, texts
                    if len(texts) > most_columns:
                        return
            finally:
                book.close()
    except FewtoneError:
        raise
    except Exception as error:
        # A damaged archive or part of it: openpyxl lets through whatever it ran into.
        raise _refused(
            file, f"This workbook cannot be read: {type(error).__name__}, {str(error)[:200]}"
        ) from error


def _refuse_what_swells(data: bytes, file: str) -> None:
    """Refuse what unfolds far beyond its size, and parts that define entities of their own."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            members = archive.infolist()
            if (
                len(members) > _MOST_MEMBERS
                or sum(member.file_size for member in members) > LARGEST_FILE
            ):
                raise _refused(
                    file,
                    f"This workbook unfolds to more than {LARGEST_FILE / 1_000_000:g} MB or "
                    f"{_MOST_MEMBERS} parts",
                )
            for member in members:
                # No more is unfolded than the archive says, which was counted above.
                if b"<!DOCTYPE" in archive.read(member).replace(b"\x00", b""):
                    raise _refused(file, "A part of this workbook has a document type of its own")
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError, RuntimeError) as error:
        raise _refused(file, f"This workbook is damaged: {error}") from error
    except Exception as error:  # zlib.error, EOFError and what else broken archives end in
        if isinstance(error, FewtoneError):
            raise
        raise _refused(file, f"This workbook is damaged: {error}") from error


def _text(value: object) -> str:
    """A cell as the text that a CSV file would have."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(value).upper()
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    if isinstance(value, datetime.datetime | datetime.date | datetime.time):
        return value.isoformat(sep=" ") if isinstance(value, datetime.datetime) else str(value)
    return str(value)


def _refused(file: str, problem: str) -> FewtoneError:
    return FewtoneError(
        Fault(
            f"{problem}; it was not read.",
            fix="Save the sheet alone as .xlsx again, or as 'CSV UTF-8'.",
            file=file,
        )
    )
