"""How light changes direction: off flake or a solid ground, and off particles within the film.

Model
    Flakes are mirrors; their kernel follows from how their slopes are spread, by one of two laws,
    narrow or long-tailed, and a ground may hold two sorts of flake: a core and a skirt. Particles
    scatter by the phase function of Henyey and Greenstein. Kernels are averaged over azimuth and
    scaled symmetrically until no direction gains or loses light on the nodes at hand, so that they
    are reciprocal and lossless.

Sources
    Gaussian slopes: P. Beckmann and A. Spizzichino, The Scattering of Electromagnetic Waves from
    Rough Surfaces, 1963. Long-tailed slopes: T. S. Trowbridge and K. P. Reitz, J. Opt. Soc. Am. 65,
    531 (1975). Phase function: L. G. Henyey and J. L. Greenstein, Astrophys. J. 93, 70 (1941). All
    from memory; what they are held to is in tests/outside/test_booth_optics.py.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from booth.directions import lay_nodes

__all__ = ["Lobe", "lobe_kernel", "phase_kernels"]

Array = NDArray[np.float64]

_AZIMUTH = (np.arange(720) + 0.5) * np.pi / 720
_MOST_SCALINGS, _SCALED = 5000, 1e-14


@dataclass(frozen=True, slots=True)
class Lobe:
    """How a ground spreads what it reflects.

    `slope` is the root mean square slope of the flakes [rad, small-angle]; None means Lambertian.
    `diffuse` is the share of the reflected light that leaves by the Lambertian law [1]. Of the
    flakes, the share `skirt` [1] has slopes of `skirt_slope` instead. With `long_tailed` slopes
    follow Trowbridge and Reitz, of which `slope` is the width, not Beckmann.
    """

    slope: float | None = None
    diffuse: float = 1.0
    skirt_slope: float = 0.5
    skirt: float = 0.0
    long_tailed: bool = False

    def turned(self, factor: float) -> Lobe:
        """Return the same flake with slopes `factor` as steep."""
        if self.slope is None:
            return self
        return Lobe(
            self.slope * factor,
            self.diffuse,
            self.skirt_slope * factor,
            self.skirt,
            self.long_tailed,
        )


@lru_cache(maxsize=1024)
def lobe_kernel(lobe: Lobe, index: float, fineness: int = 1) -> Array:
    """Return the ground's kernel K(u, u'), `(n_nodes, n_nodes)`: 1 everywhere when Lambertian.

    Reciprocal and lossless: K = Kᵀ, Σ_j K_ij flux_j = 1.
    """
    nodes = lay_nodes(index, fineness)
    count = nodes.cosine.size
    if lobe.slope is None:
        return np.ones((count, count))
    u, v = nodes.cosine[:, None, None], nodes.cosine[None, :, None]
    between = u * v + np.sqrt((1.0 - u**2) * (1.0 - v**2)) * np.cos(_AZIMUTH)
    tilt_cosine_squared = np.minimum((u + v) ** 2 / np.maximum(2.0 + 2.0 * between, 1e-300), 1.0)
    slopes = (1.0 - lobe.skirt) * _slope_law(tilt_cosine_squared, lobe.slope, lobe.long_tailed)
    if lobe.skirt:
        slopes += lobe.skirt * _slope_law(tilt_cosine_squared, lobe.skirt_slope, lobe.long_tailed)
    kernel = _lossless(slopes.mean(axis=-1) / (4.0 * u[..., 0] * v[..., 0]), nodes.flux)
    return np.asarray(lobe.diffuse + (1.0 - lobe.diffuse) * kernel)


def _slope_law(tilt_cosine_squared: Array, slope: float, long_tailed: bool) -> Array:
    """Return π times the density of flake normals per solid angle, by their tilt."""
    tangent_squared = 1.0 / tilt_cosine_squared - 1.0
    if long_tailed:
        spread = 1.0 / (1.0 + tangent_squared / slope**2) ** 2
    else:
        spread = np.exp(-tangent_squared / slope**2)
    return np.asarray(spread / (slope * tilt_cosine_squared) ** 2)


@lru_cache(maxsize=32)
def phase_kernels(asymmetry: float, index: float, fineness: int = 1) -> tuple[Array, Array]:
    """Return the phase function between nodes of one hemisphere, and of opposite ones.

    Both `(n_nodes, n_nodes)`, averaged over azimuth, 1 everywhere when isotropic (asymmetry 0);
    ½ Σ_j (same_ij + other_ij)·weight_j = 1.
    """
    nodes = lay_nodes(index, fineness)
    u, v = nodes.cosine[:, None, None], nodes.cosine[None, :, None]
    across = np.sqrt((1.0 - u**2) * (1.0 - v**2)) * np.cos(_AZIMUTH)
    same, other = (
        _henyey_greenstein(sign * u * v + across, asymmetry).mean(axis=-1) for sign in (1.0, -1.0)
    )
    count = nodes.cosine.size
    sphere = _lossless(
        np.block([[same, other], [other, same]]), np.concatenate([nodes.weight, nodes.weight]) / 2.0
    )
    return sphere[:count, :count], sphere[:count, count:]


def _henyey_greenstein(cosine: Array, asymmetry: float) -> Array:
    """Return the phase function by the cosine between directions; its mean over the sphere is 1."""
    g = asymmetry
    return np.asarray((1.0 - g**2) / (1.0 + g**2 - 2.0 * g * cosine) ** 1.5)


def _lossless(kernel: Array, weight: Array) -> Array:
    """Scale a kernel by the same factors from both sides until kernel @ weight is 1."""
    scale = np.ones(weight.size)
    for _ in range(_MOST_SCALINGS):
        last = scale
        scale = np.sqrt(scale / (kernel @ (scale * weight)))
        if np.max(np.abs(scale / last - 1.0)) < _SCALED:
            break
    kernel = scale[:, None] * kernel * scale
    return np.asarray(0.5 * (kernel + kernel.T))
