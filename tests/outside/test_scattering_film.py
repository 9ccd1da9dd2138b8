"""Films that scatter, against values reached by other routes."""

from __future__ import annotations

import numpy as np
import pytest

from booth import Lobe, reflectance
from fewtone.optics.film import FilmOptics, Geometry, diffuse_escape, internal_return
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
# Isotropic haze over an isotropic ground is exact; flake's lobe is described by one trap fraction.
LOBE_TOLERANCE = 0.015


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


@pytest.mark.parametrize("slope", [0.3, 0.36, 0.44])
def test_haze_over_flake(slope: float) -> None:
    """With the trap fraction that fits clear films, hazy ones come out right over flake too."""
    lobe, film = Lobe(slope, 0.2), FilmOptics(Geometry.DIRECTIONAL)
    absorbed = np.linspace(0.02, 3.0, 40)
    bare = reflectance(0.0, 0.66, lobe)
    clear = reflectance(absorbed, 0.66, lobe)
    traps = np.linspace(0.02, 1.0, 99)[:, np.newaxis]
    misses = (film.reflectance(absorbed, film.ground_from_bare(bare, traps), traps) - clear) ** 2
    trap = traps[misses.sum(axis=1).argmin()]
    for scattered in (0.05, 0.2):
        expected = reflectance(absorbed, 0.66, lobe, scattering=scattered)
        ground = film.ground_from_bare(bare, trap)
        found = film.reflectance(absorbed, ground, trap, np.full_like(absorbed, scattered))
        assert found == pytest.approx(expected, abs=LOBE_TOLERANCE)
        # One factor for all light misses more: the split is worth its cost.
        added = film.haze.terms(absorbed, scattered)
        escape, back = film.terms(absorbed)
        rough = added.haze + escape * np.exp(added.brightening) * ground / (
            1.0 - trap * ground * (back + added.returned)
        )
        assert _lightness_miss(found, expected) < _lightness_miss(rough, expected)


def _lightness_miss(found: FloatArray, expected: FloatArray) -> float:
    """Return the mean miss as the eye grades it: by cube roots, as L* does."""
    return float(np.abs(np.cbrt(found) - np.cbrt(expected)).mean())
