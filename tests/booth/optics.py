"""Light in a film over a ground, followed direction by direction.

Purpose
    The outside world that learning and matching are judged against. It shares no code and no
    formula with the package: where the package integrates a Lambertian model in closed form, this
    module carries the radiance of every direction through film, interface and ground.

Model
    Discrete ordinates, on the nodes of `directions`. A scattering film is solved exactly in depth
    by the eigenvectors of its transfer matrix, for the film alone; the top interface and the
    ground are then joined to it by following bounce after bounce until what is left cannot matter.
    A clear film is the same with a diagonal transmission.

Assumptions
    Film and clear have one index and a smooth top; metallic flakes lie in that same index. The
    ground scatters isotropically about its normal, so that the mean over azimuth is exact
    whenever one direction is the normal (45:0) or is summed over the hemisphere (di:8, de:8).
    Light that the top returns wanders off sideways by twice the tangent of its direction; `edge`
    is the share of it, per unit of that tangent, that comes up beyond the aperture and is not
    seen: about the thickness of film and clear over the aperture's radius.

Sources
    Discrete ordinates: K. Stamnes et al., Appl. Opt. 27, 2502 (1988),
    doi:10.1364/AO.27.002502; what the module
    is held to is in tests/outside/test_booth_optics.py. The law of edge loss is our own, no source.

Validity
    Index 1 (no surface, for checks) or 1.2 and more: just above 1 the trapped directions are so
    grazing that the haze's matrix is ill-conditioned. Optical depths from 0 to some tens. Flake
    slopes of 0.12 or more, and asymmetries up to .85: sharper ones would need more nodes.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from booth.directions import Nodes, lay_nodes
from booth.kernels import Lobe, lobe_kernel, phase_kernels

__all__ = ["reflectance", "scattering_slab"]

Array = NDArray[np.float64]

# Flakes of smaller slope, and particles that scatter forward, take twice the usual nodes.
SHARP_SLOPE = 0.25
# Bounces stop when none changes any radiance by more than this share of the beam.
BOUNCE_LEFT = 1e-12
MOST_BOUNCES = 4000
# Elements carried at once: keeps the working set within the cache.
BATCH = 256


def scattering_slab(
    absorbed: Array, scattered: Array, nodes: Nodes, phase: tuple[Array, Array] | None = None
) -> tuple[Array, Array]:
    """Return (reflection, transmission) of the bare film, each `(n, n_nodes, n_nodes)`.

    They act on radiances: up = reflection @ down. `phase` holds the phase function within and
    across hemispheres, each `(n_nodes, n_nodes)` or one for every film `(n, n_nodes, n_nodes)`;
    None is isotropic. Sums and differences of down and up, times q = √w, obey

        u s' = -(1 - albedo·O) d,    u d' = -(1 - albedo·E) s

    with E, O = q·½(within ± across)·q. With L·Lᵀ = 1 - albedo·O and s = L·z/u it follows that
    z'' = Lᵀ (1 - albedo·E)/u² L z: symmetric, so that real eigenvectors solve it in depth.
    """
    total = np.maximum(absorbed + scattered, 1e-12)
    albedo = (scattered / total)[:, None, None]
    u, q = nodes.cosine, np.sqrt(nodes.weight)
    if phase is None:
        slope = q / u
        matrix = np.diag(1.0 / u**2) - albedo * np.outer(slope, slope)
        squares, vectors = np.linalg.eigh(matrix)
        sums, differences = vectors / (q * u)[:, None], vectors / q[:, None]
    else:
        within, across = phase
        frame = np.outer(q, q) / 2.0
        lower = np.linalg.cholesky(np.eye(u.size) - albedo * frame * (within - across))
        even = (np.eye(u.size) - albedo * frame * (within + across)) / np.outer(u, u)
        flipped = np.swapaxes(lower, -1, -2)
        squares, vectors = np.linalg.eigh(flipped @ even @ lower)
        sums = (lower @ vectors) / (q * u)[:, None]
        differences = np.linalg.solve(flipped, vectors) / q[:, None]
    rate = np.sqrt(np.maximum(squares, 1e-14))[:, None, :]
    half = np.tanh(rate * total[:, None, None] / 2.0)
    halves = []
    for a, b in ((sums, differences * rate * half), (sums * half / rate, differences)):
        # (A - B)(A + B)⁻¹, as the solution of a transposed system.
        top, bottom = np.swapaxes(a - b, -1, -2), np.swapaxes(a + b, -1, -2)
        halves.append(np.swapaxes(np.linalg.solve(bottom, top), -1, -2))
    even_part, odd_part = halves
    return 0.5 * (even_part + odd_part), 0.5 * (even_part - odd_part)


def _upward(
    film: tuple[Array, Array, Array],
    ground: Array,
    kernel: Array,
    source: Array,
    nodes: Nodes,
    phase: tuple[Array, Array] | None = None,
    edge: float = 0.0,
) -> Array:
    """Follow `source` (downward radiance below the top) until it has left: upward `(n, n_nodes)`.

    `film` holds depths of absorption, of isotropic scattering and of scattering by `phase`,
    `ground` reflectances, all `(n,)`. One round: through the film, off the ground, back through
    the film, off the top.
    """
    absorbed, isotropic, forward = film
    reflect = (kernel * nodes.flux).T
    hazy = bool(np.any(isotropic + forward > 0.0))
    if hazy:
        films, place = np.unique(np.stack(film), axis=1, return_inverse=True)
        back, through = (
            np.swapaxes(matrix, -1, -2)[place] for matrix in _film_matrices(films, nodes, phase)
        )

        def step(radiance: Array, matrix: Array) -> Array:
            return np.asarray((radiance[:, None, :] @ matrix)[:, 0, :])
    else:
        fade = np.exp(-absorbed[:, None] / nodes.cosine)
    seen = np.exp(-2.0 * edge * np.sqrt(1.0 - nodes.cosine**2) / nodes.cosine)
    returned = nodes.fresnel * seen
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
        down = source + returned * up
        if change < BOUNCE_LEFT:
            return up
    message = "the bounces between ground and top do not die out: is a ground above 1?"
    raise ValueError(message)


def _film_matrices(
    films: Array, nodes: Nodes, phase: tuple[Array, Array] | None
) -> tuple[Array, Array]:
    """Return `scattering_slab` of films `(3, n)`, the two kinds of scattering mixed in each."""
    absorbed, isotropic, forward = films
    if phase is None or not forward.any():
        return scattering_slab(absorbed, isotropic, nodes)
    share = (forward / np.maximum(isotropic + forward, 1e-300))[:, None, None]
    within, across = (1.0 - share + share * kernel for kernel in phase)
    return scattering_slab(absorbed, isotropic + forward, nodes, (within, across))


def reflectance(
    absorption: ArrayLike,
    ground: ArrayLike,
    lobe: Lobe | Array | None = None,
    *,
    geometry: str = "45:0",
    index: float = 1.5,
    scattering: ArrayLike = 0.0,
    forward: ArrayLike = 0.0,
    asymmetry: float = 0.0,
    edge: float = 0.0,
) -> Array:
    """Return what the instrument reads from a film over a ground.

    Parameters
    ----------
    absorption, scattering, forward : optical depths of the film along its normal, one way [1], of
        absorption, of isotropic scattering and of scattering with the phase function's
        `asymmetry` (the mean cosine).
    ground : share that the ground reflects, inside the film [1]; broadcasts with the depths.
    lobe : how the ground spreads it; None is Lambertian. Or the kernel itself
        `(n_nodes, n_nodes)`, on the nodes of `directions.lay_nodes(index)`.
    geometry : "45:0" (reflectance factor), "de:8", "di:8" (specular left out, included), or, for
        checks only, "di:0" (normal incidence) and "d:d" (diffuse light and diffuse viewing),
        both with the surface reflection.
    index : refractive index of film and clear [1].
    edge : loss beyond the aperture's edge [1], see above.

    Returns
    -------
    Array of the broadcast shape [1].
    """
    kernel = lobe if isinstance(lobe, np.ndarray) else None
    lobe = lobe if isinstance(lobe, Lobe) else Lobe()
    depths = np.broadcast_arrays(
        *(np.asarray(x, float) for x in (absorption, scattering, forward, ground))
    )
    fineness = 2 if asymmetry or (lobe.slope is not None and lobe.slope < SHARP_SLOPE) else 1
    nodes = lay_nodes(index, fineness)
    if kernel is None:
        kernel = lobe_kernel(lobe, index, fineness)
    elif fineness != 1:
        raise ValueError("a kernel of its own is on the usual nodes, which asymmetry needs finer")
    phase = phase_kernels(asymmetry, index, fineness) if asymmetry else None
    source, view, first = _instrument(geometry, nodes, index)
    shape = depths[0].shape
    flat = [np.ravel(values) for values in depths]
    out = np.empty(flat[0].size)
    # Clear and hazy elements go apart: matrices for the hazy ones, none for the clear ones. Equal
    # films are put side by side, so that one solution serves them over every ground.
    hazy = flat[1] + flat[2] > 0.0
    order = np.lexsort((flat[0], flat[1], flat[2]))
    for chosen in (order[~hazy[order]], order[hazy[order]]):
        for start in range(0, chosen.size, BATCH):
            part = chosen[start : start + BATCH]
            a, s, f, r = (values[part] for values in flat)
            up = _upward((a, s, f), r, kernel, source, nodes, phase, edge)
            out[part] = first + up @ view
    return out.reshape(shape)


def _instrument(geometry: str, nodes: Nodes, index: float) -> tuple[Array, Array, float]:
    """Return the light sent in, the weights of what is seen `(n_nodes,)`, and the gloss in it."""
    escape = (1.0 - nodes.fresnel) * nodes.flux
    first = 0.0
    source = np.zeros(nodes.cosine.size)
    if geometry == "d:d":
        # Conservation: what diffuse light does not get in, the surface reflects.
        return index**2 * (1.0 - nodes.fresnel), escape, 1.0 - index**2 * float(escape.sum())
    if geometry == "45:0":
        beam, view = nodes.normal, np.zeros(nodes.cosine.size)
        view[nodes.slanted] = (1.0 - nodes.fresnel[nodes.slanted]) / index**2
    elif geometry in ("de:8", "di:8", "di:0"):
        beam, view = (nodes.normal if geometry == "di:0" else nodes.eight), escape
        first = 0.0 if geometry == "de:8" else float(nodes.fresnel[beam])
    else:
        raise ValueError(f"unknown geometry {geometry!r}")
    source[beam] = (1.0 - nodes.fresnel[beam]) / nodes.flux[beam]
    return source, view, first
