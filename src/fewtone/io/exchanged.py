"""Columns of L, a and b that were exchanged.

No L* is below 0, and a bare ground is light or grey before it is coloured: its L* is larger than
its a* and b* by far. Where a table breaks one of these and would keep them with L and another
column exchanged, the columns are named, rather than each cell that comes out impossible.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from fewtone.io.table import Row, Table
from fewtone.model.numbers import decimal_from

__all__ = ["check_exchanged"]

_LIGHTEST = 105.0  # of L*, with what an instrument may be off on white
_FEWEST = 3


def check_exchanged(
    table: Table, lights: Iterable[Sequence[str]], is_bare: Callable[[Row], bool]
) -> None:
    """Note as a fault where L and another column look exchanged.

    Parameters
    ----------
    table
        The table.
    lights
        The columns of L, a and b of each light.
    is_bare
        Whether a row is of a bare ground.
    """
    for names in lights:
        rows = [(row, values) for row in table.rows if (values := _values(row, names))]
        if len(rows) < _FEWEST:
            continue
        for position, name in enumerate(names[1:], start=1):
            other = [values[position] for _, values in rows]
            could_be_lightness = all(0 <= value <= _LIGHTEST for value in other)
            below = [row for row, values in rows if values[0] < 0]
            bare = [values for row, values in rows if is_bare(row)]
            # Twice as much and more: a strongly coloured ground alone would not do that.
            coloured = bool(bare) and all(v[position] > 2 * abs(v[0]) + 10 for v in bare)
            if could_be_lightness and (below or coloured):
                first = below[0] if below else rows[0][0]
                why = (
                    f"row {first.number} would have an L* below 0"
                    if below
                    else "the bare grounds would be coloured more than they are light"
                )
                table.fault(
                    f"The columns '{names[0]}' and '{name}' look exchanged: {why}.",
                    "Give each column the name of what stands in it.",
                    row=1,
                    column=names[0],
                )
                break


def _values(row: Row, names: Sequence[str]) -> tuple[float, ...] | None:
    numbers = [decimal_from(row.text(name)) for name in names]
    values = tuple(float(value) for value in numbers if value is not None)
    return values if len(values) == len(names) else None
