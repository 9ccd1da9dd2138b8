"""A panel that may have been read before it was cleared, where the film is beyond all tables."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fewtone.learning.diagnosis.uncleared import uncleared
from fewtone.learning.estimate import fit
from fewtone.learning.observations import observe
from unit.learning.shelves import curves_of, settings, spray

# Optical depths of a standard coat: so black that no light comes back, and milky.
BLACK, MILKY = 3000.0, 10.0


def test_a_film_beyond_all_tables_of_haze_is_explained_by_numbers() -> None:
    """What nobody can tell of it is bounded: no overflow, and readings between nothing and all."""
    curves = curves_of(440.0, 530.0)
    lines = [
        (f"{name}-{c}", f"{name}, 6:1, {c} coats over white") for name in curves for c in (1, 4)
    ]
    shelf, readings = settings(curves), spray(curves, lines)
    problem, _, solution = fit(shelf, observe(shelf, readings))
    at = replace(solution.at, hazy=np.ones(2, dtype=np.bool_), shared=solution.at.shared.copy())
    at.shared[at.layout.toner(0)[-3:]] = np.log(BLACK)
    at.shared[at.layout.haze(0)[0]] = np.log(MILKY)
    panel = [item for item in readings.items if item.panel == lines[1][0]]
    explained = list(uncleared(panel, problem, at, readings.wavelength_nm))
    assert explained
    for hypothesis in explained:
        for item in hypothesis.items:
            assert item.reflectance is not None
            assert np.all(np.isfinite(item.reflectance))
