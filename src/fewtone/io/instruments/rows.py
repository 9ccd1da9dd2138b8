"""Which row of readings.csv a sample's name means.

``P014``         panel P014, where one of its steps has no reading yet, or it has one step only
``P014 3``       of panel P014 the step of 3 coats; ``P014 3 coats`` is the same
a recipe line    no row that is there: a new one

Names match whatever their capitals and however wide their spaces.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from fewtone.errors import Fault, FewtoneError
from fewtone.io.readings import ReadingColumns
from fewtone.io.table import Row, Table
from fewtone.model.blend import exact_number
from fewtone.model.names import nearest
from fewtone.model.numbers import decimal_from
from fewtone.model.recipe import Recipe, parse, parse_blend
from fewtone.model.shelf import ShelfSettings

__all__ = ["Rows", "panel_of"]

_MEANT_AS_RECIPE = re.compile(r"\bover\b|\d\s*:\s*1\b")
_STEP = re.compile(r"(.+?)\s+(\d+(?:[.,]\d+)?)(?:\s*coats?)?", re.IGNORECASE)


def panel_of(row: Row) -> str:
    """The panel of a row, white space as single spaces."""
    return " ".join(row.text("panel").split())


@dataclass(frozen=True, slots=True)
class Rows:
    """The rows of readings.csv, found by names.

    Parameters
    ----------
    table
        The file.
    settings
        What the shelf's shelf.toml says.
    columns
        Which of the file's hold readings.
    """

    table: Table
    settings: ShelfSettings
    columns: ReadingColumns

    def of(self, name: str) -> list[Row] | Recipe | None:
        """The rows of the one step that a name means, or the recipe that it is; None if neither.

        Parameters
        ----------
        name
            A sample's name: a panel's, with or without its coats, or a recipe line.

        Raises
        ------
        FewtoneError
            It means more than one step, a step that is not there, or no recipe of this shelf.
        """
        rows = self.named(name)
        return self._one_step(name, rows) if rows else self._recipe(name)

    def suggest(self, name: str) -> str:
        """A panel whose name is like this one, as `` (perhaps P014)``; else nothing.

        Parameters
        ----------
        name
            A sample's name that is no panel's.
        """
        close = nearest(name, {panel_of(row) for row in self.table.rows}, like=0.75)
        return f" (perhaps {close})" if close else ""

    def named(self, name: str) -> list[Row]:
        """The rows of a panel, or those of one step of it; none if no panel has the name.

        Parameters
        ----------
        name
            A panel's name, or a panel's name and a number of coats.
        """
        if rows := self._of_panel(name):
            return rows
        match = _STEP.fullmatch(name)
        coats = decimal_from(match[2]) if match else None
        if match is None or coats is None:
            return []
        rows = self._of_panel(match[1])
        return [row for row in rows if decimal_from(row.text("coats")) == coats]

    def holding(self, recipe: Recipe) -> list[Row]:
        """The rows of a recipe."""
        return [row for row in self.table.rows if self._recipe_of(row) == recipe]

    def waits(self, row: Row) -> bool:
        """Whether a row has no reading yet."""
        return not any(row.text(column) for column in self.columns.reading)

    def _of_panel(self, name: str) -> list[Row]:
        wanted = name.casefold()
        return [row for row in self.table.rows if panel_of(row).casefold() == wanted]

    def _one_step(self, name: str, rows: list[Row]) -> list[Row]:
        steps = {_step(row) for row in rows}
        waiting = {_step(row) for row in rows if self.waits(row)}
        if len(steps) > 1 and len(waiting) == 1:
            steps = waiting
        if len(steps) == 1:
            return [row for row in rows if _step(row) in steps]
        panel = panel_of(rows[0])
        coats = list(dict.fromkeys(row.text("coats") for row in rows))
        raise FewtoneError(
            Fault(
                f"Sample '{name}': the panel has several steps in readings.csv "
                f"({', '.join(coats)} coats), and the name does not say which.",
                fix=f"Name the sample by panel and coats, such as '{panel} {coats[-1]}'.",
                value=name,
            )
        )

    def _recipe(self, name: str) -> Recipe | None:
        """The recipe that a name is; a fault where it is none of this shelf's."""
        step = _STEP.fullmatch(name)
        if step and self._of_panel(step[1]):
            raise FewtoneError(
                Fault(
                    f"Sample '{name}': readings.csv has no step of {step[2]} coats on this panel.",
                    fix="Add its row to readings.csv, or correct the sample's name.",
                    value=name,
                )
            )
        try:
            return parse(name, self.settings.toner_names, self.settings.ground_names)
        except FewtoneError as error:
            if not _MEANT_AS_RECIPE.search(name):
                return None
            prefix = f"Sample '{name}': "
            raise FewtoneError(
                *(replace(fault, message=f"{prefix}{fault.message}") for fault in error.faults)
            ) from None

    def _recipe_of(self, row: Row) -> Recipe | None:
        medium, coats = (decimal_from(row.text(name)) for name in ("medium_parts", "coats"))
        if medium is None or coats is None:
            return None
        try:
            blend = parse_blend(row.text("blend"), self.settings.toner_names)
        except FewtoneError:
            return None
        ground = self.settings.ground_names.find(row.text("ground"))
        if ground is None:
            return None
        return Recipe(blend, exact_number(medium), exact_number(coats), ground)


def _step(row: Row) -> tuple[str, ...]:
    """What makes rows of a panel readings of the same thing."""
    coats = decimal_from(row.text("coats"))
    if coats == 0:
        return row.text("ground"), "0"
    cells = [row.text(name) for name in ("ground", "blend", "medium_parts")]
    return *cells, row.text("coats") if coats is None else f"{coats.normalize():f}"
