"""The booth's optics against tables, closed forms and limits: the judge is itself judged here."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.special import expn

from booth import Lobe, directions, kernels, optics, reflectance, xyz_weights
from booth.dyes import GRID_NM

Array = NDArray[np.float64]

QUADRATURE = 1e-5  # 21 directions; the tables are printed to 1e-6 or 1e-5
MACHINE = 1e-9  # identities that hold for any set of directions
SILVER = Lobe(0.36, 0.20)

# Film over a Lambertian ground of 0.8, n = 1.5: exact angular integrals, adding-doubling and a
# 20-million-photon Monte Carlo agree. 45:0: F. C. Williams and F. R. Clapper, J. Opt. Soc. Am. 43,
# 595 (1953). 8:d: L. Simonot, M. Hébert and R. D. Hersch, J. Opt. Soc. Am. A 23, 1463 (2006).
# tau: (8:d, d:d, 45:0), specular included in the first two.
CLEAR_FILM = {
    0.0: (0.632836, 0.652637, 0.619947),
    0.1: (0.400511, 0.428329, 0.377295),
    0.3: (0.230326, 0.264827, 0.199449),
    1.0: (0.077090, 0.122605, 0.038940),
    2.0: (0.044354, 0.094980, 0.004546),
}
# Isotropically scattering film, n = 1.5, normal incidence, specular included: adding-doubling,
# with Monte Carlo within three standard errors. (tau, albedo, ground): reflectance.
SCATTERING_FILM = {
    (0.5, 0.1, 0.8): 0.16685,
    (0.5, 0.3, 0.8): 0.19826,
    (0.5, 0.5, 0.05): 0.07295,
    (1.0, 0.5, 0.8): 0.14620,
}
# Diffuse reflectance of an interface from outside; D. B. Judd, J. Res. NBS 29, 329 (1942) has the
# classic table; these are its integrals redone to 1e-6.
EXTERNAL_DIFFUSE = {1.3: 0.061132, 1.4: 0.076812, 1.5: 0.091778, 1.6: 0.106246, 1.7: 0.120320}


@pytest.mark.parametrize("tau", CLEAR_FILM)
def test_clear_film_over_lambertian_ground(tau: float) -> None:
    """A clear film over a Lambertian ground reads what the exact integrals say."""
    read = [float(reflectance(tau, 0.8, geometry=g)) for g in ("di:8", "d:d", "45:0")]
    np.testing.assert_allclose(read, CLEAR_FILM[tau], atol=QUADRATURE, rtol=0)


@pytest.mark.parametrize("film", SCATTERING_FILM)
def test_scattering_film_over_lambertian_ground(film: tuple[float, float, float]) -> None:
    """A hazy film over a Lambertian ground reads what adding-doubling and Monte Carlo say."""
    tau, albedo, ground = film
    read = reflectance(tau * (1 - albedo), ground, geometry="di:0", scattering=tau * albedo)
    np.testing.assert_allclose(read, SCATTERING_FILM[film], atol=QUADRATURE, rtol=0)


@pytest.mark.parametrize("index", EXTERNAL_DIFFUSE)
def test_interface_alone(index: float) -> None:
    """Over a black ground, diffuse light meets only the surface, for every index."""
    read = reflectance(0.0, 0.0, geometry="d:d", index=index)
    np.testing.assert_allclose(read, EXTERNAL_DIFFUSE[index], atol=QUADRATURE, rtol=0)


def test_specular_is_included_or_not() -> None:
    """di:8 exceeds de:8 by F(8°) = .040006 at n = 1.5 (Fresnel), film or no film."""
    tau = np.array([0.0, 0.4, 2.0])
    first = reflectance(tau, 0.6, geometry="di:8") - reflectance(tau, 0.6, geometry="de:8")
    np.testing.assert_allclose(first, 0.040006, atol=1e-6, rtol=0)


@pytest.mark.parametrize("lobe", [None, SILVER])
@pytest.mark.parametrize("scattering", [0.0, 0.3, 3.0])
def test_nothing_is_lost(lobe: Lobe | None, scattering: float) -> None:
    """Without absorption, over a ground of 1, all light comes back, haze or flake or not."""
    read = [
        float(reflectance(0.0, 1.0, lobe, geometry=g, scattering=scattering))
        for g in ("di:8", "d:d")
    ]
    # The scattering film's layer matrices are exact to about a hundredth of this.
    np.testing.assert_allclose(read, 1.0, atol=1e-7, rtol=0)


def test_lambertian_limit_of_45_0() -> None:
    """A perfect Lambertian ground reads 1.003906 in 45:0: a factor, not a share."""
    np.testing.assert_allclose(reflectance(0.0, 1.0), 1.003906, atol=QUADRATURE, rtol=0)


@pytest.mark.parametrize("geometry", ["45:0", "de:8", "d:d"])
def test_haze_fades_into_clear(geometry: str) -> None:
    """A film that scatters next to nothing reads as a clear one, through the other solver."""
    tau = np.array([0.0, 0.2, 1.0, 4.0])
    clear = reflectance(tau, 0.7, SILVER, geometry=geometry)
    faint = reflectance(tau, 0.7, SILVER, geometry=geometry, scattering=1e-10)
    np.testing.assert_allclose(faint, clear, atol=MACHINE, rtol=0)


def test_half_space_follows_chandrasekhar() -> None:
    """A boundless scattering medium without a surface reflects 1 - H(1)·√(1 - albedo).

    S. Chandrasekhar, Radiative Transfer (1950), chapter V (from memory); H solves its own
    integral equation below, on directions of its own.
    """
    x, w = np.polynomial.legendre.leggauss(200)
    mu, weight = np.append((x + 1) / 2, 1.0), np.append(w / 2, 0.0)
    for albedo in (0.3, 0.6, 0.9):
        h = np.ones(mu.size)
        for _ in range(500):
            # The form that converges for every albedo.
            against = (mu * h * weight / (mu[:, None] + mu)).sum(axis=1)
            h = 1.0 / (np.sqrt(1.0 - albedo) + albedo / 2.0 * against)
        expected = 1.0 - h[-1] * np.sqrt(1.0 - albedo)
        depth = 60.0
        read = reflectance(
            depth * (1 - albedo), 0.0, geometry="di:0", index=1.0, scattering=depth * albedo
        )
        np.testing.assert_allclose(read, expected, atol=QUADRATURE, rtol=0)


def test_single_scattering_of_a_thin_film() -> None:
    """A weakly scattering film on black, without a surface, gives back single scattering.

    First order in scattering: τs/2τ · ∫ e^(-t) E₂(t) dt over the film's depth τ (Chandrasekhar,
    Radiative Transfer; from memory).
    """
    scattering, absorption = 1e-5, 0.2
    tau = scattering + absorption
    t = (np.arange(4000) + 0.5) * tau / 4000
    once = 0.5 * scattering / tau * float(np.sum(np.exp(-t) * expn(2, t))) * tau / 4000
    read = reflectance(absorption, 0.0, geometry="di:0", index=1.0, scattering=scattering)
    # Twice scattered light is of the order of scattering squared, 1e-10; once is 4e-6.
    np.testing.assert_allclose(read, once, rtol=1e-3)


def test_two_half_layers_make_one() -> None:
    """The scattering layer obeys the adding principle (van de Hulst, Multiple Light Scattering)."""
    nodes = directions.lay_nodes(1.5)
    half, whole = (
        [m[0] for m in optics.scattering_slab(np.array([a]), np.array([s]), nodes)]
        for a, s in ((0.3, 0.2), (0.6, 0.4))
    )
    back, through = half
    between = np.linalg.inv(np.eye(back.shape[0]) - back @ back)
    np.testing.assert_allclose(through @ between @ through, whole[1], atol=MACHINE)
    np.testing.assert_allclose(back + through @ between @ back @ through, whole[0], atol=MACHINE)


@pytest.mark.parametrize("slope", [0.25, 0.36, 0.5])
def test_flake_lobe_is_reciprocal_and_lossless(slope: float) -> None:
    """A flake ground gives back all it gets, from every direction, and the same both ways."""
    kernel = kernels.lobe_kernel(Lobe(slope, 0.15), 1.5)
    np.testing.assert_allclose(kernel @ directions.lay_nodes(1.5).flux, 1.0, atol=MACHINE)
    np.testing.assert_array_equal(kernel, kernel.T)
    assert kernel.min() >= 0.15


@pytest.mark.parametrize("scattering", [0.0, 0.2])
def test_light_runs_both_ways(scattering: float) -> None:
    """45:0 and 0:45 agree over flake (Helmholtz reciprocity, radiance by n² inside)."""
    nodes = directions.lay_nodes(1.5)
    kernel = kernels.lobe_kernel(SILVER, 1.5)
    seen = []
    for beam, view in ((nodes.normal, nodes.slanted), (nodes.slanted, nodes.normal)):
        source = np.zeros(nodes.cosine.size)
        source[beam] = 1.0 / nodes.flux[beam]
        film = (np.array([0.3]), np.array([scattering]), np.array([0.0]))
        seen.append(optics._upward(film, np.array([0.7]), kernel, source, nodes)[0, view])
    np.testing.assert_allclose(seen[0], seen[1], atol=MACHINE)


def test_dense_film_over_flake_is_a_single_bounce() -> None:
    """Under a dense film only the first bounce is seen: K·ρ·e^(-τ(1/μ'+1)), by Snell's law."""
    nodes, tau = directions.lay_nodes(1.5), 6.0
    path = 1.0 + 1.0 / np.sqrt(1.0 - 0.5 / 1.5**2)
    kernel = kernels.lobe_kernel(SILVER, 1.5)[nodes.normal, nodes.slanted]
    # (1 - F45)(1 - F0)/n² = .949760 x .96 / 2.25, Fresnel.
    expected = 0.949760 * 0.96 / 2.25 * 0.7 * kernel * np.exp(-tau * path)
    # What bounces twice has crossed the film at least twice more: e^(-12).
    np.testing.assert_allclose(reflectance(tau, 0.7, SILVER), expected, rtol=2e-5)


@pytest.fixture
def twice_the_directions(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Lay twice as many directions, for one test."""

    def forget() -> None:
        directions.lay_nodes.cache_clear()
        kernels.lobe_kernel.cache_clear()
        kernels.phase_kernels.cache_clear()

    monkeypatch.setattr(directions, "TRAPPED_NODES", 2 * directions.TRAPPED_NODES)
    twice = tuple(2 * n for n in directions.ESCAPING_NODES)
    monkeypatch.setattr(directions, "ESCAPING_NODES", twice)
    forget()
    yield
    monkeypatch.undo()
    forget()


def _flake_readings() -> Array:
    return np.array(
        [
            reflectance([0.0, 0.3, 1.5], 0.75, Lobe(s, 0.15), geometry=g, scattering=h)
            for s in (0.25, 0.4)
            for g in ("45:0", "de:8")
            for h in (0.0, 0.2)
        ]
    )


FLAKE_READINGS = _flake_readings()


@pytest.mark.usefixtures("twice_the_directions")
def test_more_directions_change_nothing() -> None:
    """Over the sharpest lobe used, twice the directions read the same."""
    np.testing.assert_allclose(_flake_readings(), FLAKE_READINGS, atol=QUADRATURE, rtol=0)


@pytest.mark.parametrize(
    ("light", "white"),
    [
        ("D65/10", (94.811, 100.0, 107.304)),
        ("D65/2", (95.047, 100.0, 108.883)),
        ("D50/2", (96.422, 100.0, 82.521)),
        ("A/10", (111.144, 100.0, 35.200)),
    ],
)
def test_weights_of_a_perfect_white(light: str, white: tuple[float, float, float]) -> None:
    """The booth's weights sum to the published white points (ASTM E308), ±0.01."""
    np.testing.assert_allclose(xyz_weights(GRID_NM, light).sum(axis=0), white, atol=0.01)
