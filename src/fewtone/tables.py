"""Tables for those who want them: rows as a pandas DataFrame, imported when asked for."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["data_frame", "lab_columns"]


def lab_columns(lab: Iterable[float]) -> dict[str, float]:
    """Return CIELAB, `lab` of shape ``(3,)``, as the columns ``L``, ``a`` and ``b``."""
    lightness, a, b = (float(value) for value in lab)
    return {"L": lightness, "a": a, "b": b}


def data_frame(rows: Iterable[Mapping[str, Any]]) -> pd.DataFrame:
    """Return `rows` as a DataFrame; columns stand in the order in which they first occur."""
    import pandas as pd

    listed = [dict(row) for row in rows]
    columns = list(dict.fromkeys(name for row in listed for name in row))
    return pd.DataFrame(listed, columns=columns)
