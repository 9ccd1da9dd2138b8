"""What the cuts stand on: sums of exponentials with a certified error, and planes that enclose."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.optimize import brentq

from fewtone.colorimetry import Light, weights, white_point
from fewtone.optics.film import FilmOptics, Geometry
from fewtone.recipes.evaluate import Evaluator, evaluator_of
from fewtone.recipes.lattice import Lattice
from fewtone.recipes.rules import Rules
from fewtone.search.bounds.exponentials import FLOOR, Exponentials, exponentials_of
from fewtone.search.bounds.shells import Planes, Shells
from fewtone.search.bounds.slices import Slice
from fewtone.search.bounds.windows import Window, window_of
from fewtone.typing import FloatArray
from invented import invented_shelf, lab_target

LIGHT = Light("D65", 10)
GEOMETRIES = list(Geometry)


def shelf(geometry: Geometry, seed: int = 5) -> tuple[Evaluator, Lattice]:
    """An invented shelf of clear toners, two of them weak."""
    curves, settings = invented_shelf(seed, 6, 4, coats=(1, 6), geometry=geometry, weak=2)
    rules = Rules.of(settings)
    return evaluator_of(curves, rules, lab_target((40.0, 0.0, 0.0))), Lattice.of(rules)


def straight(evaluator: Evaluator, amounts: FloatArray, ground: int) -> FloatArray:
    """F straight from the curves."""
    curves = evaluator.curves
    reflectance = curves.optics.reflectance(
        amounts @ curves.absorption, curves.ground_reflectance[ground], curves.return_ratio[ground]
    )
    return np.asarray(reflectance @ weights(curves.wavelength_nm, LIGHT) / white_point(LIGHT))


def worst(sums: Exponentials, evaluator: Evaluator, most: float) -> float:
    """Largest |F - value|/(F + FLOOR) over random films."""
    rng = np.random.default_rng(1)
    amounts = rng.dirichlet(np.full(6, 0.2), 3000) * rng.uniform(0.0, most, (3000, 1))
    tau = amounts @ sums.absorption
    errors = []
    for ground in range(4):
        exact = straight(evaluator, amounts, ground)
        found = sums.values(tau, np.full(3000, ground))
        errors.append((np.abs(found - exact) / (exact + FLOOR)).max())
    return float(max(errors))


@pytest.mark.parametrize("geometry", GEOMETRIES)
def test_the_certified_error_holds_and_is_near(geometry: Geometry) -> None:
    """Films nowhere exceed the bound; it is small, and no more than some times what is met."""
    evaluator, lattice = shelf(geometry)
    most = float(lattice.load_values[-1])
    sums = exponentials_of(evaluator.films)
    met = max(worst(sums, evaluator, depth) for depth in (most, 30.0 * most))
    assert met <= sums.error
    assert sums.error <= min(2e-3, 10.0 * met)


@pytest.mark.parametrize(
    ("geometry", "exponentials"), list(zip(GEOMETRIES, (1, 3, 3), strict=True))
)
def test_products_stand_for_exponentials(
    monkeypatch: pytest.MonkeyPatch, geometry: Geometry, exponentials: int
) -> None:
    """All rates from twice the first on are sums of two before them: few exponentials are taken.

    The first is the direct path's: in at 45° and out along the normal, or in at 8° and straight
    out, the angle in the film being Snell's.
    """
    evaluator, _ = shelf(geometry)
    sums, exp = exponentials_of(evaluator.films), np.exp
    taken = []

    def counted(values: FloatArray, **options: Any) -> Any:
        taken.append(1)
        return exp(values, **options)

    inside = math.asin(math.sin(math.radians(45.0 if exponentials == 1 else 8.0)) / 1.5)
    assert evaluator.curves.optics.index == 1.5
    assert sums.rates[0] == pytest.approx(1.0 + 1.0 / math.cos(inside), rel=1e-12)
    tau = np.random.default_rng(8).exponential(1.0, (5, 31))
    with monkeypatch.context() as patched:
        patched.setattr(np, "exp", counted)
        found = sums.terms(tau)
    assert len(taken) == exponentials
    wanted = exp(-np.multiply.outer(tau, sums.rates)).transpose(0, 2, 1).reshape(5, -1)
    assert found == pytest.approx(wanted, rel=1e-12, abs=1e-12)


@pytest.mark.parametrize("geometry", GEOMETRIES)
def test_rounding_allows_for_every_step(geometry: Geometry) -> None:
    """Of an exponent of up to 41, its exponential, the longest product, and the sum of all terms.

    By hand, in units of 2^-24: 8 for each unit of the exponent, 4 for what follows; 3 for each of
    as many exponentials as the largest rate holds the first; one for each term that is added.
    """
    evaluator, _ = shelf(geometry)
    sums = exponentials_of(evaluator.films)
    longest = round(sums.rates[-1] / sums.rates[0])
    steps = 8 * 41 + 4 + 3 * longest + sums.matrix.shape[1]
    assert sums.rounding >= steps * 2.0**-24


def test_a_planted_excess_is_seen() -> None:
    """A film whose reflectance bulges between two nodes of the fit raises the bound."""

    class Bulging(FilmOptics):
        def reflectance_derivatives(self, tau, ground, return_ratio, scattering=None):  # type: ignore[no-untyped-def]
            film = super().reflectance_derivatives(tau, ground, return_ratio, scattering)
            depth = np.broadcast_to(np.asarray(tau), film.reflectance.shape)
            # A kink of 0.01 at τ = 1: convex, and invisible at depths before it.
            more = 0.02 * np.maximum(1.0 - depth, 0.0)
            return film._replace(
                reflectance=film.reflectance + more, d_tau=film.d_tau - 0.02 * (depth < 1.0)
            )

    evaluator, _ = shelf(Geometry.DIRECTIONAL)
    plain = exponentials_of(evaluator.films).error
    bulging = replace(
        evaluator, curves=replace(evaluator.curves, optics=Bulging(Geometry.DIRECTIONAL))
    )
    assert exponentials_of(bulging.films).error > 2.0 * plain


@pytest.mark.parametrize("geometry", GEOMETRIES)
def test_rounding_to_32_bits_is_within_its_margin(geometry: Geometry) -> None:
    """Values in 32 bits are within `rounding` of those in 64."""
    evaluator, _ = shelf(geometry)
    sums = exponentials_of(evaluator.films)
    rng = np.random.default_rng(2)
    tau = rng.exponential(1.0, (2000, 31))
    ground = rng.integers(0, 4, 2000)
    exact, rounded = sums.values(tau, ground), sums.values(tau.astype(np.float32), ground)
    assert rounded.dtype == np.float32
    assert (np.abs(rounded - exact) <= sums.rounding * exact).all()


@pytest.mark.parametrize("geometry", GEOMETRIES)
def test_tangents_lie_below_and_chords_above(geometry: Geometry) -> None:
    """Log F of the sums is convex, and more of any toner darkens, below amounts of 0 as well."""
    evaluator, _ = shelf(geometry)
    sums = exponentials_of(evaluator.films)
    rng = np.random.default_rng(3)
    for place in range(4):
        ground = np.full(400, place)
        start, end = rng.exponential(0.15, (2, 400, 6)) - 0.05
        logs, falls = sums.tangents(start @ sums.absorption, ground)
        other = np.log(sums.values(end @ sums.absorption, ground))
        reach = (falls * (end - start)[:, np.newaxis]).sum(axis=2)
        assert (other >= logs - reach - 1e-9).all()
        share = rng.random((400, 1))
        between = np.log(sums.values((start + share * (end - start)) @ sums.absorption, ground))
        assert (between <= logs + share * (other - logs) + 1e-9).all()
        assert (sums.values((start + end + 0.1) @ sums.absorption, ground) <= np.exp(logs)).all()


def part_of(
    low: FloatArray, high: FloatArray, weights: FloatArray | None = None, least: float = 0.0
) -> Slice:
    """A slice of these ends of X, Y and Z and this side, or of one that holds all."""
    beside = np.ones(3) if weights is None else weights
    return Slice(low, high, np.zeros(2), beside[np.newaxis], np.array([least]))


def kept(planes: Planes, amounts: FloatArray) -> FloatArray:
    """Which amounts no plane of the first support cuts."""
    far, near = amounts @ planes.far[0].T, amounts @ planes.near[0].T
    return np.asarray((far <= 1.0 + 1e-5).all(axis=1) & (near >= 1.0 - 1e-5).all(axis=1))


@pytest.mark.parametrize("geometry", GEOMETRIES)
def test_planes_keep_what_is_wanted(geometry: Geometry) -> None:
    """No blend and load whose F lies in a window is cut, by the first planes or closer ones."""
    evaluator, lattice = shelf(geometry)
    sums = exponentials_of(evaluator.films)
    shells = Shells(sums, lattice.load_values)
    rng = np.random.default_rng(4)
    tested = 0
    for toners in lattice.supports(3):
        ground = int(rng.integers(4))
        rays = rng.dirichlet(np.ones(3), 4000)
        loads = rng.uniform(lattice.load_values[0], lattice.load_values[-1], 4000)
        amounts = rays * loads[:, np.newaxis]
        every = np.zeros((4000, 6))
        every[:, toners] = amounts
        exact = straight(evaluator, every, ground)
        middle = exact[rng.integers(4000)]
        window = window_of(sums, part_of(0.9 * middle, 1.1 * middle))
        wanted = ((exact >= 0.9 * middle) & (exact <= 1.1 * middle)).all(axis=1)
        where = (toners[np.newaxis], np.array([ground]))
        corners = shells.corners(window)
        members: FloatArray = np.zeros((1, 6), dtype=np.float32)
        members[0, toners] = 1.0
        assert corners.supports(members)[ground, 0]
        planes = shells.first(corners, *where, window)
        assert kept(planes, amounts[wanted]).all()
        # Closer planes hold for the rays that have no less of any toner than the least.
        part = wanted & (rays[:, 0] >= np.median(rays[wanted, 0]))
        for some in (wanted, part):
            least = rays[some].min(axis=0, keepdims=True)
            closer = shells.closer(planes, *where, least, window)
            assert kept(closer, amounts[some]).all()
            tested += int(some.sum())
    assert tested > 100


@pytest.mark.parametrize("geometry", GEOMETRIES)
@pytest.mark.parametrize("weights", [(1.0, -0.8, -0.1), (-1.0, 0.9, 0.2), (-0.2, -0.9, 1.0)])
def test_a_side_keeps_what_is_beyond_it_and_cuts_what_is_not(
    geometry: Geometry, weights: tuple[float, float, float]
) -> None:
    """Of blends in a window none with enough of a sum is cut, and most that have too little are.

    The first planes, which know each toner by itself alone, cut most where no blend has enough.
    """
    evaluator, lattice = shelf(geometry)
    sums, along = exponentials_of(evaluator.films), np.array(weights)
    shells, rng = Shells(sums, lattice.load_values), np.random.default_rng(4)
    lightest, darkest = lattice.load_values[[0, -1]]
    cut: list[FloatArray] = []
    cut_first: list[FloatArray] = []
    for toners in lattice.supports(3):
        ground = np.array([rng.integers(4)])
        rays = rng.dirichlet(np.ones(3), 3000)
        amounts = rays * rng.uniform(lightest, darkest, (3000, 1))
        every = np.zeros((3000, 6))
        every[:, toners] = amounts
        exact = straight(evaluator, every, int(ground[0]))
        middle = exact[rng.integers(3000)]
        low, high = 0.6 * middle, 1.6 * middle
        inside = ((exact >= low) & (exact <= high)).all(axis=1)
        little, enough, most = np.quantile(exact[inside] @ along, [0.3, 0.8, 1.0])
        wanted, far = inside & (exact @ along >= enough), inside & (exact @ along <= little)
        least = rays[wanted].min(axis=0, keepdims=True)
        far &= (rays >= least).all(axis=1)
        where = toners[np.newaxis], ground
        for level in (float(enough), float(most + 2.0 * (most - little))):
            window = window_of(sums, part_of(low, high, along, level))
            first = shells.first(shells.corners(window), *where, window)
            if level == enough:
                closer = shells.closer(first, *where, least, window)
                assert kept(first, amounts[wanted]).all()
                assert kept(closer, amounts[wanted]).all()
                cut.append(1.0 - kept(closer, amounts[far]))
            else:
                cut_first.append(1.0 - kept(first, amounts[inside]))
    assert np.concatenate(cut).mean() > 0.5
    assert np.concatenate(cut_first).mean() > 0.5


def met_at(
    sums: Exponentials, window: Window, amounts: FloatArray, ground: int
) -> tuple[float, float]:
    """How many times these amounts the window is left at, and entered, found by bisection."""

    def excess(times: float, channel: int, level: float) -> float:
        values = sums.values(times * amounts[np.newaxis] @ sums.absorption, np.array([ground]))
        return float(np.log(values[0, channel])) - level

    left, entered = (
        [brentq(excess, 0.0, 100.0, (channel, ends[channel])) for channel in range(3)]
        for ends in (window.lo, window.hi)
    )
    return min(left), max(entered)


def test_planes_of_a_narrow_part_meet_the_window_s_ends() -> None:
    """Along the middle of a few hundredths of a blend, cuts are about as far as they may be."""
    evaluator, lattice = shelf(Geometry.DIRECTIONAL)
    sums = exponentials_of(evaluator.films)
    shells, rng, far, near = Shells(sums, lattice.load_values), np.random.default_rng(4), [], []
    for toners in lattice.supports(3):
        ray, load = rng.dirichlet(np.full(3, 3.0)), rng.uniform(*lattice.load_values[[0, -1]])
        amounts = np.zeros(6)
        amounts[toners] = load * ray
        middle = straight(evaluator, amounts, 1)
        window = window_of(sums, part_of(0.9 * middle, 1.1 * middle))
        where = (toners[np.newaxis], np.array([1]))
        planes = shells.first(shells.corners(window), *where, window)
        closer = shells.closer(planes, *where, ray[np.newaxis] - 0.02, window)
        left, entered = met_at(sums, window, amounts, 1)
        far.append(left * load * (closer.far[0] @ ray).max())
        near.append(entered * load * (closer.near[0] @ ray).min())
    assert max(far) <= 1.0 + 1e-5 <= 2e-5 + min(near)  # 32 bits
    assert np.median(far) > 0.99
    assert np.median(near) < 1.01


def test_a_toner_that_never_gets_dark_bounds_what_others_do_beside_it() -> None:
    """Without any of it, the plane is the other toner's own."""
    evaluator, lattice = shelf(Geometry.DIRECTIONAL)
    sums = exponentials_of(evaluator.films)
    shells = Shells(sums, lattice.load_values)
    for strong in (3, 4, 5):
        amounts = 0.4 * np.eye(6)[strong]
        middle = straight(evaluator, amounts, 1)
        window = window_of(sums, part_of(0.9 * middle, 1.1 * middle))
        where = (np.array([[0, strong]]), np.array([1]))
        planes = shells.first(shells.corners(window), *where, window)
        plane = shells.closer(planes, *where, np.zeros((1, 2)), window).far[0]
        deciding = plane[plane[:, 1].argmax()]
        left, _ = met_at(sums, window, amounts, 1)
        assert 0.4 * left * deciding[1] == pytest.approx(1.0, abs=0.01)
        assert deciding[0] == 0.0


def test_a_window_is_widened_by_the_error() -> None:
    """Its ends are farther out than F may be off."""
    evaluator, _ = shelf(Geometry.DIRECTIONAL)
    sums = exponentials_of(evaluator.films)
    ends = np.array([0.1, 0.2, 0.3])
    window: Window = window_of(sums, part_of(ends, ends))
    off = sums.error * (ends + FLOOR)
    assert (window.least <= ends - off).all()
    assert (window.most >= ends + off).all()
