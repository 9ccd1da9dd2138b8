"""Decks as workbooks: the same swatches and the same faults as from CSV."""

from __future__ import annotations

import datetime
import io
import random
import zipfile
from pathlib import Path
from typing import Any

import pytest
from openpyxl import Workbook

from fewtone.colorimetry import Light
from fewtone.errors import FewtoneError
from fewtone.io.targets import read_deck
from fewtone.model.shelf import Measurement

SHELF = Measurement(light=Light("D50", 10))
GOOD: list[list[Any]] = [
    ["number", "L", "a", "b", "name", "light"],
    [101, 38.2, -18.4, 9.7, "Moss", None],
    ["L-7", 40, 1, 2.0, None, "A/2"],
    [None, None, None, None, None, None],
    ["0103", "25,5", "5", "-30", "=Night", ""],
]


def workbook(path: Path, rows: list[list[Any]]) -> Path:
    """Write rows to the first sheet of a workbook; a second sheet holds something else."""
    book = Workbook()
    sheet = book.active
    assert sheet is not None
    for row in rows:
        sheet.append(row)
    for cells in sheet.iter_rows():
        for cell in cells:
            if isinstance(cell.value, str):
                cell.data_type = "s"  # text, also where it looks like a formula
    book.create_sheet("notes").append(["nothing", "of", "this"])
    book.save(path)
    return path


def as_csv(path: Path, rows: list[list[Any]]) -> Path:
    """The same rows as CSV, as a spreadsheet would save them."""
    lines = [";".join("" if v is None else str(v) for v in row) for row in rows]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def test_a_workbook_is_read_as_csv_is(tmp_path: Path) -> None:
    """Numbers as numbers or as text, blank rows, a light of its own."""
    one = read_deck(workbook(tmp_path / "deck.xlsx", GOOD), SHELF, SHELF.light)
    other = read_deck(as_csv(tmp_path / "deck.csv", GOOD), SHELF, SHELF.light)
    assert one == other
    assert list(one) == ["101", "L-7", "0103"]
    assert one["101"].lab == (38.2, -18.4, 9.7)
    assert one["L-7"].light == Light("A", 2)
    assert one["0103"].name == "=Night"


@pytest.mark.parametrize(
    ("row", "column", "value", "said"),
    [
        (2, "L", "much", "is not an L*"),
        (2, "L", None, "empty"),
        (3, "a", 900, "out of range"),
        (3, "number", None, "empty"),
        (3, "number", 101, "twice"),
        (5, "light", "Z9/3", "Z9"),
        (2, "number", datetime.datetime(2026, 3, 1), "turned into a date"),
        (5, "b", datetime.time(3, 30), "turned into a time"),
    ],
)
def test_the_same_faults_by_row_and_column(
    row: int, column: str, value: Any, said: str, tmp_path: Path
) -> None:
    """What is wrong is told where it stands on the sheet, as in a CSV file."""
    rows = [list(cells) for cells in GOOD]
    rows[row - 1][rows[0].index(column)] = value
    faults = []
    for path in (workbook(tmp_path / "d.xlsx", rows), as_csv(tmp_path / "d.csv", rows)):
        with pytest.raises(FewtoneError) as caught:
            read_deck(path, SHELF, SHELF.light)
        faults.append([(f.row, f.column, f.message, f.fix) for f in caught.value.faults])
    assert faults[0] == faults[1]
    assert faults[0][0][:2] == (row, column)
    assert said in faults[0][0][2]


def test_a_missing_column_is_named(tmp_path: Path) -> None:
    """With what looks like it."""
    rows: list[list[Any]] = [["number", "L", "a", "bb"], [1, 2, 3, 4]]
    with pytest.raises(FewtoneError, match=r"'b' is missing"):
        read_deck(workbook(tmp_path / "d.xlsx", rows), SHELF, SHELF.light)


def _changed(data: bytes, name: str, change: Any) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w", 8) as new:
        for member in old.namelist():
            content = old.read(member)
            new.writestr(member, change(content) if member == name else content)
    return out.getvalue()


SHEET = "xl/worksheets/sheet1.xml"


@pytest.mark.parametrize(
    ("name", "change", "said"),
    [
        (SHEET, lambda c: c + b" " * 30_000_000, "unfolds"),
        (SHEET, lambda c: c.replace(b"<worksheet", b"<!DOCTYPE x []><worksheet", 1), "type"),
        (SHEET, lambda c: c.replace(b'"E2"', b'"XFD2"'), "16384 cells"),
        (SHEET, lambda c: c[: len(c) // 2], "cannot be read"),
        ("xl/workbook.xml", lambda _: b"<nothing/>", "cannot be read|no sheet"),
    ],
)
def test_a_hostile_workbook_is_refused(name: str, change: Any, said: str, tmp_path: Path) -> None:
    """What swells, what defines entities, what is cut off: a message, no more."""
    path = workbook(tmp_path / "d.xlsx", GOOD)
    path.write_bytes(_changed(path.read_bytes(), name, change))
    with pytest.raises(FewtoneError, match=said):
        read_deck(path, SHELF, SHELF.light)


def test_a_damaged_workbook_is_a_fault_whatever_is_damaged(tmp_path: Path) -> None:
    """Bytes flipped and cut at random: swatches or faults, nothing else."""
    path = workbook(tmp_path / "d.xlsx", GOOD)
    data, rng = path.read_bytes(), random.Random(7)
    refused = 0
    for _ in range(60):
        hurt = bytearray(data)
        for _ in range(rng.choice((1, 3, 30))):
            hurt[rng.randrange(4, len(hurt))] = rng.randrange(256)
        path.write_bytes(bytes(hurt[: rng.choice((len(hurt), rng.randrange(5, len(hurt))))]))
        try:
            read_deck(path, SHELF, SHELF.light)
        except FewtoneError:
            refused += 1
    assert refused > 10


def test_numbers_read_back_as_they_were(tmp_path: Path) -> None:
    """A cell's number is the shortest text that gives it again: none is moved."""
    values = [0.1, 1 / 3, 1e-7, 99.99999999, 1.1e-16]
    rows: list[list[Any]] = [GOOD[0], *([i, v, v, -v, None, None] for i, v in enumerate(values))]
    deck = read_deck(workbook(tmp_path / "d.xlsx", rows), SHELF, SHELF.light)
    assert [target.lab[0] for target in deck.values()] == values
