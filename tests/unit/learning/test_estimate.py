"""The joint estimate on exact readings."""

from __future__ import annotations

import numpy as np
import pytest

from fewtone.colorimetry import Light, delta_e_2000, lab_from_xyz, white_point, xyz
from fewtone.learning import estimate
from fewtone.model.recipe import parse
from fewtone.prediction.recipes import predict
from fewtone.typing import FloatArray
from unit.learning.shelves import D65, GRID, GROUNDS, curves_of, film, settings, spray

CURVES = curves_of(440.0, 530.0, 620.0)
LINES = [
    (f"{name}-{ground}-{coats}", f"{name}, 6:1, {coats} coats over {ground}")
    for name in CURVES
    for ground in GROUNDS
    for coats in (1, 2, 3, 4)
]
UNSEEN = [
    "2 t0 + 1 t1, 4:1, 3 coats over white",
    "1 t0 + 3 t2, 6:1, 5 coats over silver",
    "1 t0 + 1 t1 + 1 t2, 8:1, 4 coats over silver",
]
# Exact spectra leave nothing to the prior but what no colour shows.
SPECTRAL_TOLERANCE = 0.02
# Three numbers a panel leave the prior to fill in the spectrum: half the smallest visible step.
LAB_TOLERANCE = 0.5


def _off(lights: list[Light]) -> FloatArray:
    learnt = estimate(settings(CURVES), spray(CURVES, LINES, lights=lights))
    found = predict(learnt.curves, [parse(line) for line in UNSEEN], D65).lab
    true = np.stack([film(CURVES, line) for line in UNSEEN])
    return delta_e_2000(found, lab_from_xyz(xyz(true, GRID, D65), white_point(D65)))


def test_exact_spectra_predict_unseen_blends() -> None:
    """Toners learnt alone over two grounds predict blends that were never sprayed."""
    assert _off([]).max() < SPECTRAL_TOLERANCE


@pytest.mark.parametrize("lights", [[D65], [D65, Light("A", 10)]])
def test_exact_labs_predict_unseen_blends(lights: list[Light]) -> None:
    """Lab alone, under one light or two, predicts blends that were never sprayed."""
    assert _off(lights).max() < LAB_TOLERANCE


def test_a_blend_teaches() -> None:
    """A toner that was only ever sprayed in blends is learnt from them."""
    lines = [(p, line) for p, line in LINES if not line.startswith("t2")]
    lines += [(f"b{c}", f"1 t0 + 1 t2, 6:1, {c} coats over white") for c in (1, 2, 3, 4)]
    learnt = estimate(settings(CURVES), spray(CURVES, lines))
    row = learnt.curves.toners.index("t2")
    strong = CURVES["t2"] > 0.5
    # The t0 in the blend hides little of t2's band; 2 % is the film build's own uncertainty.
    assert learnt.curves.absorption[row][strong] == pytest.approx(CURVES["t2"][strong], rel=0.02)


def test_a_heavy_strip_is_recognised() -> None:
    """Of two strips, one 8 % heavy, the estimate lies between: the hand is shared by its steps."""
    lines = [
        (ground, f"t1, 6:1, {coats} coats over {ground}")
        for ground in GROUNDS
        for coats in (1, 2, 3, 4)
    ]
    builds = [1.08] * 4 + [1.0] * 4
    learnt = estimate(settings(["t1"]), spray(CURVES, lines, builds=builds))
    strength = learnt.curves.absorption[0].max() / CURVES["t1"].max()
    assert 1.02 < strength < 1.06


def test_the_report_counts() -> None:
    """The report says how many readings a toner has, where it peaks, and which were left out."""
    learnt = estimate(settings([*CURVES, "t9"]), spray(CURVES, LINES), leave_out=["t0-white-1"])
    report = learnt.report
    assert report.toners["t0"].readings == 7
    assert report.toners["t1"].readings == 8
    assert report.toners["t1"].peak_nm == 530.0
    assert report.toners["t1"].median_de00 < SPECTRAL_TOLERANCE
    assert report.left_out == ("t0-white-1",)
    assert report.not_learnt == ("t9",)
    assert report.converged
