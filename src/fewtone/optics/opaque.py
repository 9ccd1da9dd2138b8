r"""Opaque grounds mixed: what a keyed ground reflects inside the film, from what its parents do.

Model
    At infinite thickness the ratio of absorption to scattering of a mix is the mean of its parents'
    ratios, each by its share of the scattering (Kubelka and Munk; Duncan's law of mixtures with one
    constant for each paint). The surface between film and air plays no part: reflectances are
    those inside the film, the surface having been taken off by the film's optics.

        A = ρ · t^0.4                 what of diffuse light comes back [1]
        q = K/S = (1 - A)²/(2A)
        wᵢ = cᵢ σᵢ / Σ cᵢ σᵢ          c shares by volume, σ how strongly a paint scatters
        q = Σ wᵢ qᵢ,  A = 1 + q - √(q² + 2q)

    Flake: ρ over flake is a factor in the instrument's directions, more than what the flake
    reflects in all by t^-0.4, t being the ground's internal-return ratio (`fewtone.optics.flake`).
    Of what an opaque pile reflects, the share A²/(1 + A²) was scattered more than once and has
    forgotten its lobe: t = u + (1 - u) · A²/(1 + A²), averaged over the wavelengths, where u is the
    return ratio of light scattered once. A mix has u = Σ wᵢ uᵢ. Next to a solid's light in the
    instrument's directions more of diffuse light comes back than a Lambertian ground's: it enters
    with u = 1.25, and no mix has a t above 1.

    How strongly a paint scatters: grounds are made to hide in films alike, and what hides by
    absorbing need scatter less. √(q(q + 2)) S is the rate at which light fades in an opaque pile;
    halfway in between, σ = (q(q + 2))^-0.15 at the geometric mean over the wavelengths, times the
    paint's own strength, which readings of its mixes tell.

Sources
    P. Kubelka and F. Munk, Z. Tech. Phys. 12, 593 (1931); D. R. Duncan, Proc. Phys. Soc. 52, 390
    (1940), doi:10.1088/0959-5309/52/3/310. The powers 0.4 and -0.15 and the law of t are empirical,
    calibrated in a simulated booth of flakes in tinted binders.

Validity
    ΔE00 of a few units where strengths are not known, about one where they are. Flake that returns
    more than 0.97 of what meets it counts as if it returned that.
"""

from __future__ import annotations

import numpy as np

from fewtone.typing import FloatArray, FloatLike

__all__ = ["absorption_to_scattering", "mixed_ground", "opaque_reflectance", "scattering_strength"]

_FACTOR_POWER, _HIDING_POWER, _SOLID_ONCE = 0.4, 0.15, 1.25
_MOST_REFLECTED, _LEAST_REFLECTED, _LEAST_RETURN = 0.97, 1e-5, 0.02


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


def scattering_strength(reflectance: FloatLike, return_ratio: FloatLike) -> FloatArray:
    """How strongly paints scatter that hide in films alike [1], relative to one another.

    Parameters
    ----------
    reflectance
        Inside the film [1], shape ``(..., n_wavelengths)``.
    return_ratio
        Internal-return ratio [1], shape ``(...)``.

    Returns
    -------
    Shape ``(...)``.
    """
    ratio = absorption_to_scattering(_diffuse(reflectance, return_ratio))
    return np.asarray(np.exp(-_HIDING_POWER * np.log(ratio * (ratio + 2.0)).mean(axis=-1)))


def mixed_ground(
    reflectance: FloatLike, return_ratio: FloatLike, strength: FloatLike, fractions: FloatLike
) -> tuple[FloatArray, FloatArray]:
    """Reflectance and internal-return ratio of a mix of opaque grounds.

    Parameters
    ----------
    reflectance
        Of each ground inside the film [1], shape ``(..., n_grounds, n_wavelengths)``.
    return_ratio
        Of each ground [1], shape ``(..., n_grounds)``; 1 for solids.
    strength
        Logarithm of each ground's own strength [1], shape ``(..., n_grounds)``.
    fractions
        Share of each by volume [1], summing to 1, shape ``(n_grounds,)``.

    Returns
    -------
    Reflectance inside the film [1], ``(..., n_wavelengths)``, and return ratio [1], ``(...)``.
    """
    ratio = np.asarray(return_ratio, dtype=float)
    diffuse = _diffuse(reflectance, ratio)
    weight = scattering_strength(reflectance, ratio) * np.exp(strength) * np.asarray(fractions)
    weight = weight / weight.sum(axis=-1, keepdims=True)
    mixed = opaque_reflectance(
        (weight[..., np.newaxis] * absorption_to_scattering(diffuse)).sum(axis=-2)
    )
    again = _scattered_again(diffuse)
    flake = np.clip((ratio - again) / (1.0 - again), _LEAST_RETURN, 1.0)
    once = np.where(ratio < 1.0, flake, _SOLID_ONCE)
    once = (weight * once).sum(axis=-1)
    mixed_ratio = np.minimum(once + (1.0 - once) * _scattered_again(mixed), 1.0)
    return mixed * mixed_ratio[..., np.newaxis] ** -_FACTOR_POWER, mixed_ratio


def _diffuse(reflectance: FloatLike, return_ratio: FloatLike) -> FloatArray:
    """What of diffuse light comes back [1], shaped like `reflectance`."""
    ratio = np.asarray(return_ratio, dtype=float)[..., np.newaxis]
    return np.clip(
        np.asarray(reflectance, dtype=float) * ratio**_FACTOR_POWER,
        _LEAST_REFLECTED,
        _MOST_REFLECTED,
    )


def _scattered_again(diffuse: FloatArray) -> FloatArray:
    """Share of what comes back that was scattered more than once [1], the last axis averaged.

    R = (1 + R²) S/(2 (K + S)), and light that is scattered once alone makes up S/(2 (K + S)).
    """
    return np.asarray((diffuse**2 / (1.0 + diffuse**2)).mean(axis=-1))
