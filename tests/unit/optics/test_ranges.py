"""Reflectance over cells of a film that scatters lies between its ends, wherever the film is."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fewtone.model.curves import Curves
from fewtone.optics.film import FilmOptics, Geometry
from fewtone.optics.ranges import SHARE_STEPS, Interval, depth_edges, reflectance_range
from fewtone.optics.scatter import HazeTables
from fewtone.typing import FloatArray
from invented import invented_shelf

DEEPEST, FILMS = 16.0, 60_000


def ends_and_films(
    optics: FilmOptics, curves: Curves, ground: int
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Least and largest reflectance of the cells of random films, and their own."""
    rng = np.random.default_rng(ground)
    edges = depth_edges(DEEPEST)
    rho, ratio = curves.ground_reflectance[ground], float(curves.return_ratio[ground])
    ends = reflectance_range(optics, edges, rho, ratio)
    depth = np.exp(rng.uniform(np.log(1e-5), np.log(DEEPEST), FILMS))
    place = rng.uniform(0.0, 1.0, FILMS) ** rng.choice([0.1, 1.0, 4.0], FILMS)
    absorption = (depth * (1.0 - place) ** 2)[:, np.newaxis]
    scattering = depth[:, np.newaxis] - absorption
    # One wavelength a film, so that there are many films.
    wave = rng.integers(0, len(rho), FILMS)
    film = optics.reflectance(absorption[:, 0], rho[wave], ratio, scattering[:, 0])
    x = np.minimum((place * SHARE_STEPS).astype(int), SHARE_STEPS - 1)
    y = np.searchsorted(edges, depth, side="right") - 1
    return ends.low[wave, x, y], ends.high[wave, x, y], film


@pytest.mark.parametrize("geometry", list(Geometry))
@pytest.mark.parametrize(
    "other", [{}, {"index": 1.4, "surface": 0.02, "edge": 0.05}, {"asymmetry": 0.8}]
)
def test_films_lie_between_the_ends(geometry: Geometry, other: dict[str, float]) -> None:
    """Over solids and over flake, thin and deep, hardly and mostly scattering.

    Of the solids one sends light back slanted: with the coloured flake's curve.
    """
    curves, _ = invented_shelf(3, 4, 4)
    curves = replace(curves, return_ratio=np.append(curves.return_ratio[:3], 1.4))
    optics = FilmOptics(geometry, **other)
    for ground in range(4):
        low, high, film = ends_and_films(optics, curves, ground)
        assert (low <= film).all()
        assert (film <= high).all()
        assert np.median((high - low) / (film + 0.01)) < 0.06


def test_a_bulge_between_the_middles_of_cells_is_found() -> None:
    """A ripple in the tables that no cell's middle shows moves the ends all the same."""

    class Rippled(FilmOptics):
        @property
        def haze(self) -> HazeTables:
            tables = super().haze
            ripple = tables.coefficients.copy()
            ripple[:, ::2] *= 1.3
            ripple[::2] *= 1.2
            return replace(tables, coefficients=ripple)

    curves, _ = invented_shelf(3, 4, 2)
    for ground in range(2):
        low, high, film = ends_and_films(Rippled(Geometry.DIRECTIONAL), curves, ground)
        assert ((low <= film) & (film <= high)).all()


def test_products_of_intervals_hold_those_of_their_values() -> None:
    """Of either sign or of both; and their ends are products of ends."""
    rng = np.random.default_rng(4)
    one, other = (Interval(*np.sort(rng.normal(size=(2, 500)), axis=0)) for _ in range(2))
    ends = np.stack([x * y for x in one for y in other])
    found = one.times(other)
    np.testing.assert_array_equal(found.low, ends.min(axis=0))
    np.testing.assert_array_equal(found.high, ends.max(axis=0))
