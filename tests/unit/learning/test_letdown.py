"""How strengths lean on the letdown: found where two were read, in doubt where one was."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from fewtone.io.curves import load_curves, save_curves
from fewtone.learning import Learnt, estimate
from fewtone.model.recipe import parse
from fewtone.prediction.recipes import predict
from unit.learning.shelves import D65, curves_of, settings, spray

CURVES = curves_of(440.0, 500.0, 560.0, 620.0)
SETTINGS = settings(CURVES)
PER_DOUBLING = 0.08
# An exact film, the prior's pull (5.5 % against a hand of some percent) and rounding.
NEAR = 0.012


def _learnt(letdowns: tuple[int, int], per_doubling: float) -> Learnt:
    """Learn toners stronger per part the further they are let down, as doses of 6:1 know it."""
    lines, builds = [], []
    for name in CURVES:
        for ground, m in zip(("white", "silver"), letdowns, strict=True):
            for coats in (1, 2, 3, 4, 6):
                lines.append(
                    (f"{name}-{ground}-{coats}", f"{name}, {m}:1, {coats} coats over {ground}")
                )
                builds.append(float(np.exp(per_doubling * np.log2((1 + m) / 7))))
    return estimate(SETTINGS, spray(CURVES, lines, builds=builds))


def test_two_letdowns_tell_how_strength_leans_on_it(tmp_path: Path) -> None:
    """It is found, said, followed by predictions, and kept in the file."""
    learnt = _learnt((4, 8), PER_DOUBLING)
    curves = learnt.curves
    assert curves.per_doubling == pytest.approx(PER_DOUBLING, abs=NEAR)
    save_curves(tmp_path, curves)
    assert load_curves(tmp_path).per_doubling == curves.per_doubling
    (said,) = (caution for caution in learnt.report.cautions if "letdown" in caution)
    # e^.08, e^(.08 log₂(9/7)) and e^(.08 log₂(5/7)), the strength found being a little less.
    assert "8 % more for each doubling" in said
    assert "4 % less at 4:1 and 3 % more at 8:1 beside 6:1" in said
    # 5 coats at 4:1 and 9 at 8:1 are one load; the film let down further is the stronger one.
    dark, light = predict(
        curves, [parse("t0, 8:1, 9 coats over white"), parse("t0, 4:1, 5 coats over white")], D65
    ).lab
    assert dark[0] < light[0] - 0.5


def test_as_assumed_it_stays_exactly_none() -> None:
    """Strengths that do not lean on the letdown are not bent: equal loads keep equal colours."""
    learnt = _learnt((4, 8), 0.0)
    assert learnt.curves.per_doubling == 0.0
    assert not any("letdown" in caution for caution in learnt.report.cautions)


def test_a_letdown_that_was_not_read_is_in_doubt() -> None:
    """Read at 6:1 alone, a recipe at 4:1 is less sure than at 6:1; read at both ends, not."""
    far, near = (parse(f"t0, {m}:1, {c} coats over white") for m, c in ((4, 5), (6, 7)))
    doubt, per_doubling = [], []
    for letdowns in ((6, 6), (4, 8)):
        curves = _learnt(letdowns, 0.0).curves
        assert curves.uncertainty is not None
        per_doubling.append(float(np.sqrt((curves.uncertainty.letdown[:, 0] ** 2).sum())))
        found = predict(curves, [far, near], D65, deviations=True)
        assert found.lab_sd is not None
        sd = np.linalg.norm(found.lab_sd, axis=1)
        doubt.append(sd[0] / sd[1])
    assert doubt[0] > 1.5 * doubt[1]
    # 5.5 % for all and 1.5 % for one toner are taken, 1.18 times as much is told.
    assert per_doubling[0] == pytest.approx(1.18 * np.hypot(0.055, 0.015), rel=0.01)
    assert per_doubling[1] < 0.02
