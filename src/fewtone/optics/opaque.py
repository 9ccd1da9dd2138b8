r"""Opaque grounds mixed: what a keyed ground reflects inside the film, from what its parents do.

Model
    At infinite thickness the ratio of absorption to scattering of a mix is the mean of its parents'
    ratios, each by its share of the scattering (Kubelka and Munk; Duncan's law of mixtures with one
    constant for each paint). The surface between film and air plays no part: reflectances are
    those inside the film, the surface having been taken off by the film's optics.

        A = ρ · t(λ)^p                what of diffuse light comes back [1], p = 0.34
        q = K/S = (1 - A)²/(2A)
        wᵢ = cᵢ σᵢ / Σ cᵢ σᵢ          c shares by volume, σ how strongly a paint scatters
        q = Σ wᵢ qᵢ,  A = 1 + q - √(q² + 2q)

    Flake: ρ over flake is a factor in the instrument's directions, more than what the flake
    reflects in all by t^-p, t being the internal-return ratio (`fewtone.optics.flake`), which leans
    on the wavelength by how much is reflected there. Of what an opaque pile reflects, the share
    g = A²/(1 + A²) was scattered more than once and has forgotten its lobe. The rest was scattered
    once: of flake the instrument sees u^-p, and u of that returns; of what solids scatter, w_s of
    all, it sees 0.58 and 2.84 returns, next to flake that is Lambertian. Flakes lie flat and dim
    light of all directions alike, at their share of the scattering w_f; what lies between them dims
    slanted light more, and what returns is slanted:

        seen = (Σ wᵢ uᵢ^-p + 0.58 w_s) / (w_f + 0.41 (w_s + q)),  i all flakes
        returned = (Σ wᵢ uᵢ^(1-p) + 2.84 w_s) / (w_f + 1.16 (w_s + q))
        t(λ) = (1 - g) · returned/seen + g,  1 at most;  t = Σ A t(λ) / Σ A

    A flake's own u follows from its t by the same, w_f being 1.

    Solids: one that reflects as Lambert has it has t = 1. A deep pile of pigment that scatters
    alike in all directions sends back the more slanted light, which the top returns, the less of it
    was scattered often:

        t = 1 + 0.8 (1 - ρ)²

    Of solids alone mixed, t is the mean Σ wᵢ tᵢ.

    How strongly a paint scatters: grounds are made to hide in films alike, and what hides by
    absorbing need scatter less. √(q(q + 2)) S is the rate at which light fades in an opaque pile;
    part of the way, σ = (q(q + 2))^-0.13 at the geometric mean over the wavelengths, times the
    paint's own strength, which readings of its mixes tell.

Sources
    P. Kubelka and F. Munk, Z. Tech. Phys. 12, 593 (1931); D. R. Duncan, Proc. Phys. Soc. 52, 390
    (1940), doi:10.1088/0959-5309/52/3/310. The law of t and all its numbers are empirical,
    calibrated in a simulated booth of flakes in tinted binders (its random paints of seeds 2001 to
    2024 and 2101 to 2124). That of a solid's t is fitted to piles that scatter isotropically, which
    S. Chandrasekhar, Radiative Transfer (1960), gives by his H functions; a test works them out.

Validity
    ΔE00 of a few units where strengths are not known, about one where they are. Flake that returns
    more than 0.97 of what meets it counts as if it returned that.
"""

from __future__ import annotations

import numpy as np

from fewtone.typing import BoolArray, FloatArray, FloatLike

__all__ = [
    "absorption_to_scattering",
    "mixed_ground",
    "opaque_reflectance",
    "scattering_strength",
    "solid_return_ratio",
]

_SLANTED = 0.8
_FACTOR_POWER, _HIDING_POWER = 0.34, 0.13
# Of light that solids scatter once: what the instrument sees of it, and what returns.
_SOLID_SEEN, _SOLID_RETURNED = 0.58, 2.84
# How much more than flake what lies between flakes dims light that is seen, and that returns.
_SEEN_PATH, _RETURNED_PATH = 0.41, 1.16
_MOST_REFLECTED, _LEAST_REFLECTED, _LEAST_RETURN, _MOST_ONCE = 0.97, 1e-5, 0.02, 3.0
# Rounds in which a flake's light is told apart, and what changes so little no more.
_ROUNDS, _SETTLED = 60, 1e-10


def absorption_to_scattering(reflectance: FloatLike) -> FloatArray:
    """K/S of an opaque coat of a reflectance inside the film [1], the same shape.

    Parameters
    ----------
    reflectance
        Inside the film [1], any shape.
    """
    r = np.asarray(reflectance, dtype=float)
    return np.asarray((1.0 - r) ** 2 / (2.0 * r))


def opaque_reflectance(ratio: FloatLike) -> FloatArray:
    """Reflectance inside the film [1] of an opaque coat of a K/S, the same shape.

    Parameters
    ----------
    ratio
        K/S [1], any shape.
    """
    q = np.asarray(ratio, dtype=float)
    # 1 + q - √(q² + 2q), written so that it keeps its digits where it is small.
    return np.asarray(1.0 / (1.0 + q + np.sqrt(q * (q + 2.0))))


def scattering_strength(diffuse: FloatLike) -> FloatArray:
    """How strongly paints scatter that hide in films alike [1], relative to one another.

    Parameters
    ----------
    diffuse
        What of diffuse light comes back inside the film [1], shape ``(..., n_wavelengths)``.

    Returns
    -------
    Shape ``(...)``.
    """
    ratio = absorption_to_scattering(diffuse)
    return np.asarray(np.exp(-_HIDING_POWER * np.log(ratio * (ratio + 2.0)).mean(axis=-1)))


def solid_return_ratio(reflectance: FloatLike) -> FloatArray:
    """Internal-return ratio of solids whose pigment scatters alike in all directions [1].

    By one number for all wavelengths: what returns counts by how much is reflected.

    Parameters
    ----------
    reflectance
        Of each solid inside the film [1], shape ``(..., n_wavelengths)``.

    Returns
    -------
    Shape ``(...)``, 1 or more.
    """
    rho = np.minimum(np.asarray(reflectance, dtype=float), 1.0)
    return np.asarray(1.0 + _SLANTED * (rho * (1.0 - rho) ** 2).sum(axis=-1) / rho.sum(axis=-1))


def mixed_ground(
    reflectance: FloatLike, return_ratio: FloatLike, strength: FloatLike, fractions: FloatLike
) -> tuple[FloatArray, FloatArray]:
    """Reflectance and internal-return ratio of a mix of opaque grounds.

    Parameters
    ----------
    reflectance
        Of each ground inside the film [1], shape ``(..., n_grounds, n_wavelengths)``.
    return_ratio
        Of each ground [1], shape ``(..., n_grounds)``; 1 or more for solids.
    strength
        Logarithm of each ground's own strength [1], shape ``(..., n_grounds)``.
    fractions
        Share of each by volume [1], summing to 1, shape ``(n_grounds,)``.

    Returns
    -------
    Reflectance inside the film [1], ``(..., n_wavelengths)``, and return ratio [1], ``(...)``.
    """
    ratio = np.asarray(return_ratio, dtype=float)
    is_flake = ratio < 1.0
    diffuse, once = _taken_apart(np.asarray(reflectance, dtype=float), ratio, is_flake)
    weight = scattering_strength(diffuse) * np.exp(strength) * np.asarray(fractions)
    weight = weight / weight.sum(axis=-1, keepdims=True)
    absorbs = (weight[..., np.newaxis] * absorption_to_scattering(diffuse)).sum(axis=-2)
    mixed = opaque_reflectance(absorbs)
    flake = np.where(is_flake, weight, 0.0)
    solid = (weight.sum(axis=-1) - flake.sum(axis=-1))[..., np.newaxis]
    seen = (flake * once**-_FACTOR_POWER).sum(axis=-1)[..., np.newaxis] + _SOLID_SEEN * solid
    returned = (flake * once ** (1.0 - _FACTOR_POWER)).sum(axis=-1)[..., np.newaxis]
    returned = returned + _SOLID_RETURNED * solid
    by_wavelength = _return_ratios(mixed, returned / seen * _slanted(absorbs, solid))
    mixed_ratio = (mixed * by_wavelength).sum(axis=-1) / mixed.sum(axis=-1)
    if not is_flake.any():
        mixed_ratio = np.maximum((weight * ratio).sum(axis=-1), 1.0)
        by_wavelength = mixed_ratio[..., np.newaxis]
    return mixed * by_wavelength**-_FACTOR_POWER, mixed_ratio


def _taken_apart(
    reflectance: FloatArray, ratio: FloatArray, is_flake: BoolArray
) -> tuple[FloatArray, FloatArray]:
    """What of diffuse light comes back of each ground, and u of its flake [1].

    Shaped like `reflectance` and like `ratio`. Either leans on the other.
    """
    t = np.broadcast_to(ratio[..., np.newaxis], reflectance.shape)
    for _ in range(_ROUNDS):
        before = t
        diffuse = np.clip(reflectance * t**_FACTOR_POWER, _LEAST_REFLECTED, _MOST_REFLECTED)
        slanted = _slanted(absorption_to_scattering(diffuse), 0.0)
        # t = Σ A min((1 - g) slanted u + g, 1) / Σ A, solved for u.
        again = np.where(t < 1.0, diffuse**3 / (1.0 + diffuse**2), diffuse)
        left = ratio * diffuse.sum(axis=-1) - again.sum(axis=-1)
        once = left / np.maximum((slanted * (diffuse - again)).sum(axis=-1), _LEAST_REFLECTED)
        once = np.clip(once, _LEAST_RETURN, _MOST_ONCE)
        t = _return_ratios(diffuse, slanted * once[..., np.newaxis])
        t = np.where(is_flake[..., np.newaxis], t, ratio[..., np.newaxis])
        if np.abs(t - before).max() < _SETTLED:
            break
    return diffuse, once


def _slanted(absorbs: FloatArray, solid: FloatLike) -> FloatArray:
    """How much less returns than is seen of light scattered once, by what lies between flakes [1].

    `absorbs` is K/S, `solid` the solids' share of the scattering; shaped like `absorbs`.
    """
    other = np.asarray(solid, dtype=float)
    flake, between = 1.0 - other, other + absorbs
    return np.asarray((flake + _SEEN_PATH * between) / (flake + _RETURNED_PATH * between))


def _return_ratios(diffuse: FloatArray, once: FloatArray) -> FloatArray:
    """Return ratios at each wavelength, `once` being that of light scattered once, the same shape.

    R = (1 + R²) S/(2 (K + S)), and light that is scattered once alone makes up S/(2 (K + S)): the
    share R²/(1 + R²) was scattered again.
    """
    again = diffuse**2 / (1.0 + diffuse**2)
    return np.asarray(np.minimum((1.0 - again) * once + again, 1.0))
