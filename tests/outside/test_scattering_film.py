"""Films that scatter, against values reached by other routes."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import minimize_scalar

from booth import Lobe, reflectance
from booth.paints import opaque_kernels
from fewtone.optics.film import FilmOptics, Geometry
from fewtone.optics.integrals import diffuse_escape, internal_return
from fewtone.optics.scatter import haze_tables
from fewtone.typing import FloatArray

# Source: recomputed for this project by adding-doubling and by Monte Carlo, which agree within
# three standard deviations: total depth, albedo, ground and reflectance of an isotropic film of
# index 1.5 at normal incidence, all reflected light gathered, specular included.
NORMAL_INCIDENCE = [
    (0.5, 0.1, 0.80, 0.16685),
    (0.5, 0.3, 0.80, 0.19826),
    (0.5, 0.5, 0.05, 0.07295),
    (1.0, 0.5, 0.80, 0.14620),
]
# Half a unit of the last printed digit, and 5e-6 for the tables' own interpolation.
PRINT_TOLERANCE = 1e-5
# The booth's discrete ordinates and the doubling lay their directions differently.
ORDINATES_TOLERANCE = 2e-5
# Scattering that goes forwards is steep in direction; the booth takes twice the nodes for it.
FORWARD_TOLERANCE = 1e-4


@pytest.mark.parametrize(("depth", "albedo", "ground", "expected"), NORMAL_INCIDENCE)
def test_scattering_film_at_normal_incidence(
    depth: float, albedo: float, ground: float, expected: float
) -> None:
    """Reflectance of scattering films equals adding-doubling and Monte Carlo."""
    absorbed = np.array((1.0 - albedo) * depth)
    added = haze_tables(0.0, None, 1.5).terms(absorbed, albedo * depth)
    escape = 0.96 * np.exp(-absorbed) * diffuse_escape(absorbed, 1.5) * np.exp(added.brightening)
    back = internal_return(absorbed, 1.5) + added.returned
    found = 0.04 + added.haze + escape * ground / (1.0 - ground * back)
    assert found == pytest.approx(expected, abs=PRINT_TOLERANCE)


@pytest.mark.parametrize("geometry", ["45:0", "de:8", "di:8"])
@pytest.mark.parametrize("index", [1.4, 1.5, 1.6])
def test_hazy_films_equal_discrete_ordinates(geometry: str, index: float) -> None:
    """Over a Lambertian ground the tables equal the booth's discrete ordinates."""
    rng = np.random.default_rng(7)
    absorbed, scattered = rng.uniform(0.0, 5.0, 200), rng.uniform(0.0, 0.8, 200)
    ground = rng.uniform(0.05, 0.9, 200)
    expected = reflectance(absorbed, ground, geometry=geometry, index=index, scattering=scattered)
    film = FilmOptics(Geometry(geometry), index)
    found = film.reflectance(absorbed, ground, 1.0, scattered)
    assert found == pytest.approx(expected, abs=ORDINATES_TOLERANCE)


@pytest.mark.parametrize("geometry", ["45:0", "de:8"])
@pytest.mark.parametrize("asymmetry", [0.4, 0.8])
def test_forward_scattering_films_equal_discrete_ordinates(geometry: str, asymmetry: float) -> None:
    """Where scattering is forwards, too: the booth averages Henyey and Greenstein's law itself."""
    rng = np.random.default_rng(8)
    absorbed, scattered = rng.uniform(0.0, 3.0, 60), rng.uniform(0.0, 2.5, 60)
    ground = rng.uniform(0.05, 0.9, 60)
    expected = reflectance(
        absorbed, ground, geometry=geometry, forward=scattered, asymmetry=asymmetry
    )
    film = FilmOptics(Geometry(geometry), asymmetry=asymmetry)
    found = film.reflectance(absorbed, ground, 1.0, scattered)
    assert found == pytest.approx(expected, abs=FORWARD_TOLERANCE)
    alike = FilmOptics(Geometry(geometry)).reflectance(absorbed, ground, 1.0, scattered)
    assert np.abs(alike - expected).max() > 20.0 * FORWARD_TOLERANCE


# Flake's lobe as a slope [rad] and a diffuse share, against angular simulation: root mean square
# in L* of clear films, and of hazy ones with the same internal-return ratio. The law of `flake` is
# empirical; where lobes are sharp, or light is gathered from all sides, it is worse.
LOBES = [
    ("45:0", 0.30, 0.10, 0.03, 0.25),
    ("45:0", 0.36, 0.05, 0.03, 0.25),
    ("45:0", 0.36, 0.20, 0.03, 0.25),
    ("45:0", 0.44, 0.20, 0.03, 0.15),
    ("de:8", 0.30, 0.10, 0.15, 0.30),
    ("de:8", 0.36, 0.20, 0.08, 0.25),
    ("de:8", 0.44, 0.20, 0.04, 0.15),
]


@pytest.mark.parametrize(("geometry", "slope", "diffuse", "clear_rms", "hazy_rms"), LOBES)
def test_films_over_flake(
    geometry: str, slope: float, diffuse: float, clear_rms: float, hazy_rms: float
) -> None:
    """One return ratio describes a lobe: clear films over dark and bright flake, then hazy ones.

    One factor for every meeting with the ground, as the law for Lambertian grounds would have it,
    misses clear films half as far again at least.
    """
    film, lobe = FilmOptics(Geometry(geometry)), Lobe(slope, diffuse)
    absorbed = np.array([0.0, 0.02, 0.05, 0.1, 0.2, 0.4, 0.8, 1.5])
    scattered, inner = np.array([[0.05], [0.15], [0.3]]), np.array([0.14, 0.4, 0.66])[:, None, None]
    clear = reflectance(absorbed, inner, lobe, geometry=geometry)
    hazy = reflectance(absorbed, inner, lobe, geometry=geometry, scattering=scattered)
    bare = clear[..., :1]

    def of_clear(return_ratio: float) -> float:
        ground = film.ground_from_bare(bare, return_ratio)
        return _lightness_miss(film.reflectance(absorbed, ground, return_ratio), clear)

    def as_lambertian(return_ratio: float) -> float:
        (escape, trapped), (whole, most) = film.terms(absorbed), film.terms(0.0)
        ground = bare / (whole + return_ratio * most * bare)
        return _lightness_miss(escape * ground / (1.0 - return_ratio * ground * trapped), clear)

    return_ratio = minimize_scalar(of_clear, bounds=(0.01, 1.0), method="bounded").x
    rough = minimize_scalar(as_lambertian, bounds=(0.01, 1.0), method="bounded").fun
    assert of_clear(return_ratio) < clear_rms
    assert rough > 1.5 * of_clear(return_ratio)
    found = film.reflectance(
        absorbed,
        film.ground_from_bare(bare, return_ratio),
        return_ratio,
        np.broadcast_to(scattered, hazy.shape),
    )
    assert _lightness_miss(found, hazy) < hazy_rms


# Root mean square in L* of films over grounds whose return ratio is above 1: .02 to .22 and .07 to
# .12; with light that escapes counted as over a Lambertian ground they miss by twice that and more.
BROAD_RMS, PILE_RMS = 0.23, 0.13


@pytest.mark.parametrize("geometry", ["45:0", "de:8"])
@pytest.mark.parametrize("slope", [0.6, 0.7])
@pytest.mark.parametrize("inner", [0.14, 0.4, 0.66])
def test_films_over_flake_of_very_broad_slopes(geometry: str, slope: float, inner: float) -> None:
    """Its return ratio is above 1 and holds for clear and hazy films alike."""
    miss, lambertian, return_ratio = _slanted_miss(geometry, Lobe(slope, 0.15), inner)
    assert return_ratio > 1.1
    assert miss < min(BROAD_RMS, 0.25 * lambertian)


@pytest.mark.parametrize("geometry", ["45:0", "de:8"])
@pytest.mark.parametrize("absorbs", [0.02, 0.1, 0.3, 1.0])
def test_films_over_a_pile_of_pigment(geometry: str, absorbs: float) -> None:
    """A pile that scatters alike in all directions, followed direction by direction, likewise."""
    kernel = opaque_kernels([], np.array([absorbs]), np.ones(1), 1.5)[0]
    miss, lambertian, return_ratio = _slanted_miss(geometry, kernel, 1.0)
    assert return_ratio > 1.1
    assert miss < min(PILE_RMS, 0.25 * lambertian)


def _slanted_miss(
    geometry: str, kernel: Lobe | NDArray[np.float64], inner: float
) -> tuple[float, float, float]:
    """Miss in L* of clear and hazy films, as of a Lambertian ground, and the ratio that fits."""
    film = FilmOptics(Geometry(geometry))
    absorbed = np.array([0.0, 0.02, 0.05, 0.1, 0.2, 0.4, 0.8, 1.5])
    scattered = np.array([[0.0], [0.05], [0.15], [0.4]]) * np.ones_like(absorbed)
    films = reflectance(absorbed, inner, kernel, geometry=geometry, scattering=scattered)
    bare = float(films[0, 0])

    def miss(return_ratio: float) -> float:
        ground = film.ground_from_bare(bare, return_ratio)
        clear = film.reflectance(absorbed, ground, return_ratio)
        hazy = film.reflectance(
            np.broadcast_to(absorbed, (3, absorbed.size)), ground, return_ratio, scattered[1:]
        )
        return _lightness_miss(np.vstack([clear, hazy]), films)

    best = minimize_scalar(miss, bounds=(0.5, 2.2), method="bounded")
    return float(best.fun), miss(1.0), float(best.x)


def _lightness_miss(found: FloatArray, expected: FloatArray) -> float:
    """Return the root mean square miss in L*, by the cube root alone."""
    return float(116.0 * np.sqrt(((np.cbrt(found) - np.cbrt(expected)) ** 2).mean()))
