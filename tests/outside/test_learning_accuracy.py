"""How well learnt shelves predict blends that were never sprayed, by the independent booth."""

from __future__ import annotations

import pytest

from outside.learning_trials import SETS, pooled

# Three seeds here; the script in learning_trials.py pools more.
SEEDS = (1, 2, 3)


@pytest.mark.parametrize("name", list(SETS))
def test_unseen_blends(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Learnt from single toners over two grounds, blends over four grounds come out as they must.

    Sets without a bar are reported beside the others.
    """
    median, p90 = pooled(SETS[name], SEEDS)
    with capsys.disabled():
        print(f"\nlearning, {name}: ΔE00 median {median:.3f}, 90 % {p90:.3f}", end="")
    must = SETS[name].must
    if must is not None:
        assert (median <= must[0], p90 <= must[1]) == (True, True)
