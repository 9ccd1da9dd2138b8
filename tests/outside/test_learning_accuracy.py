"""How well learnt shelves predict blends that were never sprayed, by the independent booth."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import pytest

from outside.learning_trials import SETS, pooled, strip_floor

pytestmark = pytest.mark.trial

# Three seeds here; the script in learning_trials.py pools more.
SEEDS = (1, 2, 3)
# Five panels that `learn` suggested must take off at least a fifth of what nine blends in ten miss.
SUGGESTED, WITHOUT = "Lab and the five suggested", "Lab"
WORTH_SPRAYING = 0.8


@pytest.mark.parametrize("name", list(SETS))
def test_unseen_blends(name: str, report_figure: Callable[[str], None]) -> None:
    """Learnt from single toners over two grounds, blends over four come out as they must."""
    median, p90 = _pooled(name)
    report_figure(f"learning, {name}: ΔE00 median {median:.3f}, 90 % {p90:.3f}")
    if SETS[name].strips:
        floor = strip_floor(SEEDS)
        report_figure(f"learning, {name}: the floor {floor[0]:.3f} and {floor[1]:.3f}")
    must = SETS[name].must
    assert (median <= must[0], p90 <= must[1]) == (True, True)


def test_suggested_panels_are_worth_spraying() -> None:
    """The panels that `learn` suggests bring the p90 down, and both by more than random blends."""
    median, p90 = _pooled(SUGGESTED)
    assert p90 <= WORTH_SPRAYING * _pooled(WITHOUT)[1]
    by_chance = _pooled("Lab and five random panels")
    assert (median < by_chance[0], p90 < by_chance[1]) == (True, True)


@cache
def _pooled(name: str) -> tuple[float, float]:
    return pooled(SETS[name], SEEDS)
