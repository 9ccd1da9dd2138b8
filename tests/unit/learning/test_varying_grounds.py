"""Grounds that differ from panel to panel are told from panels that lie differently."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fewtone.learning.estimate import fit
from fewtone.learning.observations import observe
from fewtone.model.readings import Readings
from fewtone.model.recipe import parse
from fewtone.optics.film import FilmOptics
from unit.learning.shelves import GRID, GROUNDS, TRAP, curves_of, settings, spray

CURVES = curves_of(480.0, 580.0)
SETTINGS = settings(CURVES)
OPTICS = FilmOptics(SETTINGS.measurement.geometry)
LINES = [
    f"{name}, 6:1, {c} coats over {ground}"
    for name in CURVES
    for ground in GROUNDS
    for c in (1, 2, 3, 4, 6)
]


def _readings(of_ground: float, of_reading: float) -> Readings:
    """Read panels whose grounds, and whose whole readings, vary by so much."""
    rng = np.random.default_rng(7)
    found = spray(CURVES, [(line, line) for line in LINES])
    items = []
    for item in found.items:
        ground, reading, build = np.exp(
            np.array([of_ground, of_reading, 0.03]) * rng.standard_normal(3)
        )
        tau = np.zeros(GRID.size)
        if not item.is_bare:
            recipe = parse(item.panel)
            for name, share in recipe.blend.fractions.items():
                tau = tau + build * float(recipe.load * share) * CURVES[name]
        rho, ratio = GROUNDS[item.ground] * ground, TRAP[item.ground]
        relative, absolute = rng.standard_normal((2, tau.size))
        read = OPTICS.reflectance(tau, rho, ratio) * reading
        read = read * (1.0 + 0.002 * relative) + 0.0005 * absolute
        items.append(replace(item, reflectance=read))
    return Readings(tuple(items), found.wavelength_nm)


@pytest.mark.parametrize("by_ground", [False, True])
def test_what_varies_is_told(by_ground: bool) -> None:
    """What varies by 4 % is found as what it is, and by about so much."""
    readings = _readings(0.04, 0.0) if by_ground else _readings(0.0, 0.04)
    problem, _, solution = fit(SETTINGS, observe(SETTINGS, readings))
    assert problem.by_ground is by_ground
    # Ten panels of either kind tell a variation to a quarter.
    assert problem.ground_cv == pytest.approx((0.04, 0.04), rel=0.6)
    # No good panel passes for a bad one, and no clear toner for one that scatters.
    assert not solution.at.hazy.any()
    assert np.mean(solution.weights == 1.0) > 0.9
    assert solution.weights.min() > 0.7


def test_steady_panels_have_gains_of_readings() -> None:
    """Where hardly anything varies nothing is decided."""
    problem, _, _ = fit(SETTINGS, observe(SETTINGS, _readings(0.0, 0.0)))
    assert not problem.by_ground
    assert max(problem.ground_cv) < 0.01
