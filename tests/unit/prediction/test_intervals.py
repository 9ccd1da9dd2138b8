"""Intervals of predicted colours."""

from __future__ import annotations

import numpy as np
import pytest

from fewtone.model.recipe import parse
from fewtone.prediction.recipes import predict
from fewtone.prediction.uncertainty import interval_half_width
from invented import invented_shelf

DRAWS, SAMPLING = 400_000, 0.003


@pytest.mark.parametrize("share", [0.5, 0.68, 0.95, 0.99])
def test_an_interval_holds_its_share_of_draws(share: float) -> None:
    """Of draws of Student's t with 6 degrees of freedom and unit variance."""
    draws = np.random.default_rng(7).standard_t(6, DRAWS)
    within = np.abs(draws) < interval_half_width(share) * np.sqrt(6 / 4)
    assert within.mean() == pytest.approx(share, abs=SAMPLING)


def test_intervals_lie_about_the_prediction() -> None:
    """As many standard deviations to either side, and none where learning carries none."""
    curves, shelf = invented_shelf(7, 4, 2, unsure=0.01)
    recipe = parse("3 toner-00 + 2 toner-02, 6:1, 3 coats over white")
    found = predict(curves, [recipe], shelf.measurement.light, deviations=True)
    ends = found.lab_interval(0.95)
    assert ends is not None
    assert found.lab_sd is not None
    assert 0.5 * (ends[0] + ends[1]) == pytest.approx(found.lab, rel=1e-12)
    assert ends[1] - ends[0] == pytest.approx(2 * 1.998 * found.lab_sd, rel=1e-3)
    assert predict(curves, [recipe], shelf.measurement.light).lab_interval() is None


@pytest.mark.parametrize("share", [0.0, 1.0, float("nan")])
def test_no_interval_holds_nothing_or_all(share: float) -> None:
    """A share is between 0 and 1."""
    with pytest.raises(ValueError, match="between 0 and 1"):
        interval_half_width(share)
