"""Least mixes on steps: where toners go when there are many, by hand."""

from __future__ import annotations

from fractions import Fraction

import numpy as np

from fewtone.typing import FloatArray
from fewtone.workshop.pour.lines import least_on_steps


def any_will_do(volumes_ml: FloatArray) -> FloatArray:
    """No pouring moves the colour."""
    return np.zeros(len(volumes_ml))


def test_of_many_toners_each_goes_to_its_nearest_step() -> None:
    """Seven toners of 1.2 to 4.8 steps in 60, by hand; the medium takes the rest."""
    exact = (1.2, 1.6, 2.3, 2.7, 3.1, 3.9, 4.8)
    shares = {f"t{place}": Fraction(str(steps)) / 60 for place, steps in enumerate(exact)}
    shares["medium"] = 1 - sum(shares.values(), Fraction(0))

    found = least_on_steps(shares, shares, Fraction(1), Fraction(60), 0.0, any_will_do)
    assert found is not None
    assert list(found.volumes_ml.values()) == [1, 2, 2, 3, 3, 4, 5, 40]


def test_the_last_component_may_be_a_single_step() -> None:
    """Three parts and one, in four steps."""
    shares = {"toner": Fraction(3, 4), "medium": Fraction(1, 4)}
    found = least_on_steps(shares, shares, Fraction(1), Fraction(4), 0.0, any_will_do)
    assert found is not None
    assert list(found.volumes_ml.values()) == [3, 1]
