"""The film's tables, slopes and inverse against plain quadrature and differences."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import expn

from fewtone.optics.film import FilmOptics, Geometry
from fewtone.optics.integrals import internal_return

QUADRATURE = 2e-9  # 48 nodes on exp(-2τ/μ) at τ near 0, where it is worst
TABLE = 1e-9  # cubics in √τ, 256 cells per unit


def internal_return_by_scipy(tau: float, index: float) -> float:
    """r_i by adaptive quadrature up to the critical angle, and E₃ in closed form beyond it."""

    def integrand(cosine: float) -> float:
        inside = np.arccos(cosine)
        outside = np.arcsin(index * np.sin(inside))
        if inside == 0.0:
            fresnel = ((index - 1.0) / (index + 1.0)) ** 2
        else:
            across = np.sin(inside - outside) / np.sin(inside + outside)
            along = np.tan(inside - outside) / np.tan(inside + outside)
            fresnel = 0.5 * (across**2 + along**2)
        return float(2.0 * fresnel * np.exp(-2.0 * tau / cosine) * cosine)

    critical = float(np.sqrt(1.0 - 1.0 / index**2))
    partly, _ = quad(integrand, critical * (1 + 1e-15), 1.0, epsabs=1e-13, limit=400)
    return float(partly + 2.0 * critical**2 * expn(3, 2.0 * tau / critical))


@pytest.mark.parametrize("index", [1.3, 1.5, 1.7])
@pytest.mark.parametrize("tau", [1e-5, 1e-3, 0.02, 0.3, 1.7, 6.0])
def test_internal_return_by_another_quadrature(tau: float, index: float) -> None:
    """The fixed nodes agree with adaptive quadrature over the other cosine."""
    assert internal_return(tau, index) == pytest.approx(
        internal_return_by_scipy(tau, index), abs=QUADRATURE
    )


@pytest.mark.parametrize("index", [1.0, 1.3, 1.5, 1.7])
def test_table_error(index: float) -> None:
    """The tabulated terms stay within the stated error, from the thinnest film to the thickest."""
    tau = np.concatenate([[0.0], np.geomspace(1e-9, 40.0, 40_001)])
    trapped = FilmOptics(Geometry.DIRECTIONAL, index).terms(tau).trapped
    assert np.abs(trapped - internal_return(tau, index)).max() < TABLE


@pytest.mark.parametrize("geometry", list(Geometry))
def test_slopes_are_derivatives(geometry: Geometry) -> None:
    """The slopes agree with central differences of the terms."""
    optics = FilmOptics(geometry)
    tau = np.array([1e-3, 0.01, 0.1, 0.5, 1.0, 3.0])
    step = 1e-4 * tau
    above, below = optics.terms(tau + step), optics.terms(tau - step)
    here, slopes = optics.derivatives(tau)
    for value, alone in zip(here, optics.terms(tau), strict=True):
        assert value == pytest.approx(alone, abs=TABLE)
    differences = 5e-5  # central differences with the table's own error over the step
    for slope, high, low in zip(slopes, above, below, strict=True):
        assert slope == pytest.approx((high - low) / (2 * step), rel=1e-3, abs=differences)


def test_slopes_at_no_film() -> None:
    """At τ = 0 the slopes are finite and equal one-sided differences."""
    optics = FilmOptics(Geometry.DIFFUSE_SPECULAR_EXCLUDED)
    ahead, here = optics.terms(1e-6), optics.terms(0.0)
    for slope, high, low in zip(optics.derivatives(0.0)[1], ahead, here, strict=True):
        assert slope == pytest.approx((high - low) / 1e-6, rel=1e-3)


@pytest.mark.parametrize("geometry", list(Geometry))
@pytest.mark.parametrize("return_ratio", [0.0, 0.4, 1.0])
def test_ground_from_bare_inverts_the_film(geometry: Geometry, return_ratio: float) -> None:
    """A ground is found again from its reading under clear."""
    optics = FilmOptics(geometry, surface=0.01)
    ground = np.array([0.05, 0.4, 0.85, 1.1])
    reading = optics.reflectance(0.0, ground, return_ratio)
    assert optics.ground_from_bare(reading, return_ratio) == pytest.approx(ground, rel=1e-12)


def test_terms_keep_the_shape_of_their_depths() -> None:
    """Depths of any shape come back as terms of that shape, scalars included."""
    optics = FilmOptics(Geometry.DIFFUSE_SPECULAR_INCLUDED)
    for shape in ((), (3,), (2, 3, 4)):
        terms = optics.terms(np.full(shape, 0.3))
        assert terms.escape.shape == terms.trapped.shape == shape
