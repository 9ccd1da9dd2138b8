"""How paint varies, against panels whose coats and pours are drawn one by one."""

from __future__ import annotations

import numpy as np
import pytest

from fewtone.model.shelf import Measurement, Mixing
from fewtone.model.variation import (
    film_build_covariance,
    film_build_sd,
    pour_deviations,
    repeat_variance,
    segment_covariance,
)
from fewtone.typing import FloatArray

MIXING = Mixing(panel_cv=0.05, coat_cv=0.08, pour_cv=0.02)
PANELS = 400_000
# A standard deviation counted over so many panels is known to about 1/sqrt(2 · 400,000).
COUNTED = 0.01


def films(coats: int) -> FloatArray:
    """Film after each coat of panels sprayed coat by coat [standard coats], ``(·, coats)``."""
    rng = np.random.default_rng(3)
    hand = np.exp(MIXING.panel_cv * rng.standard_normal((PANELS, 1)))
    return np.cumsum(hand * (1.0 + MIXING.coat_cv * rng.standard_normal((PANELS, coats))), axis=1)


@pytest.mark.parametrize("coats", [1, 2, 4, 6])
def test_coats_average_out_and_the_hand_does_not(coats: int) -> None:
    """A fresh panel's film varies as panels drawn coat by coat do."""
    seen = np.log(films(coats)[:, -1]).std()
    assert film_build_sd(coats, MIXING) == pytest.approx(seen, rel=COUNTED)


def test_a_film_of_less_than_a_coat_varies_as_one() -> None:
    """There is no way to spray half a coat more evenly than one."""
    assert film_build_sd(0.5, MIXING) == film_build_sd(1, MIXING)


def test_later_steps_contain_the_earlier_coats() -> None:
    """The steps of one strip vary together as far as they share coats."""
    steps = np.array([1, 2, 4])
    seen = np.cov(np.log(films(4)[:, steps - 1]), rowvar=False)
    found = film_build_covariance(steps.astype(float), MIXING)
    assert found == pytest.approx(seen, rel=2 * COUNTED)


def test_segments_add_up_to_steps() -> None:
    """The film of a step, summed from its segments, varies as the step does."""
    ends = np.array([1.0, 2.0, 4.0])
    coats = np.diff(ends, prepend=0.0)
    summed = np.tril(np.ones((3, 3))) * coats / ends[:, np.newaxis]
    of_steps = summed @ segment_covariance(coats, MIXING) @ summed.T
    # Variances of log-normal factors, where the others take the first order.
    assert of_steps == pytest.approx(film_build_covariance(ends, MIXING), rel=0.01)


def test_pours_move_shares_as_pouring_does() -> None:
    """Each component is poured off by itself: shares of the mix then vary as said."""
    rng = np.random.default_rng(5)
    volume = np.array([0.10, 0.05])
    all_of_it = np.append(volume, 1.0 - volume.sum())
    poured = all_of_it * (1.0 + MIXING.pour_cv * rng.standard_normal((PANELS, 3)))
    shares = np.log(poured[:, :2] / poured.sum(axis=1, keepdims=True))
    moved = pour_deviations(volume, MIXING)
    assert moved.T @ moved == pytest.approx(np.cov(shares, rowvar=False), rel=2 * COUNTED)


def test_an_instrument_is_not_believed_beyond_reason() -> None:
    """What it is said to repeat counts, but for a perfect one."""
    assert repeat_variance(Measurement(repeat_sd=0.1)) == pytest.approx(0.01)
    assert repeat_variance(Measurement(repeat_sd=0.0)) > 0.0
