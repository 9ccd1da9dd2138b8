"""Colorimetry under random input: what must hold everywhere."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from numpy.typing import NDArray

from fewtone.colorimetry import (
    ILLUMINANTS,
    OBSERVERS,
    Light,
    delta_e_2000,
    lab_from_hex,
    lab_from_xyz,
    lab_jacobian,
    srgb_from_xyz,
    weights,
    white_point,
    xyz,
    xyz_from_lab,
)

Array = NDArray[np.float64]

ROUNDING = 1e-9  # a few float64 operations on values up to a few hundred

lights = st.builds(Light, st.sampled_from(ILLUMINANTS), st.sampled_from(OBSERVERS))
colours = st.tuples(st.floats(0.0, 110.0), st.floats(-150.0, 150.0), st.floats(-150.0, 150.0)).map(
    np.array
)


@st.composite
def grids(draw: st.DrawFn) -> Array:
    """Wavelengths from 330..420 nm to 680..820 nm by uneven steps of 1 to 24 nm."""
    nodes = [draw(st.floats(330.0, 420.0))]
    last = draw(st.floats(680.0, 820.0))
    while nodes[-1] < last:
        nodes.append(nodes[-1] + draw(st.floats(1.0, 24.0)))
    return np.array(nodes)


@given(grids(), lights)
def test_weights_are_never_negative_and_sum_to_white(grid: Array, light: Light) -> None:
    """Any admissible grid, however uneven, gives non-negative weights and the exact white."""
    found = weights(grid, light)
    assert (found >= 0.0).all()
    np.testing.assert_allclose(found.sum(axis=0), white_point(light), atol=ROUNDING)


@given(lights, st.data())
def test_more_light_never_reads_darker(light: Light, data: st.DataObject) -> None:
    """Raising reflectance anywhere lowers none of X, Y, Z."""
    grid = np.arange(400.0, 701.0, 20.0)
    spectrum = arrays(np.float64, grid.size, elements=st.floats(0.0, 1.2))
    one, more = data.draw(spectrum), data.draw(spectrum)
    difference = xyz(one + more, grid, light) - xyz(one, grid, light)
    assert (difference >= -ROUNDING).all()


@given(colours, lights)
def test_cielab_round_trips(lab: Array, light: Light) -> None:
    """Lab to XYZ and back is the identity, below zero too."""
    white = white_point(light)
    np.testing.assert_allclose(
        lab_from_xyz(xyz_from_lab(lab, white), white), lab, rtol=0.0, atol=ROUNDING
    )


@given(arrays(np.float64, 3, elements=st.floats(-5.0, 120.0)), lights)
def test_xyz_round_trips(values: Array, light: Light) -> None:
    """XYZ to Lab and back is the identity."""
    white = white_point(light)
    found = xyz_from_lab(lab_from_xyz(values, white), white)
    np.testing.assert_allclose(found, values, rtol=0.0, atol=ROUNDING)


@given(arrays(np.float64, 3, elements=st.floats(-1.0, 120.0)), lights)
def test_slopes_are_those_of_cielab(values: Array, light: Light) -> None:
    """The analytic slopes agree with central differences."""
    white = white_point(light)
    slopes = lab_jacobian(values, white)
    step = 1e-5 * white
    for j in range(3):
        shift = step[j] * np.eye(3)[j]
        rise = lab_from_xyz(values + shift, white) - lab_from_xyz(values - shift, white)
        # The bend has a jump in curvature: a step across it errs by half of that times the step.
        np.testing.assert_allclose(slopes[:, j], rise / (2.0 * step[j]), rtol=2e-3, atol=1e-6)


@given(colours, colours)
def test_difference_is_symmetric_and_zero_only_at_home(one: Array, two: Array) -> None:
    """ΔE00 is the same both ways, zero for equal colours, and positive otherwise."""
    forth, back = delta_e_2000(one, two), delta_e_2000(two, one)
    np.testing.assert_allclose(forth, back, rtol=1e-9, atol=ROUNDING)
    assert delta_e_2000(one, one) == 0.0
    if np.abs(one - two).max() > 1e-6:
        assert forth > 0.0


@given(colours, colours)
def test_difference_is_at_least_its_lightness_part(one: Array, two: Array) -> None:
    """ΔE00 >= |ΔL|/S_L: chroma and hue only add, whatever the rotation term."""
    mean = 0.5 * (one[0] + two[0])
    weight = 1.0 + 0.015 * (mean - 50.0) ** 2 / np.sqrt(20.0 + (mean - 50.0) ** 2)
    assert delta_e_2000(one, two) >= abs(one[0] - two[0]) / weight - ROUNDING


@given(colours, st.floats(-180.0, 180.0), st.floats(0.0, 1e-3))
def test_difference_is_continuous_near_home(lab: Array, turn: float, step: float) -> None:
    """A small step in any direction is a small difference: the weights nowhere magnify it."""
    direction = np.array([0.5, np.cos(np.radians(turn)), np.sin(np.radians(turn))])
    # S_L, S_C, S_H are at least 0.5 of 1 and a* is stretched by at most 1.5.
    assert delta_e_2000(lab, lab + step * direction) <= 4.0 * step + ROUNDING


@given(st.integers(0, 0xFFFFFF))
def test_hex_colours_round_trip(code: int) -> None:
    """Every hex colour is in gamut and comes back as itself."""
    text = f"#{code:06x}"
    back, in_gamut = srgb_from_xyz(xyz_from_lab(lab_from_hex(text), white_point(Light("D65", 2))))
    red, green, blue = np.rint(255.0 * back).astype(int)
    assert in_gamut
    assert f"#{red:02x}{green:02x}{blue:02x}" == text
