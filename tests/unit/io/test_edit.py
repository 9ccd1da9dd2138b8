"""Editing a CSV file changes the cells that were meant and nothing else."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest

from fewtone.io.edit import Edit
from fewtone.io.table import Table, read_table


def opened(data: bytes) -> Edit:
    """A file under change."""
    return Edit(table_of(data), data)


def table_of(data: bytes) -> Table:
    """The same as a table."""
    return read_table(Path("readings.csv"), data)


HALF = Decimal("0.500000")


@pytest.mark.parametrize("ending", [b"\n", b"\r\n", b"\r"])
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
def test_bytes_that_are_not_meant_stay(ending: bytes, mark: bytes) -> None:
    """Byte-order mark, line ends, odd quotes and spaces of other rows, blank lines: all stay."""
    lines = [b"panel,note,L", b'"P1","x ""y"", z",  1.50', b"", b"P2,,", b"P3,\xc3\xa9,7"]
    edit = opened(mark + ending.join(lines) + ending)
    edit.set(4, "L", HALF)
    lines[3] = b"P2,,0.5"
    assert edit.content() == mark + ending.join(lines) + ending


def test_an_untouched_file_is_the_same() -> None:
    """No change, no byte."""
    data = b"\xef\xbb\xbfpanel;L\r\n'P1';1,5\r\n;\r\n\r\nP2;2"
    assert opened(data).content() == data


@pytest.mark.parametrize(
    ("data", "written"),
    [
        (b"panel,L\nP1,1.5\nP2,\n", b"P2,0.5\n"),
        (b"panel;L\nP1;1,5\nP2;\n", b"P2;0,5\n"),
        (b"panel;L\nP1;1.5\nP2;\n", b"P2;0.5\n"),
        (b"panel;L\nP1;\nP2;\n", b"P2;0,5\n"),
        (b'panel,L\nP1,"1,5"\nP2,\n', b'P2,"0,5"\n'),
        (b"panel\tL\nP1\t1,5\nP2\t\n", b"P2\t0,5\n"),
    ],
)
def test_the_files_decimal_mark(data: bytes, written: bytes) -> None:
    """Numbers are written as the file writes them, or as a file with its separator would."""
    edit = opened(data)
    edit.set(3, "L", HALF)
    assert edit.content().endswith(written)


@pytest.mark.parametrize("tail", [b"", b"\n", b"\n\n\n"])
def test_a_row_goes_to_the_end(tail: bytes) -> None:
    """Behind the last row that holds something, on a line of its own; its number is right."""
    edit = opened(b'panel,note,L\nP1,"two\nlines",1' + tail)
    assert edit.append({"L": Decimal(2), "panel": "P2", "note": 'a "b", c'}) == 4
    assert edit.append({"panel": "P3"}) == 5
    assert edit.content() == b'panel,note,L\nP1,"two\nlines",1\nP2,"a ""b"", c",2\nP3\n'
    assert [row.number for row in table_of(edit.content()).rows] == [2, 4, 5]


def test_new_columns_stand_at_the_end() -> None:
    """The header grows; rows without a value in them are not touched."""
    edit = opened(b"panel,ground\r\nP1,white\r\nP2,silver\r\n")
    edit.add_columns(["400", "410"])
    edit.set(3, "410", HALF)
    assert edit.content() == b"panel,ground,400,410\r\nP1,white\r\nP2,silver,,0.5\r\n"


def test_a_last_line_without_an_end() -> None:
    """It stays without one when it is changed."""
    edit = opened(b"panel,L\nP1,")
    edit.set(2, "L", Decimal(3))
    assert edit.content() == b"panel,L\nP1,3"
