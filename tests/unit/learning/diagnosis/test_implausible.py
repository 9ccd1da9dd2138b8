"""Readings that no film makes are refused with the likely cause."""

from __future__ import annotations

from dataclasses import replace
from types import MappingProxyType

import numpy as np
import pytest

from fewtone.errors import FewtoneError
from fewtone.learning.diagnosis.implausible import check_columns, check_curves
from fewtone.learning.estimate import estimate
from fewtone.learning.observations import observe
from fewtone.learning.parameters import blank
from fewtone.model.readings import Readings
from unit.learning.shelves import D65, curves_of, settings, spray

CURVES = curves_of(450.0, 530.0, 600.0)
LINES = [
    (f"{toner}-{ground}", f"{toner}, 6:1, {coats} coats over {ground}")
    for toner in CURVES
    for ground in ("white", "silver")
    for coats in (1, 2, 3, 4)
]


def labs(order: tuple[int, int, int]) -> Readings:
    """Return Lab readings whose columns stand in another order."""
    readings = spray(CURVES, LINES, lights=[D65])
    items = []
    for item in readings.items:
        assert item.lab is not None
        values = item.lab[D65]
        one, two, three = (values[k] for k in order)
        items.append(replace(item, lab=MappingProxyType({D65: (one, two, three)})))
    return replace(readings, items=tuple(items))


@pytest.mark.parametrize(("order", "other"), [((1, 0, 2), "a"), ((2, 1, 0), "b")])
def test_a_lightness_in_another_column_is_named(order: tuple[int, int, int], other: str) -> None:
    """L under a or b is refused before anything is learnt."""
    with pytest.raises(FewtoneError, match=f"L and {other} look exchanged"):
        estimate(settings(CURVES), labs(order))


def test_columns_in_order_pass() -> None:
    """Nothing is said of Labs as they should be."""
    check_columns(observe(settings(CURVES), labs((0, 1, 2))), settings(CURVES))


def test_a_curve_that_is_none_is_refused() -> None:
    """A toner ten thousand million times as strong as one is told, with its first row."""
    seen = observe(settings(CURVES), labs((0, 1, 2)))
    at = blank(seen)
    check_curves(seen, at)
    absurd = at.with_toner(1, np.full(seen.wavelength_nm.size, np.log(1e10)))
    with pytest.raises(FewtoneError, match="t1 lead to no curve") as caught:
        check_curves(seen, absurd)
    (fault,) = caught.value.faults
    row = next(item.row for item in seen.readings if "t1" in item.blend)
    assert (fault.row, fault.value) == (row, "t1")
    assert fault.fix is not None
    assert "columns exchanged" in fault.fix
