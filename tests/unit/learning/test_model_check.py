"""One factor for all certainty, found from panels that miss what the others say of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from fewtone.colorimetry import Light
from fewtone.learning.estimate import fit
from fewtone.learning.hyperparameters import doubted_hand
from fewtone.learning.leave_one_out import Expectation, expectations
from fewtone.learning.model_check import uncertainty_factor
from fewtone.learning.observations import observe
from fewtone.learning.uncertainty import shared_covariance
from unit.learning.shelves import D65, GROUNDS, curves_of, settings, spray

CURVES = curves_of(440.0, 530.0, 620.0)
SHELF = settings(CURVES, panel_cv=0.03)
STEPS = [(n, g, c) for n in CURVES for g in GROUNDS for c in (1, 2, 3, 4)]
TIMES = 3.0
# As Student's t has a 95 % interval from 5 panels and from many (any table of it): 2.571 and 1.960.
FIVE = 2.571 / 1.960


@pytest.mark.parametrize("lights", [(), (D65,)], ids=["spectral", "Lab"])
def test_factor_is_found(lights: Sequence[Light]) -> None:
    """Misses drawn as told leave certainty alone; drawn thrice as unsure they widen it."""
    rng = np.random.default_rng(3)
    lines = [(f"{n}-{g}-{c}", f"{n}, 6:1, {c} coats over {g}") for n, g, c in STEPS]
    builds = np.exp(0.03 * rng.standard_normal(len(lines))).tolist()
    readings = spray(CURVES, lines, lights=lights, builds=builds)
    problem, prior, solution = fit(SHELF, observe(SHELF, readings))
    covariance = shared_covariance(problem, prior, solution.at, solution.weights)
    expected = expectations(problem, solution.at, covariance)

    def drawn(one: Expectation, times: float) -> Expectation:
        spread = one.covariance + (times**2 - 1.0) * one.unsure
        roots = np.linalg.cholesky(spread)
        noise = rng.standard_normal((*one.residual.shape, 1))
        return replace(one, residual=(roots @ noise)[..., 0])

    counted = np.ones(len(problem.seen.panels))
    found = {
        times: np.median(
            [
                uncertainty_factor(problem, [drawn(one, times) for one in expected], counted, D65)
                for _ in range(9)
            ]
        )
        for times in (1.0, TIMES)
    }
    assert found[1.0] <= 1.1
    assert 1.3 <= found[TIMES] <= TIMES
    badly = [replace(one, residual=100.0 * one.residual) for one in expected]
    assert uncertainty_factor(problem, badly, 0.0 * counted, D65) == 1.0


def test_few_strips_leave_the_hand_in_doubt() -> None:
    """Two strips a toner widen the hand, as Student's t does; sixteen do so by next to nothing."""
    wider = {}
    for strips in (2, 16):
        rng = np.random.default_rng(5)
        lines, builds = [], []
        for name in CURVES:
            for strip in range(strips):
                hand = float(np.exp(0.03 * rng.standard_normal()))
                for coats in (1, 3):
                    ground = ("white", "silver")[strip % 2]
                    lines.append((f"{name}-{strip}", f"{name}, 6:1, {coats} coats over {ground}"))
                    builds.append(hand)
        readings = spray(CURVES, lines, builds=builds)
        problem, prior, solution = fit(SHELF, observe(SHELF, readings))
        doubted = doubted_hand(problem, prior, solution, SHELF.mixing)
        wider[strips] = doubted.panel_cv / problem.mixing.panel_cv
        assert doubted.coat_cv == problem.mixing.coat_cv
    assert 1.1 < wider[2] < FIVE
    assert 1.0 < wider[16] < 1.1
