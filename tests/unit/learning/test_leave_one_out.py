"""Leaving a panel out by algebra, against honest refits without it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from fewtone.colorimetry import Light, delta_e_2000, lab_from_xyz, white_point, xyz
from fewtone.learning.estimate import fit
from fewtone.learning.forward import Problem
from fewtone.learning.leave_one_out import Expectation, expectations, prediction_errors
from fewtone.learning.observations import observe
from fewtone.learning.solver import Prior, Solution, solve
from fewtone.learning.uncertainty import shared_covariance
from fewtone.model.readings import Reading, Readings
from unit.learning.shelves import D65, GRID, GROUNDS, curves_of, settings, spray

CURVES = curves_of(440.0, 530.0, 620.0)
SHELF = settings(CURVES, panel_cv=0.03)
STEPS = [(n, g, c) for n in CURVES for g in GROUNDS for c in (1, 2, 3, 4)]
LINES = [f"{name}, 6:1, {coats} coats over {ground}" for name, ground, coats in STEPS]
# Every film is off by a few per cent, as by a hand.
BUILDS = 1.0 + 0.04 * np.random.default_rng(8).standard_normal(len(LINES))
LEFT_OUT = {
    False: ("t0-white-1", "t0-silver-4", "t1-white-3", "t2-silver-1", "t2-white-4"),
    True: ("t0-white", "t1-silver", "t2-white"),
}
# The algebra follows a straight line from the full fit, a refit bends away from it: by a share of
# what is to be predicted, larger where Lab alone holds the curves less firmly and a strip is
# half of what is known of its toner, and by what the solver leaves undone.
BEND, LAB_BEND, UNDONE = 0.05, 0.3, 0.02
# A strip read as Lab is half of what is known of its toner: there the line is followed far.
LAB_STRIP_BEND = 0.60
# Of what is taken as known [1].
KNOWN = 1e-7


def sprayed(lights: Sequence[Light], strips: bool) -> Readings:
    """Return the shelf's readings: each step a panel of its own, or strips."""
    panels = [f"{n}-{g}" if strips else f"{n}-{g}-{c}" for n, g, c in STEPS]
    return spray(
        CURVES,
        list(zip(panels, LINES, strict=True)),
        lights=lights,
        builds=[float(build) for build in BUILDS],
    )


def algebra(readings: Readings) -> tuple[Problem, Prior, Solution, list[Expectation]]:
    """Fit all panels together, and take each out again."""
    problem, prior, solution = fit(SHELF, observe(SHELF, readings))
    # The solver holds index, edge loss and thinning, so a refit does: here they are taken as known.
    for place in problem.layout.held:
        prior.precision[place, place] = 1.0 / KNOWN**2
    covariance = shared_covariance(problem, prior, solution.at, solution.weights)
    expected = expectations(problem, solution.at, covariance, solution.weights)
    return problem, prior, solution, expected


def lab_read(item: Reading) -> tuple[float, float, float]:
    """Return the Lab of a reading under D65."""
    if item.reflectance is None:
        assert item.lab
        return item.lab[D65]
    lab = lab_from_xyz(xyz(item.reflectance, GRID, D65), white_point(D65))
    return float(lab[0]), float(lab[1]), float(lab[2])


@pytest.mark.parametrize("strips", [False, True])
@pytest.mark.parametrize("lights", [(), (D65,)])
def test_taking_a_panel_out_is_what_a_refit_says(lights: Sequence[Light], strips: bool) -> None:
    """The left-out error of a panel is that of curves learnt without it, hand and film as found."""
    readings = sprayed(lights, strips)
    problem, prior, solution, expected = algebra(readings)
    off = prediction_errors(problem, expected, D65)[:, 1 if lights else 0]
    for panel in LEFT_OUT[strips]:
        weights = solution.weights.copy()
        weights[problem.seen.panels.index(panel)] = 0.0
        at = solve(problem, prior, solution.at, weights=weights).at
        meant = replace(at, log_build=0.0 * at.log_build, log_gain=0.0 * at.log_gain)
        rows = [row for row, item in enumerate(readings.items) if item.panel == panel]
        found = lab_from_xyz(xyz(problem.reflectance(meant)[rows], GRID, D65), white_point(D65))
        read = [lab_read(readings.items[row]) for row in rows]
        honest = delta_e_2000(found, np.array(read))
        bend = (LAB_STRIP_BEND if strips else LAB_BEND) if lights else BEND
        assert off[rows] == pytest.approx(honest, rel=bend, abs=UNDONE)
