"""Light in a film over a ground, followed direction by direction.

Purpose
    The outside world that learning and matching are judged against. It shares no code and no
    formula with the package: where the package integrates a Lambertian model in closed form, this
    module carries the radiance of every direction through film, interface and ground.

Model
    Discrete ordinates. Radiance averaged over azimuth lives on Gauss nodes of the film's cosine,
    split at the critical angle; beyond it the nodes are laid in the *external* cosine, where the
    Fresnel law is smooth, and the instrument's own directions are nodes themselves (Radau rules).
    A scattering film is solved exactly in depth by the eigenvectors of its transfer matrix
    (isotropic scattering makes it a rank-one change of a diagonal), for the film alone; the top
    interface and the ground are then joined to it by following bounce after bounce until what is
    left cannot matter. A clear film is the same with a diagonal transmission.

Assumptions
    Film and clear have one index and a smooth top; metallic flakes lie in that same index. The
    ground scatters isotropically about its normal, so that the mean over azimuth is exact
    whenever one direction is the normal (45:0) or is summed over the hemisphere (di:8, de:8).

Sources
    Discrete ordinates: K. Stamnes et al., Appl. Opt. 27, 2502 (1988). Flake slopes: P. Beckmann
    and A. Spizzichino, The Scattering of Electromagnetic Waves from Rough Surfaces, 1963. Both
    from memory; what the module is held to is in tests/outside/test_booth_optics.py.

Validity
    Index 1 (no surface, for checks) or 1.2 and more: just above 1 the trapped directions are so
    grazing that the haze's matrix is ill-conditioned. Optical depths from 0 to some tens. Flake
    slopes of 0.25 or more: a sharper lobe would need more nodes.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import roots_jacobi, roots_legendre

__all__ = ["Lobe", "Nodes", "fresnel_inside", "lay_nodes", "lobe_kernel", "reflectance"]

Array = NDArray[np.float64]

# Nodes per interval. With these the published film table is met to 2e-6. Twice as many change
# nothing; four times as many come so near to grazing that eigenvalues under haze lose digits.
TRAPPED_NODES = 8
ESCAPING_NODES = (6, 4, 3)  # 90° to 45°, 45° to 8°, 8° to the normal, in air
# Bounces stop when none changes any radiance by more than this share of the beam.
BOUNCE_LEFT = 1e-12
MOST_BOUNCES = 4000
# Elements carried at once: keeps the working set within the cache.
BATCH = 256


@dataclass(frozen=True, slots=True)
class Lobe:
    """How a ground spreads what it reflects.

    `slope` is the root mean square slope of the flakes [rad, small-angle]; None means Lambertian.
    `diffuse` is the share of the reflected light that leaves by the Lambertian law [1].
    """

    slope: float | None = None
    diffuse: float = 1.0


@dataclass(frozen=True)
class Nodes:
    """Directions inside the film; every array is `(n_nodes,)`.

    `cosine` inside the film, `weight` of ∫ dμ (sums to 1), `flux` = 2·cosine·weight (sums to 1),
    `fresnel` the internal reflectance; `normal`, `eight`, `slanted` are the places of the
    instrument's directions (0°, 8°, 45° in air).
    """

    cosine: Array
    weight: Array
    flux: Array
    fresnel: Array
    normal: int
    eight: int
    slanted: int


def fresnel_inside(cosine: Array, index: float) -> Array:
    """Return the unpolarised Fresnel reflectance seen from inside, by the film's cosine."""
    outside = np.sqrt(np.maximum(0.0, 1.0 - index**2 * (1.0 - cosine**2)))
    s = (index * cosine - outside) / (index * cosine + outside)
    p = (cosine - index * outside) / (cosine + index * outside)
    return np.asarray(np.where(outside > 0.0, 0.5 * (s**2 + p**2), 1.0))


def _radau(low: float, high: float, count: int) -> tuple[Array, Array]:
    """Return nodes and weights of the Gauss-Radau rule that holds the upper end."""
    inner, inner_weight = roots_jacobi(count - 1, 1.0, 0.0)
    x = np.append(inner, 1.0)
    w = np.append(inner_weight / (1.0 - inner), 2.0 / count**2)
    return low + (high - low) * (x + 1.0) / 2.0, w * (high - low) / 2.0


@lru_cache(maxsize=32)
def lay_nodes(index: float) -> Nodes:
    """Lay the directions for a film of this index."""
    cosine, weight = [], []
    if index > 1.0:
        # Beyond the critical angle: u = critical·x², crowding the nodes where exp(-τ/u) bends.
        x, w = roots_legendre(TRAPPED_NODES)
        x, w = (x + 1.0) / 2.0, w / 2.0
        critical = np.sqrt(1.0 - 1.0 / index**2)
        cosine, weight = [critical * x**2], [critical * 2.0 * x * w]
    ends = [0.0, np.cos(np.pi / 4.0), np.cos(np.deg2rad(8.0)), 1.0]
    for low, high, count in zip(ends[:-1], ends[1:], ESCAPING_NODES, strict=True):
        v, wv = _radau(low, high, count)
        u = np.sqrt(1.0 - (1.0 - v**2) / index**2)
        cosine.append(u)
        weight.append(v * wv / (index**2 * u))
    u = np.concatenate(cosine)
    w = np.concatenate(weight)
    last = u.size - 1
    return Nodes(
        cosine=u,
        weight=w,
        flux=2.0 * u * w,
        fresnel=fresnel_inside(u, index),
        normal=last,
        eight=last - ESCAPING_NODES[2],
        slanted=last - ESCAPING_NODES[2] - ESCAPING_NODES[1],
    )


@lru_cache(maxsize=128)
def lobe_kernel(lobe: Lobe, index: float) -> Array:
    """Return the ground's kernel K(u, u'), `(n_nodes, n_nodes)`: 1 everywhere when Lambertian.

    Flakes are mirrors whose slopes follow Beckmann's law; the kernel is averaged over azimuth and
    scaled symmetrically until every direction gives back all it received, so that it is
    reciprocal and lossless: Σ_j K_ij flux_j = 1.
    """
    nodes = lay_nodes(index)
    count = nodes.cosine.size
    if lobe.slope is None:
        return np.ones((count, count))
    u, v = nodes.cosine[:, None, None], nodes.cosine[None, :, None]
    azimuth = (np.arange(720) + 0.5) * np.pi / 720
    between = u * v + np.sqrt((1.0 - u**2) * (1.0 - v**2)) * np.cos(azimuth)
    tilt_cosine_squared = (u + v) ** 2 / np.maximum(2.0 + 2.0 * between, 1e-300)
    tangent_squared = 1.0 / np.minimum(tilt_cosine_squared, 1.0) - 1.0
    slopes = np.exp(-tangent_squared / lobe.slope**2) / tilt_cosine_squared**2
    kernel = slopes.mean(axis=-1) / (4.0 * u[..., 0] * v[..., 0])
    scale = np.ones(count)
    for _ in range(2000):
        scale = np.sqrt(scale / (kernel @ (scale * nodes.flux)))
    kernel = scale[:, None] * kernel * scale
    kernel = 0.5 * (kernel + kernel.T)
    return np.asarray(lobe.diffuse + (1.0 - lobe.diffuse) * kernel)


def _scattering_slab(absorbed: Array, scattered: Array, nodes: Nodes) -> tuple[Array, Array]:
    """Return (reflection, transmission) of the bare film, each `(n, n_nodes, n_nodes)`.

    They act on radiances: up = reflection @ down. Solved in the film's even and odd parts:
    x'' = (1/u² - albedo·(q/u)(q/u)ᵀ) x with x = u·√w·(down + up) and q = √w.
    """
    total = np.maximum(absorbed + scattered, 1e-12)
    u, q = nodes.cosine, np.sqrt(nodes.weight)
    slope = q / u
    matrix = np.diag(1.0 / u**2) - (scattered / total)[:, None, None] * np.outer(slope, slope)
    squares, vectors = np.linalg.eigh(matrix)
    rate = np.sqrt(np.maximum(squares, 1e-14))[:, None, :]
    half = np.tanh(rate * total[:, None, None] / 2.0)
    sums, differences = vectors / (q * u)[:, None], vectors / q[:, None]
    halves = []
    for a, b in ((sums, differences * rate * half), (sums * half / rate, differences)):
        # (A - B)(A + B)⁻¹, as the solution of a transposed system.
        top, bottom = np.swapaxes(a - b, -1, -2), np.swapaxes(a + b, -1, -2)
        halves.append(np.swapaxes(np.linalg.solve(bottom, top), -1, -2))
    even, odd = halves
    return 0.5 * (even + odd), 0.5 * (even - odd)


def _upward(
    film: tuple[Array, Array], ground: Array, kernel: Array, source: Array, nodes: Nodes
) -> Array:
    """Follow `source` (downward radiance below the top) until it has left: upward `(n, n_nodes)`.

    `film` holds absorption and scattering depths, `ground` reflectances, all `(n,)`.

    One round: through the film, off the ground, back through the film, off the top.
    """
    absorbed, scattered = film
    reflect = (kernel * nodes.flux).T
    hazy = bool(np.any(scattered > 0.0))
    if hazy:
        films, place = np.unique(np.stack([absorbed, scattered]), axis=1, return_inverse=True)
        back, through = (
            np.swapaxes(matrix, -1, -2)[place]
            for matrix in _scattering_slab(films[0], films[1], nodes)
        )

        def step(radiance: Array, matrix: Array) -> Array:
            return np.asarray((radiance[:, None, :] @ matrix)[:, 0, :])
    else:
        fade = np.exp(-absorbed[:, None] / nodes.cosine)
    down = np.broadcast_to(source, (ground.size, source.size)).copy()
    up = np.zeros_like(down)
    from_ground = np.zeros_like(down)
    ground = ground[:, None]
    for _ in range(MOST_BOUNCES):
        if hazy:
            at_ground = step(down, through) + step(from_ground, back)
            from_ground = ground * (at_ground @ reflect)
            new = step(down, back) + step(from_ground, through)
        else:
            new = fade * (ground * ((fade * down) @ reflect))
        change = np.max(np.abs(new - up), initial=0.0)
        up = new
        down = source + nodes.fresnel * up
        if change < BOUNCE_LEFT:
            return up
    message = "the bounces between ground and top do not die out: is a ground above 1?"
    raise ValueError(message)


def reflectance(
    absorption: ArrayLike,
    ground: ArrayLike,
    lobe: Lobe | None = None,
    *,
    geometry: str = "45:0",
    index: float = 1.5,
    scattering: ArrayLike = 0.0,
) -> Array:
    """Return what the instrument reads from a film over a ground.

    Parameters
    ----------
    absorption, scattering : optical depths of the film along its normal, one way [1].
    ground : share that the ground reflects, inside the film [1]; broadcasts with the depths.
    lobe : how the ground spreads it; None is Lambertian.
    geometry : "45:0" (reflectance factor), "de:8", "di:8" (specular left out, included), or, for
        checks only, "di:0" (normal incidence) and "d:d" (diffuse light and diffuse viewing),
        both with the surface reflection.
    index : refractive index of film and clear [1].

    Returns
    -------
    Array of the broadcast shape [1].
    """
    tau_a, tau_s, rho = np.broadcast_arrays(
        np.asarray(absorption, float), np.asarray(scattering, float), np.asarray(ground, float)
    )
    nodes = lay_nodes(index)
    kernel = lobe_kernel(lobe or Lobe(), index)
    escape = (1.0 - nodes.fresnel) * nodes.flux
    if geometry == "45:0":
        beam, view = nodes.normal, np.zeros(nodes.cosine.size)
        view[nodes.slanted] = (1.0 - nodes.fresnel[nodes.slanted]) / index**2
        first = 0.0
    elif geometry in ("de:8", "di:8", "di:0"):
        beam, view = (nodes.normal if geometry == "di:0" else nodes.eight), escape
        first = 0.0 if geometry == "de:8" else float(nodes.fresnel[beam])
    elif geometry == "d:d":
        beam, view = None, escape
        # Conservation: what diffuse light does not get in, the surface reflects.
        first = 1.0 - index**2 * float(escape.sum())
    else:
        raise ValueError(f"unknown geometry {geometry!r}")
    source = np.zeros(nodes.cosine.size)
    if beam is None:
        source[:] = index**2 * (1.0 - nodes.fresnel)
    else:
        source[beam] = (1.0 - nodes.fresnel[beam]) / nodes.flux[beam]

    shape = rho.shape
    flat = [np.ravel(values) for values in (tau_a, tau_s, rho)]
    out = np.empty(flat[0].size)
    # Clear and hazy elements go apart: matrices for the hazy ones, none for the clear ones. Equal
    # films are put side by side, so that one solution serves them over every ground.
    hazy = flat[1] > 0.0
    order = np.lexsort((flat[0], flat[1]))
    for chosen in (order[~hazy[order]], order[hazy[order]]):
        for start in range(0, chosen.size, BATCH):
            part = chosen[start : start + BATCH]
            a, s, r = (values[part] for values in flat)
            out[part] = first + _upward((a, s), r, kernel, source, nodes) @ view
    return out.reshape(shape)
