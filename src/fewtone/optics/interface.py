"""The flat, smooth surface between air and a film of one refractive index.

Model
    Unpolarised light, a non-absorbing dielectric of index n >= 1 at visible wavelengths, no
    dispersion. "External" quantities are for light that comes from the air, "internal" for light
    that comes from inside the film.

Sources
    M. Born and E. Wolf, Principles of Optics, section 1.5 (Snell, Fresnel); D. B. Judd, J. Res.
    Natl. Bur. Stand. 29, 329 (1942) (both diffuse reflectances).

Validity
    Clears and translucent films have n from about 1.45 to 1.6. n = 1 means no interface at all,
    which describes an uncleared, matte surface.
"""

from __future__ import annotations

import math

import numpy as np

from fewtone.typing import FloatArray, FloatLike

__all__ = ["diffuse_external", "diffuse_internal", "film_cosine", "fresnel"]


def film_cosine(angle_deg: FloatLike, index: float) -> FloatArray:
    """Cosine inside the film of a ray that meets it from air, by Snell's law.

    Parameters
    ----------
    angle_deg
        Angle from the panel's normal, in air [degrees], any shape.
    index
        Refractive index of the film [1].

    Returns
    -------
    Cosine of the angle from the normal inside the film [1], shaped like `angle_deg`.
    """
    sine = np.sin(np.radians(angle_deg))
    return np.asarray(np.sqrt(1.0 - (sine / index) ** 2))


def fresnel(angle_deg: FloatLike, index: float) -> FloatArray:
    """Fresnel reflectance of unpolarised light that comes from air.

    Light that leaves the film along the same ray is reflected by the same share, so this also
    serves for the way out.

    Parameters
    ----------
    angle_deg
        Angle from the panel's normal, in air [degrees], any shape.
    index
        Refractive index of the film [1].

    Returns
    -------
    Reflectance [1], shaped like `angle_deg`.

    Notes
    -----
    M. Born and E. Wolf, Principles of Optics, section 1.5.2.
    """
    return fresnel_at_cosine(np.cos(np.radians(angle_deg)), index)


def fresnel_at_cosine(cosine: FloatLike, index: float) -> FloatArray:
    """Fresnel reflectance as `fresnel`, from the cosine in air.

    Parameters
    ----------
    cosine
        Cosine of the angle from the normal, in air [1], any shape.
    index
        Refractive index of the film [1].

    Returns
    -------
    Reflectance [1], shaped like `cosine`.
    """
    outside = np.asarray(cosine, dtype=float)
    inside = np.sqrt(1.0 - (1.0 - outside**2) / index**2)
    across = (outside - index * inside) / (outside + index * inside)
    along = (index * outside - inside) / (index * outside + inside)
    return np.asarray(0.5 * (across**2 + along**2))


def diffuse_external(index: float) -> float:
    """Reflectance of the interface for perfectly diffuse light from the air.

    Parameters
    ----------
    index
        Refractive index of the film [1], at least 1.

    Notes
    -----
    The closed form of the integral 2∫F(μ)μ dμ, after J. W. T. Walsh; tabulated by D. B. Judd,
    J. Res. Natl. Bur. Stand. 29, 329 (1942).
    """
    if index == 1.0:
        return 0.0
    n = index
    n2, n4 = n**2, n**4
    return (
        0.5
        + (n - 1) * (3 * n + 1) / (6 * (n + 1) ** 2)
        + n2 * (n2 - 1) ** 2 / (n2 + 1) ** 3 * math.log((n - 1) / (n + 1))
        - 2 * n**3 * (n2 + 2 * n - 1) / ((n2 + 1) * (n4 - 1))
        + 8 * n4 * (n4 + 1) / ((n2 + 1) * (n4 - 1) ** 2) * math.log(n)
    )


def diffuse_internal(index: float) -> float:
    """Reflectance of the interface for perfectly diffuse light from inside the film.

    Parameters
    ----------
    index
        Refractive index of the film [1], at least 1.

    Notes
    -----
    ρ_i = 1 - (1 - ρ_e)/n², exact for any lossless interface (conservation of étendue).
    """
    return 1.0 - (1.0 - diffuse_external(index)) / index**2
