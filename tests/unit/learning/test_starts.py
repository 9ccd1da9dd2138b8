"""A toner that Labs alone tell of comes out of a wrong curve that its readings nearly allow."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fewtone.learning.estimate import fit
from fewtone.learning.observations import narrow, observe
from fewtone.learning.parameters import blank, shared_prior
from fewtone.learning.priors import dye_library
from fewtone.learning.solver import solve
from fewtone.learning.starts import last_look
from unit.learning.shelves import CURVES_OF_FOUR, D65, GRID, settings, spray

SHELF = settings(CURVES_OF_FOUR)
LINES = [
    (f"{name}-{ground}-{coats}", f"{name}, 6:1, {coats} coats over {ground}")
    for name in CURVES_OF_FOUR
    for ground in ("white", "silver")
    for coats in (1, 2, 3, 4, 6)
]


# A library dye from which toner 2 runs into a wrong curve, and how much more that costs at least.
TONER, DYE, COSTS_MORE = 2, 900, 30.0
SAME_COST, SAME_CURVE = 1e-3, 0.01


def test_last_look_leaves_a_wrong_curve() -> None:
    """From a curve that is a minimum of its own, a fit comes back to the one it found at first."""
    readings = spray(CURVES_OF_FOUR, LINES, lights=[D65])
    problem, prior, drawn = fit(SHELF, observe(SHELF, readings))
    # The prior over all dyes, before it was drawn to those that are likely.
    mean, precision = shared_prior(problem.layout, GRID)
    prior = replace(prior, mean=mean, precision=precision)
    right = solve(problem, prior, drawn.at, most_iterations=100)
    assert last_look(problem, right.at) is None
    dye = np.log(dye_library(GRID)[DYE])
    wrong = solve(problem, prior, right.at.with_toner(TONER, dye), most_iterations=100)
    assert wrong.converged
    assert wrong.cost > right.cost + COSTS_MORE
    better = last_look(problem, wrong.at)
    assert better is not None
    again = solve(problem, prior, better)
    assert abs(again.cost - right.cost) < SAME_COST
    assert np.allclose(again.at.absorption, right.at.absorption, rtol=SAME_CURVE)


def test_last_look_has_nothing_to_do_with_spectra() -> None:
    """A toner that was read as spectra has one curve."""
    problem, _, solution = fit(SHELF, observe(SHELF, spray(CURVES_OF_FOUR, LINES)))
    other = CURVES_OF_FOUR["t0"]
    assert last_look(problem, solution.at.with_toner(TONER, np.log(other))) is None


def test_a_ground_without_its_bare_reading_has_a_start() -> None:
    """Where a ground's only bare panel is judged by all others its prior is that of a grey one."""
    seen = observe(SHELF, spray(CURVES_OF_FOUR, LINES, lights=[D65]))
    films = narrow(seen, np.flatnonzero(seen.is_film), tuple(range(len(seen.toners))))
    assert np.isfinite(blank(films).shared).all()
