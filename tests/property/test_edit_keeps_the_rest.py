"""Editing CSV files under Hypothesis: whatever stands there, only what was meant changes."""

from __future__ import annotations

import csv
import io
from decimal import Decimal
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from fewtone.io.edit import Edit
from fewtone.io.table import read_table

texts = st.text(st.sampled_from('ab é",;\t\n1.5'), max_size=6)
rows = st.lists(st.lists(texts, min_size=3, max_size=3), min_size=1, max_size=6)
endings = st.sampled_from(["\n", "\r\n"])
quoting = st.sampled_from([csv.QUOTE_ALL, csv.QUOTE_MINIMAL])


def written(cells: list[list[str]], delimiter: str, ending: str, quote: int) -> bytes:
    """A CSV file by the standard library."""
    text = io.StringIO(newline="")
    style = csv.writer(text, delimiter=delimiter, lineterminator=ending, quoting=quote)  # type: ignore[arg-type]
    style.writerow(["panel", "note", "L"])
    style.writerows(cells)
    return text.getvalue().encode()


def cells_of(data: bytes, delimiter: str) -> list[list[str]]:
    """Its cells by the standard library."""
    text = io.StringIO(data.decode("utf-8-sig"), newline="")
    return list(csv.reader(text, delimiter=delimiter))


@given(rows, st.sampled_from([",", ";", "\t"]), endings, quoting, st.data())
def test_only_the_cell_that_was_set_changes(
    cells: list[list[str]], delimiter: str, ending: str, quote: int, draw: st.DataObject
) -> None:
    """One cell is set and one row added; every other cell, and untouched bytes, are the same."""
    data = written(cells, delimiter, ending, quote)
    table = read_table(Path("readings.csv"), data)
    edit = Edit(table, data)
    assert edit.content() == data
    if not table.rows:
        return
    at = draw.draw(st.integers(0, len(table.rows) - 1))
    edit.set(table.rows[at].number, "L", Decimal(7))
    edit.append({"panel": "new"})
    before, after = cells_of(data, delimiter), cells_of(edit.content(), delimiter)
    assert after[-1] == ["new"]
    changed = [i for i, row in enumerate(before) if after[i] != row]
    assert [after[i] for i in changed] == [[*before[i][:2], "7"] for i in changed]
    assert len(changed) <= 1
    assert any(row[-1] == "7" for row in after[1:-1])
    assert edit.content().startswith(data.split(ending.encode(), 1)[0])
