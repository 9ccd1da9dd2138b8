"""Opaque mixing against published values, two fluxes followed numerically, and its own limits."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fewtone.optics.film import FilmOptics, Geometry
from fewtone.optics.opaque import (
    absorption_to_scattering,
    mixed_ground,
    opaque_reflectance,
    scattering_strength,
    solid_return_ratio,
)
from fewtone.typing import FloatArray as Array

# Rounding of double arithmetic.
ROUNDING = 1e-12
# What light of flake is told apart to, round by round.
SETTLED = 1e-9
# The first layer, to first order.
LAYERS = 1e-5

FILM = FilmOptics(Geometry.DIRECTIONAL)

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
    found = np.log(scattering_strength(rho[:, np.newaxis]))
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
    own = np.log(s / scattering_strength(rho))
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
    # Where more comes back again than its ratio leaves room for, no such flake exists.
    again = rho[0] ** 2 / (1.0 + rho[0] ** 2)
    if ratio > again.max() + 0.05:
        assert mixed == pytest.approx(rho[0], abs=SETTLED)
        assert back == pytest.approx(ratio, abs=SETTLED)


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


def test_a_flake_and_a_solid_by_hand() -> None:
    """Both return half of diffuse light, so that K/S is .25 and .5²/(1 + .5²) = .2 came back again.

    They scatter alike, so each counts half. The flake of t = .4 has (.4 - .2)/.8 = .25 of light
    scattered once, which slanted paths made of its u by (1 + .41·.25)/(1 + 1.16·.25).
    """
    u = 0.25 * 1.29 / 1.1025
    seen = (0.5 * u**-0.34 + 0.58 / 2) / (0.5 + 0.41 * 0.75)
    returned = (0.5 * u**0.66 + 2.84 / 2) / (0.5 + 1.16 * 0.75)
    t = 0.8 * returned / seen + 0.2
    rho = np.array([[0.5 * 0.4**-0.34], [0.5]])
    mixed, ratio = mixed_ground(rho, np.array([0.4, 1.0]), np.zeros(2), np.array([0.5, 0.5]))
    assert 0.4 < t < 1.0
    assert ratio == pytest.approx(t, abs=SETTLED)
    assert mixed == pytest.approx([0.5 * t**-0.34], abs=SETTLED)


def _isotropic_pile(albedo: float, depths: Array) -> Array:
    """Films (n = 1.5, 45:0) over a pile that scatters isotropically, by H functions.

    S. Chandrasekhar, Radiative Transfer (1960): of light from the direction of cosine v such a pile
    sends ω/4 · H(u) H(v)/(u + v) towards u, next to a white Lambertian ground, with
    1/H(u) = √(1 - ω) + ω/2 ∫ v H(v)/(u + v) dv. Between pile and top the light is followed
    direction by direction.
    """
    index, (x, w) = 1.5, np.polynomial.legendre.leggauss(40)
    limit = np.sqrt(1.0 - 1.0 / index**2)
    u = np.concatenate([(x + 1.0) / 2.0 * limit, limit + (x + 1.0) / 2.0 * (1.0 - limit)])
    width = np.concatenate([w / 2.0 * limit, w / 2.0 * (1.0 - limit)])
    h = np.ones_like(u)
    for _ in range(300):
        around = (width * u * h / (u[:, np.newaxis] + u)).sum(axis=1)
        h = 1.0 / (np.sqrt(1.0 - albedo) + 0.5 * albedo * around)

    def h_at(v: float) -> float:
        return float(1.0 / (np.sqrt(1 - albedo) + 0.5 * albedo * (width * u * h / (v + u)).sum()))

    enters, leaves = np.sqrt(1.0 - 0.5 / index**2), 1.0
    between = 0.25 * albedo * np.outer(h, h) / (u[:, np.newaxis] + u) * (2.0 * u * width)
    lit = 0.25 * albedo * h * h_at(enters) / (u + enters)
    seen = 0.25 * albedo * h * h_at(leaves) / (u + leaves) * (2.0 * u * width)
    at_once = 0.25 * albedo * h_at(enters) * h_at(leaves) / (enters + leaves)
    # Fresnel from inside; all of it beyond the critical angle.
    sine = np.minimum(index * np.sqrt(1.0 - u**2), 1.0)
    out = np.sqrt(1.0 - sine**2)
    top = 0.5 * ((index * u - out) / (index * u + out)) ** 2
    top += 0.5 * ((u - index * out) / (u + index * out)) ** 2
    films = []
    for depth in depths:
        back = top * np.exp(-2.0 * depth / u)
        up = np.linalg.solve(np.eye(u.size) - between * back, lit)
        films.append((at_once + seen @ (back * up)) * np.exp(-depth * (1.0 / enters + 1.0)))
    return np.asarray(films) * FILM.terms(0.0).escape


@pytest.mark.parametrize("albedo", [0.3, 0.7, 0.9, 0.97])
def test_films_over_a_pile_of_pigment_follow_its_return_ratio(albedo: float) -> None:
    """Bare readings alike, films differ by half a percent; over a Lambertian ground by several."""
    depths = np.array([0.0, 0.03, 0.1, 0.2, 0.4, 0.8, 1.2])
    films = _isotropic_pile(albedo, depths)

    def off(slanted: bool) -> float:
        ratio = 1.0
        rho = FILM.ground_from_bare(films[0], ratio)
        for _ in range(20 * slanted):
            ratio = float(solid_return_ratio(rho[np.newaxis]))
            rho = FILM.ground_from_bare(films[0], ratio)
        return float(np.abs(FILM.reflectance(depths, rho, ratio) / films - 1.0).max())

    assert off(True) < 0.013
    assert off(True) < 0.25 * off(False)


def test_solids_mixed_send_back_light_as_slanted_as_they_do() -> None:
    """Halves of one and the same solid are that solid; Lambertian ones stay Lambertian."""
    rho = np.full((2, 5), 0.3)
    for ratio in (1.0, 1.4):
        reflectance, mixed = mixed_ground(rho, np.full(2, ratio), np.zeros(2), [0.5, 0.5])
        assert reflectance == pytest.approx(rho[0], rel=1e-9)
        assert mixed == pytest.approx(ratio, rel=1e-12)
