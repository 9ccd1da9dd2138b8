"""One bad panel neither bends the curves nor has to be left out by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fewtone.learning import estimate
from fewtone.learning.estimate import fit
from fewtone.learning.observations import observe
from fewtone.learning.solver import solve
from fewtone.model.curves import Curves
from fewtone.model.readings import Readings
from unit.learning.shelves import CURVES_OF_FOUR, GROUNDS, settings, spray

SETTINGS = settings(CURVES_OF_FOUR)
LINES = [
    (f"{name}-{ground}-{c}", f"{name}, 6:1, {c} coats over {ground}")
    for name in CURVES_OF_FOUR
    for ground in GROUNDS
    for c in (1, 2, 3, 4, 6)
]
BAD = "t1-white-3"
# Without robust weights the bad panel moves its toner's curve by so many times as much.
LESS_BENT = 0.25


def _readings(*, spoilt: bool) -> Readings:
    """Read every panel with a little noise; the bad one under dust, that hides half its colour."""
    rng = np.random.default_rng(3)
    builds = np.exp(0.04 * rng.standard_normal(len(LINES)))
    found = spray(CURVES_OF_FOUR, LINES, builds=builds.tolist())
    items = []
    for item in found.items:
        assert item.reflectance is not None
        relative, absolute = rng.standard_normal((2, item.reflectance.size))
        read = item.reflectance * (1.0 + 0.002 * relative) + 0.0005 * absolute
        if spoilt and item.panel == BAD:
            read = 0.5 * read + 0.3
        items.append(replace(item, reflectance=read))
    return Readings(tuple(items), found.wavelength_nm)


def _bent(curves: Curves, other: Curves) -> float:
    """How far the bad panel's toner was moved, root mean square on the log where it absorbs."""
    one, two = curves.absorption[1], other.absorption[1]
    strong = one > 0.2 * one.max()
    return float(np.sqrt((np.log(two / one)[strong] ** 2).mean()))


@pytest.mark.trial
def test_a_bad_panel_counts_for_little_and_bends_little() -> None:
    """It gets a small weight, all others a full one, and is named; the curves stay."""
    good, bad = (estimate(SETTINGS, _readings(spoilt=spoilt)) for spoilt in (False, True))
    assert [suspect.panel for suspect in bad.report.suspects] == [BAD]
    assert any(BAD in caution for caution in bad.report.cautions)
    problem, prior, solution = fit(SETTINGS, observe(SETTINGS, _readings(spoilt=True)))
    place = problem.seen.panels.index(BAD)
    assert solution.weights[place] < 0.1
    assert np.delete(solution.weights, place) == pytest.approx(1.0, abs=0.3)
    evenly = solve(problem, prior, solution.at).at
    plain = replace(bad.curves, absorption=evenly.absorption)
    assert _bent(good.curves, bad.curves) < LESS_BENT * _bent(good.curves, plain)


def test_good_panels_count_in_full() -> None:
    """Noise and hand as stated: hardly a panel is beyond three standard deviations, none by far."""
    _, _, solution = fit(SETTINGS, observe(SETTINGS, _readings(spoilt=False)))
    assert solution.weights.min() > 0.8
    assert np.mean(solution.weights == 1.0) > 0.9
