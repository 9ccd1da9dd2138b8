"""Keyed grounds that were read: a ground of their own, and what they tell of their parents."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fewtone.learning.estimate import estimate
from fewtone.learning.keyed import MixingLink, mixing_links
from fewtone.learning.observations import observe
from fewtone.learning.parameters import ParameterLayout, blank
from fewtone.model.blend import Blend
from fewtone.model.curves import Curves
from fewtone.model.readings import Reading, Readings
from fewtone.optics.film import FilmOptics
from fewtone.optics.opaque import mixed_ground
from fewtone.prediction.keyed import with_keyed
from fewtone.typing import FloatArray
from unit.learning.shelves import GRID, GROUNDS, TRAP, curves_of, settings, spray

CURVES = curves_of(450.0, 600.0)
LINES = [
    (f"{toner}-{ground}-{coats}", f"{toner}, 6:1, {coats} coats over {ground}")
    for toner in CURVES
    for ground in GROUNDS
    for coats in (1, 2, 4)
]
MIX, OTHER = "2 silver + 1 white", "2 white + 1 silver"
# Log strengths of white and silver that the readings are made with.
STRENGTH = {"white": 0.5, "silver": -0.3}
# One mix read against what is usual: strengths are drawn back by so much.
PULL = 0.15
# One reading of a mix hardly tells its return ratio: the law does.
AS_THE_LAW = 0.03
# One-sided differences of different steps.
DIFFERENCE = 2e-3


def _true(silver: int, white: int) -> tuple[FloatArray, float]:
    reflectance, ratio = mixed_ground(
        np.stack([GROUNDS["silver"], GROUNDS["white"]]),
        np.array([TRAP["silver"], TRAP["white"]]),
        np.array([STRENGTH["silver"], STRENGTH["white"]]),
        np.array([silver, white]) / (silver + white),
    )
    return reflectance, float(ratio)


def _with_mix(readings: Readings) -> Readings:
    optics = FilmOptics(settings(CURVES).measurement.geometry)
    bare = optics.reflectance(0.0, *_true(2, 1))
    item = Reading(99, "keyed", MIX, Blend({}), None, 0, reflectance=bare, lab={})
    return Readings((*readings.items, item), readings.wavelength_nm)


@pytest.fixture(scope="module")
def learnt() -> tuple[Curves, Curves]:
    """A shelf learnt without and with one bare reading of one mix."""
    readings = spray(CURVES, LINES)
    without, beside = (
        estimate(settings(CURVES), some).curves for some in (readings, _with_mix(readings))
    )
    return without, beside


def test_a_mix_that_is_read_bare_is_learnt_as_a_ground(learnt: tuple[Curves, Curves]) -> None:
    """Its reflectance and its flake are its own; its parents' stay."""
    without, beside = learnt
    assert without.grounds == ("white", "silver")
    assert beside.grounds == ("white", "silver", MIX)
    reflectance, ratio = _true(2, 1)
    assert beside.ground_reflectance[2] == pytest.approx(reflectance, rel=0.03)
    assert beside.return_ratio[2] == pytest.approx(ratio, abs=AS_THE_LAW)
    assert beside.ground_reflectance[:2] == pytest.approx(without.ground_reflectance, rel=2e-3)


def test_one_mix_tells_how_strong_its_parents_are_in_another(
    learnt: tuple[Curves, Curves],
) -> None:
    """The difference of strengths is found, and a mix that nobody read comes out as it is."""
    without, beside = learnt
    found = dict(zip(beside.grounds, beside.key_strength, strict=True))
    apart = STRENGTH["white"] - STRENGTH["silver"]
    assert found["white"] - found["silver"] == pytest.approx(apart, abs=PULL)
    assert not without.key_strength.any()
    true, _ = _true(1, 2)
    before, after = (
        np.abs(with_keyed(curves, [OTHER]).ground_reflectance[-1] / true - 1.0).max()
        for curves in (without, beside)
    )
    assert after < 0.3 * before
    unsure, sure = (_level_sd(with_keyed(curves, [OTHER])) for curves in (without, beside))
    assert sure < unsure
    assert _strength_sd(beside) < 0.75 * _strength_sd(with_keyed(without, [OTHER]))


def _level_sd(curves: Curves) -> float:
    assert curves.uncertainty is not None
    return float(np.sqrt((curves.uncertainty.ground_reflectance[:, -1].mean(axis=1) ** 2).sum()))


def _strength_sd(curves: Curves) -> float:
    """Standard deviation of how much stronger one parent is than the other, as a logarithm."""
    assert curves.uncertainty is not None
    return float(np.linalg.norm(curves.uncertainty.key_strength[:, :2] @ [1.0, -1.0]))


def test_slopes_of_the_law_are_those_of_its_residual() -> None:
    """Along any mild change of the parameters the residual moves as its slopes say."""
    seen = observe(settings(CURVES), _with_mix(spray(CURVES, LINES)))
    layout = ParameterLayout.of(seen)
    (link,) = mixing_links(seen, layout)
    assert isinstance(link, MixingLink)
    rng = np.random.default_rng(3)
    start = blank(seen)
    at = replace(start, shared=start.shared + 0.1 * rng.standard_normal(layout.size))
    at.shared[layout.return_ratio] = -0.5
    here, slopes = link.linearise(at)
    assert here == pytest.approx(link.residual(at))
    for k, place in enumerate(link.columns):
        moved = at.shared.copy()
        moved[place] += 1e-5
        by = (link.residual(replace(at, shared=moved)) - here) / 1e-5
        assert np.abs(slopes[:, k] - by).max() <= DIFFERENCE * np.abs(by).max() + 1e-6


def test_shelves_without_keyed_grounds_are_learnt_as_ever() -> None:
    """No mix, no strength: the layout has no place for either."""
    seen = observe(settings(CURVES), spray(CURVES, LINES))
    layout = ParameterLayout.of(seen)
    assert layout.keyed == () == layout.parents
    assert mixing_links(seen, layout) == ()
    assert GRID.size == layout.n_wavelengths
