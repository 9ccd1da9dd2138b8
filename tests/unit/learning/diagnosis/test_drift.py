"""An instrument whose white or black moves along the rows is told; a steady one is not."""

from __future__ import annotations

import importlib
from dataclasses import replace

import numpy as np
import pytest

from fewtone.learning.diagnosis.drift import drifts
from fewtone.learning.observations import observe
from fewtone.learning.uncertainty import shared_covariance
from unit.learning.shelves import curves_of, settings, spray

fit = importlib.import_module("fewtone.learning.estimate").fit
CURVES = curves_of(450.0, 530.0, 600.0)
LINES = [
    (f"{toner}-{ground}-{coats}", f"{toner}, 6:1, {coats} coats over {ground}")
    for coats in (1, 2, 4)
    for toner in CURVES
    for ground in ("white", "silver")
]


@pytest.mark.parametrize(("kind", "size"), [("white", 0.05), ("black", 0.01), ("", 0.0)])
def test_a_drift_is_named_with_its_size(kind: str, size: float) -> None:
    """Curves and a constant black take up a part of what the readings were changed by."""
    readings = spray(CURVES, LINES)
    along = np.linspace(0.0, 1.0, len(readings.items))
    items = []
    for item, share in zip(readings.items, along, strict=True):
        assert item.reflectance is not None
        read = item.reflectance
        moved = read * (1.0 + size * share) if kind == "white" else read + size * share
        items.append(replace(item, reflectance=moved))
    shelf = settings(CURVES)
    problem, prior, solution = fit(shelf, observe(shelf, replace(readings, items=tuple(items))))
    covariance = shared_covariance(problem, prior, solution.at)
    everybody = np.ones(len(problem.seen.panels), dtype=np.bool_)
    found = drifts(problem, solution.at, covariance, everybody)
    assert [drift.kind for drift in found] == ([kind] if kind else [])
    for drift in found:
        assert 0.1 * size <= drift.change <= 1.1 * size
        assert f"instrument's {kind}" in str(drift)
