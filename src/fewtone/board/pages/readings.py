"""Typing readings into rows, checked as readings.csv is."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Any

from starlette.responses import Response

from fewtone.board.safety import Form
from fewtone.board.visit import Visit
from fewtone.errors import Fault, FewtoneError, UsageError, printable
from fewtone.io.typed_rows import RowChange, TypedRow, TypedRows, read_rows, write_rows

__all__ = ["overview", "rows", "save"]

_NEW_ROWS = 5
_MOST_ROWS = 400  # of one panel
_FILM = ("panel", "ground", "blend", "medium_parts", "coats")
_LABELS = {
    "panel": "Panel",
    "ground": "Ground",
    "blend": "Toner or blend",
    "medium_parts": "Letdown",
    "coats": "Coats",
    "date": "Date",
    "note": "Note",
    "reducer_percent": "Reducer %",
    "separate": "Separate",
    "L": "L*",
    "a": "a*",
    "b": "b*",
}


@dataclass(slots=True)
class Panel:
    """The rows of one panel."""

    name: str
    rows: list[TypedRow] = field(default_factory=list)

    @property
    def read(self) -> int:
        """How many of its rows have a reading."""
        return sum(row.is_read for row in self.rows)


def overview(visit: Visit) -> Response:
    """Show all panels, and which of them wait for readings."""
    table = visit.open_shelf.rows()
    panels = _panels(table)
    waiting = [panel for panel in panels if panel.read < len(panel.rows)]
    only = visit.query.get("only", "waiting" if waiting and len(waiting) < len(panels) else "all")
    return visit.page(
        "readings",
        panels=waiting if only == "waiting" else panels,
        only=only,
        waiting=len(waiting),
        total=len(panels),
        faults=[fault for fault in visit.faults(FewtoneError(*table.faults)) if fault.row],
        panel_of={row.number: row.cells.get("panel", "") for row in table.rows},
        wrote=visit.query.get("wrote", ""),
    )


def rows(visit: Visit) -> Response:
    """Show one panel's rows to type into, or empty ones for a new panel."""
    return _page(visit, visit.open_shelf.rows(), visit.query.get("panel", ""))


def save(visit: Visit) -> Response:
    """Write the rows as they were typed, all or none."""
    form, open_shelf = visit.form, visit.open_shelf
    assert form is not None
    settings = open_shelf.settings()
    table = read_rows(open_shelf.folder, settings)
    panel = form.get("panel", "")
    try:
        written = write_rows(open_shelf.folder, settings, _changes(form, table))
    except FewtoneError as error:
        return _page(visit, table, panel, typed=form, error=error)
    if form.get("then") == "next":
        panels = _panels(read_rows(open_shelf.folder, settings))
        names = [one.name for one in panels if one.read < len(one.rows) and one.name != panel]
        if names:
            return visit.go(visit.plain("rows", panel=names[0]))
    return visit.go(visit.plain("readings", wrote=written))


def _page(
    visit: Visit,
    table: TypedRows,
    panel: str,
    typed: Form | None = None,
    error: FewtoneError | None = None,
) -> Response:
    settings = visit.open_shelf.settings()
    known = [one for one in _panels(table) if one.name == panel]
    if panel and not known and typed is None:
        raise UsageError(
            Fault(f"There is no panel '{panel}'.", "Choose one on the page Readings.", value=panel)
        )
    shown: list[dict[str, Any]] = [
        {"key": str(row.number), "mark": row.mark, "cells": dict(row.cells)}
        for row in (known[0].rows if known and panel else ())
    ]
    if not panel:
        shown += [{"key": f"new{n}", "mark": "", "cells": {}} for n in range(1, _NEW_ROWS + 1)]
    if typed is not None:
        _put_back(shown, typed, table)
    others = [name for name in table.columns if name not in _FILM and name not in table.reading]
    return visit.page(
        "rows",
        status=200 if error is None else 409,
        panel=panel,
        rows=shown,
        film=[name for name in _FILM if name in table.columns],
        reading=table.reading,
        spectral=len(table.reading) > 12,
        others=others,
        column=list(table.columns).index,
        label=_label,
        grounds=settings.grounds,
        toners=settings.toners,
        faults=[] if error is None else visit.faults(error),
        wrong={
            (str(fault.row), fault.column)
            for fault in (() if error is None else error.faults)
            if fault.row is not None
        },
    )


def _changes(form: Form, table: TypedRows) -> list[RowChange]:
    """What was typed, row by row.

    Raises
    ------
    UsageError
        A pasted spectrum has another number of values than there are wavelengths, or the form is
        not one of the board's.
    """
    changes, faults = [], []
    for key in list(dict.fromkeys(form.getlist("row")))[:_MOST_ROWS]:
        numbered = re.fullmatch(r"(?:new)?([0-9]{1,7})", key)
        if numbered is None:
            raise UsageError("This form is none of the board's.")
        cells = {
            name: " ".join(form[field].split())
            for index, name in enumerate(table.columns)
            if (field := f"cell-{key}-{index}") in form
        }
        pasted = form.get(f"paste-{key}", "")
        if pasted.strip():
            values = re.split(r"[;\s]+", pasted.strip())
            if len(values) == len(table.reading):
                cells |= dict(zip(table.reading, values, strict=True))
            else:
                faults.append(
                    Fault(
                        f"{len(values)} values were pasted for {len(table.reading)} wavelengths.",
                        fix="Paste one value for each, set apart by spaces, tabs or lines.",
                        row=None if key.startswith("new") else int(numbered[1]),
                    )
                )
        new = key.startswith("new")
        if new and not any(cells.get(name) for name in (*table.reading, "coats", "blend")):
            continue
        changes.append(
            RowChange(
                None if new else int(numbered[1]),
                form.get(f"mark-{key}", ""),
                cells,
                remove=form.get(f"remove-{key}") == "yes",
            )
        )
    if faults:
        raise UsageError(*faults)
    return changes


def _put_back(shown: list[dict[str, Any]], typed: Form, table: TypedRows) -> None:
    """Show what was typed, not what stands in the file: nothing that was typed is lost."""
    for row in shown:
        row["cells"] = {
            name: typed.get(f"cell-{row['key']}-{index}", row["cells"].get(name, ""))
            for index, name in enumerate(table.columns)
        }


def _panels(table: TypedRows) -> list[Panel]:
    panels: dict[str, Panel] = {}
    for row in table.rows:
        name = row.cells.get("panel", "")
        panels.setdefault(name, Panel(name)).rows.append(row)
    return list(panels.values())


def _label(column: str) -> str:
    """A column as a person says it: ``L* under A/10``, ``400 nm``."""
    if column in _LABELS:
        return _LABELS[column]
    if match := re.fullmatch(r"([Lab]) (\S+)", column):
        return f"{match[1]}* under {printable(match[2])}"
    return f"{column} nm" if re.fullmatch(r"[0-9.,]+", column) else printable(column)
