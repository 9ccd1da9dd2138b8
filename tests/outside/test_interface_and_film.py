"""Published and independently recomputed values of the interface and the film."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import expn

from fewtone.optics.film import FilmOptics, Geometry
from fewtone.optics.integrals import diffuse_escape, internal_return
from fewtone.optics.interface import diffuse_external, diffuse_internal, film_cosine, fresnel

PRINTED = 1.5e-6  # the tables below are rounded to six places; half a digit and its ties

# Recomputed by five independent routes for this project. The classic tables of the same figures
# are D. B. Judd, J. Res. Natl. Bur. Stand. 29, 329 (1942) and S. Q. Duntley, J. Opt. Soc. Am. 32,
# 61 (1942).
INTERFACE = [
    (1.30, 0.017013, 0.023817, 0.061132, 0.444457),
    (1.40, 0.027778, 0.036579, 0.076812, 0.528985),
    (1.45, 0.033736, 0.043323, 0.084367, 0.564503),
    (1.50, 0.040000, 0.050240, 0.091778, 0.596346),
    (1.53, 0.043884, 0.054455, 0.096164, 0.613894),
    (1.55, 0.046521, 0.057288, 0.099066, 0.625001),
    (1.60, 0.053254, 0.064434, 0.106246, 0.650877),
    (1.70, 0.067215, 0.078918, 0.120320, 0.695612),
]


@pytest.mark.parametrize(("index", "normal", "oblique", "external", "internal"), INTERFACE)
def test_interface_table(
    index: float, normal: float, oblique: float, external: float, internal: float
) -> None:
    """Fresnel at 0° and 45° and both diffuse reflectances agree with the table."""
    assert fresnel(0.0, index) == pytest.approx(normal, abs=PRINTED)
    assert fresnel(45.0, index) == pytest.approx(oblique, abs=PRINTED)
    assert diffuse_external(index) == pytest.approx(external, abs=PRINTED)
    assert diffuse_internal(index) == pytest.approx(internal, abs=PRINTED)


def test_fresnel_at_eight_degrees() -> None:
    """The first surface of an 8° instrument at n = 1.5 (recomputed for this project)."""
    assert fresnel(8.0, 1.5) == pytest.approx(0.040006, abs=PRINTED)


def test_integrals_at_index_one_and_a_half() -> None:
    """r_i and t_o at four depths (recomputed for this project by several routes)."""
    tau = [0.1, 0.3, 1.0, 2.0]
    assert internal_return(tau, 1.5) == pytest.approx(
        [0.382344, 0.178853, 0.018106, 0.000978], abs=PRINTED
    )
    assert diffuse_escape(tau, 1.5) == pytest.approx(
        [0.360254, 0.287024, 0.129915, 0.042161], abs=PRINTED
    )


def test_no_interface_leaves_the_diffuse_transmission() -> None:
    """At n = 1 the escape is the textbook diffuse transmission 2·E₃(τ), here by scipy's E₃."""
    tau = np.array([0.1, 0.3, 1.0, 2.0])
    # Sixteen Gauss nodes on exp(-τ/μ) without an interface; in use n = 1 is only the limit.
    quadrature = 2e-6
    assert diffuse_escape(tau, 1.0) == pytest.approx(2.0 * expn(3, tau), abs=quadrature)
    assert 2.0 * expn(3, tau) == pytest.approx(
        [0.832583, 0.600084, 0.219384, 0.060267], abs=PRINTED
    )
    assert internal_return(tau, 1.0) == pytest.approx(np.zeros(4), abs=1e-15)


# τ, then 8:d and d:d with specular included, and 45:0, over a Lambertian ground of 0.8 at n = 1.5.
# Recomputed for this project: exact integral, adding-doubling and Monte Carlo agree to 1e-4.
FILM = [
    (0.0, 0.632836, 0.652637, 0.619947),
    (0.1, 0.400511, 0.428329, 0.377295),
    (0.3, 0.230326, 0.264827, 0.199449),
    (1.0, 0.077090, 0.122605, 0.038940),
    (2.0, 0.044354, 0.094980, 0.004546),
]


@pytest.mark.parametrize(("tau", "included", "diffuse", "directional"), FILM)
def test_film_over_a_lambertian_ground(
    tau: float, included: float, diffuse: float, directional: float
) -> None:
    """The film in three geometries; d:d is composed from the public integrals."""
    assert FilmOptics(Geometry.DIFFUSE_SPECULAR_INCLUDED).reflectance(tau, 0.8, 1.0) == (
        pytest.approx(included, abs=PRINTED)
    )
    assert FilmOptics(Geometry.DIRECTIONAL).reflectance(tau, 0.8, 1.0) == (
        pytest.approx(directional, abs=PRINTED)
    )
    escape, trapped = diffuse_escape(tau, 1.5), internal_return(tau, 1.5)
    both_ways = diffuse_external(1.5) + 1.5**2 * escape**2 * 0.8 / (1.0 - 0.8 * trapped)
    assert both_ways == pytest.approx(diffuse, abs=PRINTED)


def test_specular_excluded_leaves_out_the_first_surface_alone() -> None:
    """de:8 is di:8 less the first surface reflection (definition, CIE 15)."""
    tau = np.linspace(0.0, 3.0, 7)
    included = FilmOptics(Geometry.DIFFUSE_SPECULAR_INCLUDED).reflectance(tau, 0.8, 1.0)
    excluded = FilmOptics(Geometry.DIFFUSE_SPECULAR_EXCLUDED).reflectance(tau, 0.8, 1.0)
    assert included - excluded == pytest.approx(np.full(7, 0.040006), abs=PRINTED)


def test_limits_of_a_perfect_ground() -> None:
    """A lossless ground without a film: all comes back in 8:d; in 45:0 the factor exceeds 1."""
    included = FilmOptics(Geometry.DIFFUSE_SPECULAR_INCLUDED).reflectance(0.0, 1.0, 1.0)
    directional = FilmOptics(Geometry.DIRECTIONAL).reflectance(0.0, 1.0, 1.0)
    assert included == pytest.approx(1.0, abs=1e-9)
    assert directional == pytest.approx(1.003906, abs=PRINTED)


@pytest.mark.parametrize("ground", [0.05, 0.4, 0.8, 0.99])
def test_saunderson_limit(ground: float) -> None:
    """Without absorption 8:d is Saunderson's correction with k1 = F(8°), k2 = ρ_i.

    J. L. Saunderson, J. Opt. Soc. Am. 32, 727-736 (1942), doi:10.1364/JOSA.32.000727.
    """
    k1, k2 = 0.040006, 0.596346
    saunderson = k1 + (1 - k1) * (1 - k2) * ground / (1 - k2 * ground)
    film = FilmOptics(Geometry.DIFFUSE_SPECULAR_INCLUDED).reflectance(0.0, ground, 1.0)
    assert film == pytest.approx(saunderson, abs=2 * PRINTED)


def test_williams_and_clapper() -> None:
    """Path length and factor of J. Opt. Soc. Am. 43, 595 (1953) at n = 1.53."""
    optics = FilmOptics(Geometry.DIRECTIONAL, index=1.53)
    bare, coated = optics.terms([0.0, 1.0]).escape
    assert np.log(bare / coated) == pytest.approx(2.1277, abs=5e-5)
    assert bare == pytest.approx(0.38620, abs=5e-6)


@pytest.mark.parametrize(
    ("aspecular", "viewing", "path"),
    [
        (-15, 60, 2.3586),
        (15, 30, 2.1946),
        (25, 20, 2.1609),
        (45, 0, 2.1339),
        (75, -30, 2.1946),
        (110, -65, 2.3889),
    ],
)
def test_path_lengths_by_snell(aspecular: int, viewing: int, path: float) -> None:
    """Total path in the film for 45° illumination, n = 1.5 (recomputed; angles: ASTM E2194)."""
    assert viewing == 45 - aspecular
    total = 1.0 / film_cosine(45.0, 1.5) + 1.0 / film_cosine(viewing, 1.5)
    assert total == pytest.approx(path, abs=5e-5)


def test_film_angle_of_45_degree_light() -> None:
    """45° in air is 28.126° in a film of n = 1.5."""
    assert np.degrees(np.arccos(film_cosine(45.0, 1.5))) == pytest.approx(28.126, abs=5e-4)


def test_geometry_matters() -> None:
    """At τ = 1 over 0.8 the same film reads .039 in 45:0 and .077 in di:8."""
    directional = FilmOptics(Geometry.DIRECTIONAL).reflectance(1.0, 0.8, 1.0)
    diffuse = FilmOptics(Geometry.DIFFUSE_SPECULAR_INCLUDED).reflectance(1.0, 0.8, 1.0)
    assert (round(float(directional), 3), round(float(diffuse), 3)) == (0.039, 0.077)
