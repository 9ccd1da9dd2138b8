r"""How light comes round again off a ground, Lambertian or of flake.

Model
    Flake sends most light into a lobe that leaves the film at once; the top returns only its flank.
    One number says how much: the internal-return ratio t, the share that back₁ has of `trapped`
    where there is no film; 1 for a Lambertian ground, and more for a solid that sends light back
    slanted (`fewtone.optics.opaque.solid_return_ratio`), whose back₁ and back₂ both are
    t · trapped(τ). Over flake, of light that left it for the first time, and for any later time,
    there comes round again

        back₁ = t · (t^0.4 · trapped(τ) + (1 - t^0.4) · trapped(0) · exp(-2.5 τ))
        back₂ = t^(1/3) · trapped(τ)

    What the top returns of a lobe lies mostly just beyond the critical angle, so its paths are
    alike, and shorter than those of diffuse light: hence the plain exponential. What came round
    once goes from flank to flank and stays trapped: hence the root. Both are sums of falling
    exponentials, so the logarithm of a clear film's reflectance is convex in τ.

    In a film that scatters, light that was not scattered goes as above through both depths
    together, τ + s. Scattered light meets the ground, or leaves it, from all directions: of the
    escaping light its part counts by T^0.6, T being back₁/trapped at τ + s, of the light that
    comes round first by t^(0.8/(1 + 8 s)), and later by t.

    Flake of very broad slopes, like a deep pile of pigment, sends back more slanted light than a
    Lambertian ground does: t is above 1, back₁ and back₂ are t · trapped(τ), and scattered light
    counts by t^0.3 where it escapes, by t where it comes round.

Sources
    The numbers are empirical, from angular simulations (discrete ordinates) over Gaussian lobes of
    .25 to .5 rad slope at index 1.5. With the t that fits a lobe best, over grounds of .14 to .66,
    the root mean square miss in L* is (a test holds it to bounds above these)

    ===== ============= ============================== =================== ==================
    \     slope [rad]   clear, one t for all meetings  clear, the law here hazy, s up to 0.3
    ===== ============= ============================== =================== ==================
    45:0  .30 to .44    .08 to .12                     .020 to .024        .11 to .18
    de:8  .36 to .44    .08 to .14                     .02 to .06          .10 to .15
    de:8  .30           .16                            .11                 .21
    ===== ============= ============================== =================== ==================

    Of slopes of .6 and .7 clear and hazy films together are off by .02 to .22, of deep piles of
    pigment by .07 to .12; as Lambertian grounds they would be off by .2 to 1.

Validity
    t from 0 to 2; broad lobes. At indices 1.4 and 1.6 about as good, for a lobe of .36
    rad.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from fewtone.optics.terms import FilmTerms, HazeDerivatives, HazeTerms
from fewtone.typing import FloatArray, FloatLike, frozen

__all__ = [
    "NOTHING",
    "Part",
    "clear_derivatives",
    "clear_returns",
    "hazy_derivatives",
    "hazy_returns",
]

NOTHING = frozen(0.0)
_DIFFUSE_POWER, _FLANK_PATH, _LATER_POWER = 0.4, 2.5, 1.0 / 3.0
_ESCAPE_POWER, _SCATTERED_POWER, _SCATTERED_FADE = 0.6, 0.8, 8.0
_SLANTED_POWER = 0.3
# The roots' derivatives have no end at t = 0: no internal return at all is next to none.
_LEAST_RETURN_RATIO = 1e-9
# `trapped` of the deepest films, so that its ratios stay finite.
_LEAST_TRAPPED = 1e-18


class Part(NamedTuple):
    """A part of a film's reflectance, with derivatives; all of one shape.

    Parameters
    ----------
    value
        The part [1].
    d_tau, d_scattering, d_return_ratio
        Its derivatives in τ, in scattering depth and in t.
    """

    value: FloatArray
    d_tau: FloatArray
    d_scattering: FloatArray
    d_return_ratio: FloatArray


def clear_returns(
    clear: FilmTerms,
    tau: FloatLike,
    return_ratio: FloatLike,
    most_trapped: float,
    ground: FloatLike = 1.0,
) -> tuple[FloatArray, FloatArray]:
    """ρ · back₁ and ρ · back₂ of a clear film.

    Parameters
    ----------
    clear
        The film's terms at `tau`.
    tau
        Absorption optical depth [1], any shape.
    return_ratio
        Internal-return ratio of the ground [1], broadcasts with `tau`.
    most_trapped
        `trapped` of no film [1].
    ground
        Reflectance ρ of the ground inside the film [1], broadcasts with `tau`.
    """
    t, rho = (
        np.maximum(np.asarray(return_ratio, float), _LEAST_RETURN_RATIO),
        np.asarray(ground, dtype=float),
    )
    diffuse, root = _powers(t)
    flank = np.exp(np.multiply(tau, -_FLANK_PATH))
    # Small factors first: every product of whole arrays counts where millions are worked out.
    first = clear.trapped * (rho * t * diffuse)
    first += flank * (rho * (most_trapped * t * (1.0 - diffuse)))
    return first, clear.trapped * (rho * root)


def clear_derivatives(
    clear: FilmTerms,
    clear_by: FilmTerms,
    tau: FloatLike,
    return_ratio: FloatLike,
    most_trapped: float,
) -> tuple[Part, Part, Part]:
    """Escaping light, back₁ and back₂ with their derivatives; `clear_by` are those of `clear`.

    Parameters
    ----------
    clear, clear_by
        A clear film's terms and their derivatives, at `tau`.
    tau
        Absorption optical depth [1], any shape.
    return_ratio
        Internal-return ratio of the ground [1], broadcasts with it.
    most_trapped
        The internal diffuse reflectance without absorption [1].

    Returns
    -------
    Each part with its derivative, in the broadcast shape.
    """
    t = np.maximum(np.asarray(return_ratio, dtype=float), _LEAST_RETURN_RATIO)
    first, later = clear_returns(clear, tau, t, most_trapped)
    diffuse, root = _powers(t)
    flank = most_trapped * np.exp(-_FLANK_PATH * np.asarray(tau, dtype=float))
    back_1 = Part(
        first,
        t * diffuse * clear_by.trapped - _FLANK_PATH * t * (1.0 - diffuse) * flank,
        NOTHING,
        flank + np.where(t > 1.0, 1.0, 1.0 + _DIFFUSE_POWER) * diffuse * (clear.trapped - flank),
    )
    later_power = np.where(t > 1.0, 1.0, _LATER_POWER)
    back_2 = Part(later, root * clear_by.trapped, NOTHING, later_power * later / t)
    return Part(clear.escape, clear_by.escape, NOTHING, NOTHING), back_1, back_2


def hazy_returns(
    clear: FilmTerms,
    direct: FilmTerms,
    added: HazeTerms,
    depths: tuple[FloatLike, FloatLike],
    return_ratio: FloatLike,
    most_trapped: float,
    ground: FloatLike = 1.0,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Escaping light, ρ · back₁ and ρ · back₂ of a film that scatters.

    Parameters
    ----------
    clear, direct
        Terms at the depth of absorption alone, and at that of both together.
    added
        What scattering adds.
    depths
        Absorption and scattering depth [1].
    return_ratio, most_trapped, ground
        As in `clear_returns`.
    """
    t = np.maximum(np.asarray(return_ratio, dtype=float), _LEAST_RETURN_RATIO)
    rho = np.asarray(ground, dtype=float)
    once, later = clear_returns(direct, np.add(*depths), t, most_trapped)
    more = clear.escape * np.exp(added.brightening) - direct.escape
    scattered = clear.trapped + added.returned - direct.trapped
    return (
        direct.escape + _escape_weight(once, direct.trapped, t) * more,
        rho * (once + _scattered_weight(t, depths[1]) * scattered),
        rho * (later + t * scattered),
    )


def hazy_derivatives(
    clear: tuple[FilmTerms, FilmTerms],
    direct: tuple[FilmTerms, FilmTerms],
    added: HazeDerivatives,
    depths: tuple[FloatLike, FloatLike],
    return_ratio: FloatLike,
    most_trapped: float,
) -> tuple[Part, Part, Part]:
    """`hazy_returns` with their derivatives; `clear` and `direct` come with their derivatives."""
    t = np.maximum(np.asarray(return_ratio, dtype=float), _LEAST_RETURN_RATIO)
    (here, here_by), (through, through_by) = clear, direct
    terms, d_absorption, d_scattering = added
    escape, first, last = hazy_returns(here, through, terms, depths, t, most_trapped)
    _, once, later = clear_derivatives(through, through_by, np.add(*depths), t, most_trapped)
    weight = _escape_weight(once.value, through.trapped, t)
    of_first = _ESCAPE_POWER * weight / np.maximum(once.value, _LEAST_TRAPPED * t)
    by_ratio = np.where(t > 1.0, _SLANTED_POWER * weight / t, of_first * once.d_return_ratio)
    of_trapped = _ESCAPE_POWER * weight / np.maximum(through.trapped, _LEAST_TRAPPED)
    bright = np.exp(terms.brightening)
    full = here.escape * bright
    more = full - through.escape
    either = (1.0 - weight) * through_by.escape
    either = either + (of_first * once.d_tau - of_trapped * through_by.trapped) * more
    full_by = (here_by.escape + here.escape * d_absorption.brightening) * bright
    scattered = here.trapped + terms.returned - through.trapped
    scattered_by = here_by.trapped + d_absorption.returned - through_by.trapped
    scattered_by_s = d_scattering.returned - through_by.trapped
    share = _scattered_weight(t, depths[1])
    fade = 1.0 + _SCATTERED_FADE * np.asarray(depths[1], dtype=float)
    power = np.where(t > 1.0, 1.0, _SCATTERED_POWER / fade)
    share_by_s = -share * np.log(np.minimum(t, 1.0)) * power * _SCATTERED_FADE / fade
    return (
        Part(
            escape,
            either + weight * full_by,
            either + weight * full * d_scattering.brightening,
            by_ratio * more,
        ),
        Part(
            first,
            once.d_tau + share * scattered_by,
            once.d_tau + share * scattered_by_s + share_by_s * scattered,
            once.d_return_ratio + power * share / t * scattered,
        ),
        Part(
            last,
            later.d_tau + t * scattered_by,
            later.d_tau + t * scattered_by_s,
            later.d_return_ratio + scattered,
        ),
    )


def _powers(return_ratio: FloatArray) -> tuple[FloatArray, FloatArray]:
    """What t counts for in the first and in later meetings: its roots over flake."""
    t = return_ratio
    return np.minimum(t, 1.0) ** _DIFFUSE_POWER, np.where(t > 1.0, t, t**_LATER_POWER)


def _escape_weight(
    first_return: FloatArray, trapped: FloatArray, return_ratio: FloatLike
) -> FloatArray:
    """What scattered light counts for that escapes; `first_return` is that of the ground."""
    slanted = np.maximum(return_ratio, 1.0)
    within = np.maximum(first_return / slanted, _LEAST_TRAPPED) / np.maximum(
        trapped, _LEAST_TRAPPED
    )
    return np.asarray(slanted**_SLANTED_POWER * np.exp(_ESCAPE_POWER * np.log(within)))


def _scattered_weight(return_ratio: FloatArray, scattering: FloatLike) -> FloatArray:
    """What scattered light counts for that comes round for the first time."""
    fade = 1.0 + _SCATTERED_FADE * np.asarray(scattering, dtype=float)
    power = np.where(return_ratio > 1.0, 1.0, _SCATTERED_POWER / fade)
    return np.asarray(np.exp(np.log(return_ratio) * power))
