"""Keeping a reading for learning: a row more in readings.csv, and nothing else touched."""

from __future__ import annotations

import itertools
from collections.abc import Collection, Iterator, Sequence
from decimal import Decimal
from pathlib import Path

from fewtone.colorimetry import Light
from fewtone.errors import Fault, UsageError
from fewtone.io.atomic import locked, write_atomic
from fewtone.io.edit import Edit
from fewtone.io.files import read_bytes
from fewtone.io.readings import READINGS_FILE, ReadingColumns, load_readings
from fewtone.io.table import read_table
from fewtone.model.blend import Number
from fewtone.model.recipe import Recipe
from fewtone.model.shelf import ShelfSettings

__all__ = ["add_rows", "keep_readings"]

_TO_SPRAY = "suggested by learn"
_TO_READ, _TO_SPRAY_OVER = "keyed ground bare under clear", "strip over the keyed ground"
_BARE_READINGS, _LEAST_STEPS = 3, 3


def keep_readings(
    folder: Path,
    settings: ShelfSettings,
    recipe: Recipe,
    readings: Sequence[tuple[Number, tuple[float, float, float]]],
    light: Light,
    *,
    panel: str | None = None,
    date: str = "",
) -> str:
    """Append readings of one panel to a shelf's readings, whole or not at all.

    Parameters
    ----------
    folder, settings
        The shelf.
    recipe
        What the panel was sprayed with.
    readings
        Coats and CIELAB of each.
    light
        Their illuminant and observer; columns for it are added where there are none.
    panel
        The panel's id, which must be new; the next free ``kept-1``, ``kept-2`` … if None.
    date
        When it was read; left out where the file has no such column.

    Returns
    -------
    The panel's id.

    Raises
    ------
    FewtoneError
        readings.csv has faults, before or with these rows, the id is taken, or the folder cannot
        be written to. Nothing was changed.
    """
    path = folder / READINGS_FILE
    with locked(path):
        data = read_bytes(path)
        load_readings(folder, settings, data)
        table = read_table(path, data)
        panel = None if panel is None else " ".join(panel.split())
        taken = {" ".join(row.text("panel").split()).casefold() for row in table.rows}
        if panel is not None and panel.casefold() in taken:
            raise UsageError(
                Fault(
                    f"Panel {panel} stands in {READINGS_FILE} already.",
                    fix="Give the panel an id of its own.",
                    value=panel,
                )
            )
        name = panel or next(
            free for number in range(1, len(taken) + 2) if (free := f"kept-{number}") not in taken
        )
        in_shelf_light = light == settings.measurement.light
        columns = ReadingColumns.of(table, settings.measurement.light).lights.get(light)
        edit = Edit(table, data)
        if columns is None:
            columns = (
                ("L", "a", "b") if in_shelf_light else (f"L {light}", f"a {light}", f"b {light}")
            )
            edit.add_columns(columns)
        for coats, lab in readings:
            cells: dict[str, str | Decimal] = {
                "panel": name,
                "ground": recipe.ground,
                "blend": str(recipe.blend),
                "medium_parts": Decimal(recipe.medium_parts),
                "coats": Decimal(coats),
            }
            if date and "date" in table.columns:
                cells["date"] = date
            cells |= {c: Decimal(f"{v:.4f}") for c, v in zip(columns, lab, strict=True)}
            edit.append(cells)
        content = edit.content()
        load_readings(folder, settings, content)
        write_atomic(path, content)
    return name


def add_rows(
    folder: Path,
    settings: ShelfSettings,
    panels: Sequence[tuple[Recipe, Sequence[int]]],
    *,
    keyed: Recipe | None = None,
) -> tuple[tuple[str, ...], str, str]:
    """Append rows to fill in for the panels to spray; one that waits there already is not added.

    Parameters
    ----------
    folder, settings
        The shelf.
    panels
        What each is to be sprayed with, and the coats at which it is read, a row for each.
    keyed
        A recipe over a keyed ground: three bare readings of that ground, and one strip of the
        recipe over it.

    Returns
    -------
    The ids of the panels added, and the SHA-256 of the file before and after.

    Raises
    ------
    FewtoneError
        readings.csv has faults, or the folder cannot be written to. Nothing was changed.
    """
    path = folder / READINGS_FILE
    with locked(path):
        data = read_bytes(path)
        before = load_readings(folder, settings, data).digest
        table = read_table(path, data)
        read = ReadingColumns.of(table, settings.measurement.light).reading
        keys = ("ground", "blend", "medium_parts", "coats")
        waiting = {
            tuple(row.text(key) for key in keys)
            for row in table.rows
            if not any(row.text(column) for column in read)
        }
        taken = {" ".join(row.text("panel").split()).casefold() for row in table.rows}
        edit, added = Edit(table, data), dict[str, None]()
        for name, note, cells in _rows_to_add(panels, keyed, taken, waiting):
            added[name] = None
            noted = {"note": note} if "note" in table.columns else {}
            edit.append({"panel": name, **dict(zip(keys, cells, strict=True)), **noted})
        if not added:
            return (), before, before
        content = edit.content()
        after = load_readings(folder, settings, content).digest
        write_atomic(path, content)
    return tuple(added), before, after


def _rows_to_add(
    sprayed: Sequence[tuple[Recipe, Sequence[int]]],
    keyed: Recipe | None,
    taken: Collection[str],
    waiting: Collection[tuple[str, ...]],
) -> Iterator[tuple[str, str, tuple[str, ...]]]:
    """Panel, note, and the cells of ground, blend, letdown and coats, of each row not waiting."""
    panels = [
        (
            _TO_SPRAY,
            [(line.ground, str(line.blend), str(line.medium_parts), str(step)) for step in coats],
        )
        for line, coats in sprayed
    ]
    if keyed is not None:
        film = keyed.ground, str(keyed.blend), str(keyed.medium_parts)
        steps = range(1, max(int(keyed.coats), _LEAST_STEPS) + 1)
        panels.append((_TO_READ, [(keyed.ground, "", "", "0")] * _BARE_READINGS))
        panels.append((_TO_SPRAY_OVER, [(*film, str(coats)) for coats in steps]))
    numbers = (f"next-{number}" for number in itertools.count(1))
    free = (name for name in numbers if name not in taken)
    for note, rows in panels:
        left = [cells for cells in rows if cells not in waiting]
        if left:
            name = next(free)
            yield from ((name, note, cells) for cells in left)
