"""Whether what is said of certainty comes true in the independent booth."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from fewtone.prediction.uncertainty import interval_half_width
from outside.learning_trials import SETS
from outside.uncertainty_trials import Array, misses, passes
from shared import sized

pytestmark = pytest.mark.trial

# Single seeds spread widely: a shelf's strengths are off together.
COVERAGE_SEEDS = sized((1, 2, 3), (1, 2, 3, 4, 5, 6))
# As `new` asks for the panels: one letdown over white, another over silver, so that how strength
# leans on the letdown is told. Over brass and graphite, only read bare, they are less sure than
# this booth proves on purpose: a flake that differs from silver's reads alike.
LETDOWNS = (4, 8)
HELD_68, HELD_95 = (0.60, 0.84), (0.90, 0.99)
# Fresh panels of each recipe: 20 leave .11 on a share, which a bin of 30 recipes averages to .02.
PANELS, PASS_SEEDS = 20, (1, 2, 3)
# By how much fewer and by how much more may pass than was said.
TOO_SURE, TOO_SHY, FEWEST_IN_BIN = -0.08, 0.08, 30


def test_intervals_cover(report_figure: Callable[[str], None]) -> None:
    """68 % and 95 % intervals of Lab hold the truth about as often as they say, all sets pooled.

    Clear toners read as Lab alone are told to be less sure than they prove, over the grounds that
    were only read bare: the booth's grounds are smoother than the prior holds grounds to be.
    """
    off = []
    for name in ("spectral", "spectral, three hazy", "Lab", "Lab, three hazy"):
        off.append(np.abs(misses(replace(SETS[name], letdowns=LETDOWNS), COVERAGE_SEEDS)))
        report_figure(f"certainty, {name}: {_held(off[-1], 0.68)} {_held(off[-1], 0.95)}")
        assert HELD_95[0] <= _held(off[-1], 0.95) <= HELD_95[1]
    assert HELD_68[0] <= _held(np.array(off), 0.68) <= HELD_68[1]
    assert HELD_95[0] <= _held(np.array(off), 0.95) <= HELD_95[1]


def _held(off: Array, share: float) -> float:
    """How much the intervals hold that are to hold a share."""
    return round(float((off < interval_half_width(share)).mean()), 3)


@pytest.mark.parametrize("name", ["spectral", "Lab", "Lab, three hazy"])
def test_panels_pass_as_often_as_said(name: str, report_figure: Callable[[str], None]) -> None:
    """Fresh, noisy panels read within tolerance as often as `pass_probability` said."""
    said, seen = passes(replace(SETS[name], letdowns=LETDOWNS), PASS_SEEDS, PANELS)
    bins = np.minimum((10.0 * said).astype(int), 9)
    gaps = {}
    for place in range(10):
        here = bins == place
        if here.sum() >= FEWEST_IN_BIN:
            gaps[place] = float(seen[here].mean() - said[here].mean())
    shown = ", ".join(f"{place / 10:.1f}: {gap:+.2f}" for place, gap in gaps.items())
    report_figure(f"pass probability, {name}: seen less said by bin {shown}")
    assert len(gaps) >= 8
    assert min(gaps.values()) >= TOO_SURE
    assert max(gaps.values()) <= TOO_SHY
