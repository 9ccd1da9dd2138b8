"""Uncertainty as directions of deviation."""

from __future__ import annotations

import numpy as np

from fewtone.learning.observations import observe
from fewtone.learning.parameters import blank
from fewtone.learning.uncertainty import Unfollowed, uncertainty_of
from unit.learning.shelves import curves_of, settings, spray

# A shop that sprays one number of coats at one letdown only: no film departs from the usual.
ONE_FILM = (0.0, 0.0)
# Standard deviation given to every unknown, half of its variance common to all.
SD = 0.1
# Far below it, and far above what rounding makes of it.
ROUNDING = 1e-3


def test_what_lies_in_the_dark_does_not_deviate() -> None:
    """A band so strong that no light comes back deviates by no more than it was said to."""
    curves = curves_of(440.0, 530.0)
    lines = [
        (f"{name}-{c}", f"{name}, 6:1, {c} coats over white") for name in curves for c in (1, 4)
    ]
    at = blank(observe(settings(curves), spray(curves, lines)))
    at.shared[at.layout.toner(0)[:9]] = np.log(np.linspace(20.0, 700.0, 9))
    size = at.layout.size
    covariance = SD**2 * 0.5 * (np.eye(size) + np.ones((size, size)))
    nothing = Unfollowed(0.0, np.zeros(at.layout.n_toners), 0.0)
    certainty = uncertainty_of(at, covariance, nothing, ONE_FILM)
    relative = np.sqrt((certainty.absorption**2).sum(axis=0)) / at.absorption
    assert relative.max() < SD * (1.0 + ROUNDING)
    assert relative.max() > 0.5 * SD
