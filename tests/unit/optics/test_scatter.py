"""The haze tables' own promises."""

from __future__ import annotations

import numpy as np
import pytest

from fewtone.optics.film import FilmOptics, Geometry
from fewtone.optics.scatter import haze_tables

FILMS = [FilmOptics(geometry) for geometry in Geometry]
# Central differences of step 1e-5 on cubics.
DIFFERENCE_TOLERANCE = 2e-5


@pytest.mark.parametrize("film", FILMS, ids=lambda film: film.geometry)
def test_angles_are_those_of_the_geometry(film: FilmOptics) -> None:
    """CIE 15:2018: in at 45° and out at 0°, or in at 8° and out into a sphere."""
    angles = (45.0, 0.0) if film.geometry is Geometry.DIRECTIONAL else (8.0, None)
    expected = haze_tables(*angles, film.index)
    assert np.array_equal(film.haze.coefficients, expected.coefficients)


@pytest.mark.parametrize("film", FILMS, ids=lambda film: film.geometry)
def test_no_scattering_is_the_clear_film(film: FilmOptics) -> None:
    """At no scattering the tables add nothing at all."""
    tau = np.linspace(0.0, 6.0, 50)
    clear = film.reflectance(tau, 0.7, 0.4)
    assert film.reflectance(tau, 0.7, 0.4, np.zeros_like(tau)) == pytest.approx(clear, abs=1e-15)


@pytest.mark.parametrize("film", FILMS, ids=lambda film: film.geometry)
@pytest.mark.parametrize("return_ratio", [0.4, 0.99, 1.3])
def test_slopes_are_those_of_the_reflectance(film: FilmOptics, return_ratio: float) -> None:
    """All derivatives equal central differences, hazy or clear; at t = 1 flake and solids meet."""
    rng = np.random.default_rng(2)
    tau, ground, return_ratios = (
        rng.uniform(0.05, 4.0, 60),
        rng.uniform(0.1, 0.9, 60),
        np.full(60, return_ratio),
    )
    clear = film.reflectance_derivatives(tau, ground, return_ratios)
    haze = rng.uniform(0.01, 0.6, 60)
    hazy = film.reflectance_derivatives(tau, ground, return_ratios, haze)
    h = 1e-5
    read = film.reflectance
    for slopes, s in ((clear, None), (hazy, haze)):
        assert slopes.reflectance == pytest.approx(read(tau, ground, return_ratios, s), abs=1e-14)
        for found, up, down in (
            (
                slopes.d_tau,
                read(tau + h, ground, return_ratios, s),
                read(tau - h, ground, return_ratios, s),
            ),
            (
                slopes.d_ground,
                read(tau, ground + h, return_ratios, s),
                read(tau, ground - h, return_ratios, s),
            ),
            (
                slopes.d_return_ratio,
                read(tau, ground, return_ratios + h, s),
                read(tau, ground, return_ratios - h, s),
            ),
        ):
            assert found == pytest.approx((up - down) / (2 * h), abs=DIFFERENCE_TOLERANCE)
    up, down = (
        read(tau, ground, return_ratios, haze + h),
        read(tau, ground, return_ratios, haze - h),
    )
    assert hazy.d_scattering == pytest.approx((up - down) / (2 * h), abs=DIFFERENCE_TOLERANCE)
    assert not clear.d_scattering.any()


def test_haze_lightens_black_and_dims_white() -> None:
    """A little scatter adds light over black and takes some away over a bright ground."""
    film = FilmOptics(Geometry.DIRECTIONAL)
    tau, haze = np.full(5, 0.5), np.linspace(0.0, 0.4, 5)
    over_black = film.reflectance(tau, 0.0, 1.0, haze)
    assert np.all(np.diff(over_black) > 0.0)
    assert np.all(np.diff(film.reflectance(tau, 0.95, 0.3, haze)) < 0.0)


def test_a_film_that_only_scatters_loses_nothing() -> None:
    """Without absorption, over a perfect ground, all light comes back: the mean over lighting is 1.

    In de:8 plus the first surface the beam is gathered whole.
    """
    film = FilmOptics(Geometry.DIFFUSE_SPECULAR_INCLUDED)
    found = film.reflectance(np.zeros(4), 1.0, 1.0, np.array([0.01, 0.1, 0.5, 2.0]))
    assert found == pytest.approx(np.ones(4), abs=3e-4)
