"""Opaque mixing against published values, two fluxes followed numerically, and its own limits."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fewtone.optics.opaque import (
    absorption_to_scattering,
    mixed_ground,
    opaque_reflectance,
    scattering_strength,
)

# Rounding of double arithmetic.
ROUNDING = 1e-12
# The first layer, to first order.
LAYERS = 1e-5

reflectances = st.floats(0.02, 0.95)


@pytest.mark.parametrize(
    ("reflects", "ratio"), [(0.01, 49.005), (0.1, 4.05), (0.2, 1.6), (0.5, 0.25), (0.9, 0.0055556)]
)
def test_the_function_of_kubelka_and_munk(reflects: float, ratio: float) -> None:
    """Its tabulated values, e.g. D. B. Judd and G. Wyszecki, Color in Business (from memory)."""
    assert absorption_to_scattering(reflects) == pytest.approx(ratio, rel=1e-5)  # as printed
    assert opaque_reflectance(absorption_to_scattering(reflects)) == pytest.approx(reflects)


def test_k_equal_to_s_reflects_two_less_root_three() -> None:
    """A closed form: R = 2 - √3 at K/S = 1."""
    assert float(opaque_reflectance(1.0)) == pytest.approx(2.0 - np.sqrt(3.0), abs=ROUNDING)


def test_what_hides_in_thinner_films_scatters_more() -> None:
    """By one power of (1 - R²)/(2R), by which two fluxes decay at equal scattering."""
    rho = np.array([0.05, 0.2, 0.5, 0.9])
    found = np.log(scattering_strength(rho[:, np.newaxis], np.ones(rho.size)))
    decays = np.log((1.0 - rho**2) / (2.0 * rho))
    assert found / decays == pytest.approx(np.full(rho.size, found[0] / decays[0]), rel=ROUNDING)
    assert found[0] < 0.0 < found[-1]


def _two_fluxes(absorption: float, scattering: float) -> float:
    """Reflectance of a thick pile: a thin layer to first order, laid upon its like and doubled."""
    step = 1e-6 / (absorption + scattering)
    back, through = scattering * step, 1.0 - (absorption + scattering) * step
    for _ in range(40):
        between = 1.0 / (1.0 - back**2)
        back, through = back + through**2 * back * between, through**2 * between
    return back


@given(
    st.tuples(reflectances, reflectances),
    st.tuples(st.floats(0.4, 2.5), st.floats(0.4, 2.5)),
    st.floats(0.1, 0.9),
)
def test_two_constants_are_followed_layer_by_layer(
    reflects: tuple[float, float], scatters: tuple[float, float], share: float
) -> None:
    """Solids whose strengths are their S mix as one pile of the mean K and the mean S does."""
    rho = np.array(reflects)[:, np.newaxis]
    s = np.array(scatters)
    k = s * (1.0 - rho[:, 0]) ** 2 / (2.0 * rho[:, 0])
    fractions = np.array([share, 1.0 - share])
    own = np.log(s / scattering_strength(rho, np.ones(2)))
    mixed, ratio = mixed_ground(rho, np.ones(2), own, fractions)
    assert mixed[0] == pytest.approx(
        _two_fluxes(float(fractions @ k), float(fractions @ s)), abs=LAYERS
    )
    assert ratio == pytest.approx(1.0, abs=ROUNDING)


@given(
    st.lists(reflectances, min_size=4, max_size=4),
    st.floats(0.35, 0.9),
    st.floats(-1.0, 1.0),
    st.floats(0.05, 0.95),
)
def test_a_ground_mixed_with_its_like_stays_as_it_is(
    reflects: list[float], ratio: float, strength: float, share: float
) -> None:
    """Whatever its flake, its strength and how much of either: the same reflectance and flake."""
    rho, t = np.array([reflects, reflects]), np.array([ratio, ratio])
    mixed, back = mixed_ground(rho, t, np.array([strength, 0.3]), np.array([share, 1.0 - share]))
    # What comes back more than once may not exceed the ground's own return ratio.
    again = (rho[0] * ratio**0.4) ** 2
    if ratio > (again / (1.0 + again)).mean() + 0.02 * 1.1 and rho.max() * ratio**0.4 < 0.97:
        assert mixed == pytest.approx(rho[0], rel=1e-9)
        assert back == pytest.approx(ratio, rel=1e-9)


@given(st.tuples(reflectances, reflectances), st.floats(-2.0, 2.0), st.floats(0.02, 0.98))
def test_a_mix_lies_between_its_solids_and_nearer_to_the_stronger(
    reflects: tuple[float, float], strength: float, share: float
) -> None:
    """More of one, or a stronger one, draws the mix towards it."""
    rho, fractions = np.array(reflects)[:, np.newaxis], np.array([share, 1.0 - share])
    none = np.zeros(2)
    plain = mixed_ground(rho, np.ones(2), none, fractions)[0][0]
    assert rho.min() - ROUNDING <= plain <= rho.max() + ROUNDING
    drawn = mixed_ground(rho, np.ones(2), np.array([abs(strength), 0.0]), fractions)[0][0]
    assert abs(drawn - rho[0, 0]) <= abs(plain - rho[0, 0]) + ROUNDING


def test_flake_is_lost_in_white_and_bared_by_black() -> None:
    """A solid that scatters makes a silver Lambertian; one that absorbs leaves its lobe alone."""
    silver, white, black = np.full(3, 0.83), np.full(3, 0.9), np.full(3, 0.01)
    t, none, half = np.array([0.47, 1.0]), np.zeros(2), np.array([0.5, 0.5])
    assert mixed_ground(np.stack([silver, white]), t, none, half)[1] > 0.8
    assert mixed_ground(np.stack([silver, black]), t, none, np.array([0.75, 0.25]))[1] < 0.47


def test_a_solid_s_light_enters_a_mix_above_lambertian() -> None:
    """The law by hand, of a flake and a solid that both return half of diffuse light.

    Of which 0.5²/(1 + 0.5²) = 0.2 was scattered again. They scatter alike, so each counts half:
    once, the flake of t = 0.4 with u = (0.4 - 0.2)/0.8 = 0.25 and the solid with 1.25, together
    0.75. Then t = 0.75 + 0.25 · 0.2 = 0.8, and ρ = 0.5 · 0.8^-0.4.
    """
    rho = np.array([[0.5 * 0.4**-0.4], [0.5]])
    mixed, ratio = mixed_ground(rho, np.array([0.4, 1.0]), np.zeros(2), np.array([0.5, 0.5]))
    assert ratio == pytest.approx(0.8, rel=ROUNDING)
    assert mixed == pytest.approx([0.5 * 0.8**-0.4], rel=ROUNDING)
