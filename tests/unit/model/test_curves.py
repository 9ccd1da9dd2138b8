"""Curves of bottles of another strength."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fewtone import Light, parse
from fewtone.model.uncertainty import Uncertainty
from fewtone.prediction.recipes import predict
from invented import invented_shelf

ROUNDING = 1e-12


def test_a_stronger_bottle_is_more_of_it() -> None:
    """Absorption and scattering alike: 1.25 times as strong is a quarter more coats."""
    curves, _ = invented_shelf(3, 4, 3, hazy=2)
    name, other = curves.toners[:2]
    strong = curves.with_strengths({name: 1.25, "nobody": 3.0})
    found = predict(strong, [parse(f"{name}, 6:1, 4 coats over silver")], Light("D65", 10)).lab
    more = predict(curves, [parse(f"{name}, 6:1, 5 coats over silver")], Light("D65", 10)).lab
    np.testing.assert_allclose(found, more, atol=ROUNDING)
    np.testing.assert_array_equal(strong.absorption[1:], curves.absorption[1:])
    assert curves.with_strengths({other: 1.0}) is curves


def test_what_it_may_be_off_by_grows_with_it() -> None:
    """The deviations of its curves keep their share of them; the grounds' stay."""
    curves, _ = invented_shelf(3, 4, 3, hazy=2)
    sure = Uncertainty(
        absorption=0.02 * curves.absorption[np.newaxis],
        scattering=0.05 * curves.scattering[np.newaxis],
        ground_reflectance=0.01 * curves.ground_reflectance[np.newaxis],
        return_ratio=0.02 * curves.return_ratio[np.newaxis],
        model_sd=0.06,
    )
    strong = replace(curves, uncertainty=sure).with_strengths({curves.toners[0]: 0.8})
    assert strong.uncertainty is not None
    np.testing.assert_allclose(strong.uncertainty.absorption[0], 0.02 * strong.absorption)
    np.testing.assert_allclose(strong.uncertainty.scattering[0], 0.05 * strong.scattering)
    np.testing.assert_array_equal(strong.uncertainty.ground_reflectance, sure.ground_reflectance)
    assert strong.uncertainty.model_sd == sure.model_sd
