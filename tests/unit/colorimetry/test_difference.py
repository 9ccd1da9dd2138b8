"""ΔE00: shapes, blocks, and the places where the formula is delicate."""

from __future__ import annotations

import math

import numpy as np
import pytest

from fewtone.colorimetry import delta_e_2000, delta_e_2000_metric, delta_e_ab

ROUNDING = 1e-12
# The weights change a little over steps this small: relative.
METRIC_SHARE = 0.02


def test_shapes_broadcast() -> None:
    """One colour against many, and many against many, take numpy's shapes."""
    one = [50.0, 10.0, -10.0]
    many = np.random.default_rng(0).normal(40.0, 20.0, (7, 3))
    assert delta_e_2000(one, one).shape == ()
    assert delta_e_2000(many, one).shape == (7,)
    table = delta_e_2000(many[:, np.newaxis], many[:4])
    assert table.shape == (7, 4)
    assert table[5, 2] == delta_e_2000(many[5], many[2])
    assert delta_e_2000(np.empty((0, 3)), one).shape == (0,)


@pytest.mark.parametrize("shape", [(50_000, 1), (300, 200), (1, 40_000)])
def test_large_stacks_equal_small_ones(shape: tuple[int, int]) -> None:
    """Handling a stack in blocks changes no bit of the result."""
    rng = np.random.default_rng(1)
    one = rng.normal(40.0, 20.0, (shape[0], 1, 3))
    two = rng.normal(40.0, 20.0, (1, shape[1], 3))
    found = delta_e_2000(one, two)
    assert found.shape == shape
    for i, j in ((0, 0), (shape[0] - 1, shape[1] - 1), (shape[0] // 2, shape[1] // 3)):
        assert found[i, j] == delta_e_2000(one[i, 0], two[0, j])


def test_lightness_alone() -> None:
    """Two greys differ by ΔL'/S_L; around L* 50 that is ΔL itself."""
    assert delta_e_2000([49.0, 0, 0], [51.0, 0, 0]) == pytest.approx(2.0, abs=ROUNDING)
    weight = 1.0 + 0.015 * 25.0**2 / math.sqrt(20.0 + 25.0**2)
    assert delta_e_2000([24.0, 0, 0], [26.0, 0, 0]) == pytest.approx(2.0 / weight, abs=ROUNDING)


def test_grey_against_colour_is_chroma_alone() -> None:
    """With one colour neutral no hue difference remains: ΔC'/S_C, in any direction of hue."""
    chroma = 4.0
    for hue in np.radians([0.0, 45.0, 90.0, 180.0, 275.0]):
        a, b = chroma * math.cos(hue), chroma * math.sin(hue)
        stretched = math.hypot(_stretch(0.5 * chroma) * a, b)
        expected = stretched / (1.0 + 0.045 * 0.5 * stretched)
        assert delta_e_2000([50.0, 0.0, 0.0], [50.0, a, b]) == pytest.approx(expected, abs=ROUNDING)


@pytest.mark.parametrize("tiny", [0.0, -0.0, 5e-324, 1e-200, 1e-60, 1e-12])
def test_almost_no_chroma_is_harmless(tiny: float) -> None:
    """Chroma too small to square gives a plain small difference, no warning, no nan."""
    found = delta_e_2000([50.0, tiny, -tiny], [50.0, -tiny, tiny])
    assert np.isfinite(found)
    assert found <= 10.0 * abs(tiny)


def _hue_weight(hue_deg: float) -> float:
    """T of the published formula, by angles."""
    terms = ((-0.17, 1, -30.0), (0.24, 2, 0.0), (0.32, 3, 6.0), (-0.20, 4, -63.0))
    return 1.0 + sum(
        size * math.cos(math.radians(times * hue_deg + shift)) for size, times, shift in terms
    )


def _stretch(chroma: float) -> float:
    """1 + G of the published formula."""
    return 1.5 - 0.5 * math.sqrt(chroma**7 / (chroma**7 + 25.0**7))


@pytest.mark.parametrize("hue_deg", [0.0, 12.0, 45.0, 90.0, 135.0, 179.0])
@pytest.mark.parametrize("ratio", [0.3, 1.0, 7.0])
def test_opposite_hues_take_the_lower_hue(hue_deg: float, ratio: float) -> None:
    """Exactly opposite hues have the lower hue plus 90° as mean, in either order.

    There rounding would otherwise choose the side of the formula's jump.
    """
    one, two = 10.0, 10.0 * ratio
    a, b = math.cos(math.radians(hue_deg)), math.sin(math.radians(hue_deg))
    stretch = _stretch(0.5 * (one + two))
    length = math.hypot(stretch * a, b)
    mean_hue = math.degrees(math.atan2(b, stretch * a)) + 90.0
    mean_chroma = 0.5 * (one + two) * length
    hue = 2.0 * math.sqrt(one * two) * length / (1.0 + 0.015 * mean_chroma * _hue_weight(mean_hue))
    chroma = (two - one) * length / (1.0 + 0.045 * mean_chroma)
    blue = 60.0 * math.exp(-(((mean_hue - 275.0) / 25.0) ** 2))
    turn = -2.0 * math.sin(math.radians(blue))
    turn *= math.sqrt(mean_chroma**7 / (mean_chroma**7 + 25.0**7))
    expected = math.sqrt(chroma**2 + hue**2 + turn * chroma * hue)
    lower, upper = [50.0, one * a, one * b], [50.0, -two * a, -two * b]
    assert delta_e_2000(lower, upper) == pytest.approx(expected, abs=1e-9)
    assert delta_e_2000(upper, lower) == pytest.approx(expected, abs=1e-9)


def test_small_differences_keep_their_digits() -> None:
    """A hue step of 1e-9 keeps six digits: forms that subtract chromas lose them all."""
    step = 1e-9
    base = np.array([50.0, 0.0, 60.0])
    # Along a* at a = 0 the step is all hue: ΔH'/S_H with h' = 90°.
    expected = _stretch(60.0) * step / (1.0 + 0.015 * 60.0 * _hue_weight(90.0))
    assert delta_e_2000(base, base + np.array([0.0, step, 0.0])) == pytest.approx(
        expected, rel=1e-6
    )


def test_plain_distance() -> None:
    """ΔE*ab is Euclid's distance and broadcasts."""
    assert delta_e_ab([[50.0, 1.0, 2.0]], [48.0, 3.0, 3.0]).tolist() == [3.0]


def test_metric_of_a_middle_grey() -> None:
    """At L* 50 without chroma all weights are 1 and a' is 1.5 a, so M is diag(1, 2.25, 1)."""
    found = delta_e_2000_metric([50.0, 0.0, 0.0])
    assert found == pytest.approx(np.diag([1.0, 2.25, 1.0]), abs=METRIC_SHARE)


def test_metric_measures_small_steps() -> None:
    """A small step in any direction from any colour has the ΔE00 that the metric says."""
    rng = np.random.default_rng(3)
    lab = rng.normal([50.0, 0.0, 0.0], 25.0, (400, 3))
    lab = lab[np.hypot(lab[:, 1], lab[:, 2]) > 2.0]
    step = rng.normal(0.0, 0.05, lab.shape)
    said = np.sqrt(np.einsum("ni,nij,nj->n", step, delta_e_2000_metric(lab), step))
    assert said == pytest.approx(delta_e_2000(lab - step / 2.0, lab + step / 2.0), rel=METRIC_SHARE)
