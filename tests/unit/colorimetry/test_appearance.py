"""Metamerism index and adaptation: what they must do at their fixed points."""

from __future__ import annotations

import numpy as np
import pytest

from fewtone.colorimetry import Light, delta_e_2000, delta_e_ab, lab_from_xyz, white_point
from fewtone.colorimetry.appearance import adapt_cmccat2000, metamerism_index

DAY, LAMP = white_point(Light("D65", 10)), white_point(Light("A", 10))
WHITES = np.stack([DAY, LAMP])
ROUNDING = 1e-10


@pytest.mark.parametrize("correction", ["multiplicative", "additive"])
def test_same_spectrum_has_no_metamerism(correction: str) -> None:
    """Equal colours in both lights score zero."""
    colours = np.random.default_rng(0).uniform(5.0, 80.0, (6, 2, 3))
    index = metamerism_index(colours, colours, WHITES, correction=correction)  # type: ignore[arg-type]
    assert index == pytest.approx(np.zeros(6), abs=ROUNDING)


@pytest.mark.parametrize("correction", ["multiplicative", "additive"])
def test_exact_match_scores_its_difference_in_the_other_light(correction: str) -> None:
    """Where the pair already matches, both corrections leave the plain difference."""
    standard = np.array([[20.0, 25.0, 15.0], [24.0, 26.0, 5.0]])
    sample = np.array([[20.0, 25.0, 15.0], [25.0, 25.5, 5.5]])
    index = metamerism_index(standard, sample, WHITES, correction=correction)  # type: ignore[arg-type]
    one, two = lab_from_xyz(standard[1], LAMP), lab_from_xyz(sample[1], LAMP)
    assert index == pytest.approx(delta_e_ab(one, two), abs=ROUNDING)


def test_index_takes_another_difference() -> None:
    """The index is in the units of the difference that is asked for."""
    standard = np.array([[20.0, 25.0, 15.0], [24.0, 26.0, 5.0]])
    sample = standard + np.array([[0.0, 0.0, 0.0], [1.0, -0.5, 0.5]])
    index = metamerism_index(standard, sample, WHITES, difference=delta_e_2000)
    one, two = lab_from_xyz(standard[1], LAMP), lab_from_xyz(sample[1], LAMP)
    assert index == pytest.approx(delta_e_2000(one, two), abs=ROUNDING)


def test_a_brightness_step_is_taken_out_by_ratios() -> None:
    """A sample that is the standard dimmed alike in both lights is no metamer."""
    standard = np.array([[20.0, 25.0, 15.0], [24.0, 26.0, 5.0]])
    assert metamerism_index(standard, 0.9 * standard, WHITES) == pytest.approx(0.0, abs=ROUNDING)


def test_white_adapts_to_white() -> None:
    """Fully adapted, one light's white looks as the other's."""
    found = adapt_cmccat2000(LAMP, LAMP, DAY, luminance=1000.0, luminance_reference=1000.0)
    assert found == pytest.approx(DAY, abs=ROUNDING)


def test_no_change_of_light_changes_nothing() -> None:
    """Adapting to the same light is the identity, even when the eye adapts only in part."""
    colours = np.random.default_rng(0).uniform(1.0, 90.0, (5, 3))
    found = adapt_cmccat2000(colours, DAY, DAY, luminance=20.0, luminance_reference=20.0)
    assert found == pytest.approx(colours, abs=ROUNDING)


def test_dim_surround_adapts_less() -> None:
    """In a dim surround lamplight white keeps more of its yellow."""
    ordinary = adapt_cmccat2000(LAMP, LAMP, DAY, luminance=20.0, luminance_reference=20.0)
    dim = adapt_cmccat2000(LAMP, LAMP, DAY, luminance=20.0, luminance_reference=20.0, surround=0.8)
    assert LAMP[2] < dim[2] < ordinary[2] < DAY[2]
