"""The booth's ground paints against what is known of opaque piles of flakes and of pigment."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from booth import GRID_NM, Lobe
from booth.directions import lay_nodes
from booth.paints import keyed, keying_paints, opaque_kernels

Array = NDArray[np.float64]
INDEX = 1.5
# The quadrature of the booth's own directions, the most grazing one aside.
QUADRATURE = 1e-4
NONE = np.zeros(1)


def _chandrasekhar(albedo: float, cosine: Array, flux: Array) -> Array:
    """Kernel of an isotropic pile by the H-function, on the directions themselves.

    S. Chandrasekhar, Radiative Transfer (1950), chapters IV and V, from memory: 1/H(μ) = 1 - ½ω μ
    ∫ H(μ')/(μ + μ') dμ' and a radiance of ω/4 · H H₀/(μ + μ₀) of a white Lambertian one's.
    """
    weight = flux / (2.0 * cosine)
    h = np.ones_like(cosine)
    pair = cosine[:, None] + cosine
    for _ in range(2000):
        h = 1.0 / (1.0 - 0.5 * albedo * cosine * ((h * weight) / pair).sum(axis=1))
    return np.asarray(albedo / 4.0 * np.outer(h, h) / pair)


@pytest.mark.parametrize("albedo", [0.3, 0.8, 0.99])
def test_pigment_alone_reflects_as_chandrasekhar_says(albedo: float) -> None:
    """Tint and pigment without flake are an isotropic pile of that albedo, in all directions."""
    nodes = lay_nodes(INDEX)
    kernel = opaque_kernels([], np.array([5.0 * (1.0 - albedo)]), np.array([5.0 * albedo]), INDEX)
    wanted = _chandrasekhar(albedo, nodes.cosine, nodes.flux)
    assert np.abs(kernel[0] - wanted)[1:, 1:].max() < QUADRATURE


@pytest.mark.parametrize("reflects", [0.2, 0.7, 0.92])
def test_lambertian_flakes_are_two_fluxes(reflects: float) -> None:
    """Flat flakes that spread light evenly know no direction: R = (1 - √(1 - r²))/r, a closed form.

    It is Kubelka and Munk's opaque pile with S = r and K = 1 - r.
    """
    kernel = opaque_kernels([(1.0, np.array([reflects]), Lobe())], NONE, NONE, INDEX)
    assert kernel[0] == pytest.approx(
        (1.0 - np.sqrt(1.0 - reflects**2)) / reflects * np.ones_like(kernel[0]), rel=1e-5
    )


def test_mirrors_and_white_lose_nothing_and_light_goes_both_ways() -> None:
    """Of flakes and pigment that absorb nothing all comes back; every kernel is reciprocal."""
    nodes = lay_nodes(INDEX)
    lossless = opaque_kernels([(9.0, np.ones(1), Lobe(0.36, 0.2))], NONE, 9.0 + NONE, INDEX)
    # What an opaque but finite pile lets through.
    assert nodes.flux @ lossless[0] @ nodes.flux == pytest.approx(1.0, abs=3e-3)
    for parts in ({"silver": 2, "moss": 1}, {"brass": 1, "graphite": 1}):
        kernels = keyed(parts, keying_paints()).kernels(INDEX)
        assert kernels.shape == (GRID_NM.size, nodes.cosine.size, nodes.cosine.size)
        assert np.abs(kernels - kernels.swapaxes(1, 2)).max() < 1e-9


def test_tint_costs_slanted_light_more() -> None:
    """The binder's tint acts along the ray's own path, the flakes do not."""
    nodes = lay_nodes(INDEX)
    flakes = [(4.0, np.ones(1), Lobe())]
    bare, tinted = (opaque_kernels(flakes, tint + NONE, NONE, INDEX)[0] for tint in (0.0, 0.5))
    left = np.diag(tinted / bare)
    steep = nodes.cosine > 0.3
    assert np.all(np.diff(left[steep][np.argsort(nodes.cosine[steep])]) > 0.0)
