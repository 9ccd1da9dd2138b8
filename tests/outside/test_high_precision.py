"""Films over a Lambertian ground and CIEDE2000, against the same formulas in thirty digits.

Everything is written anew from its source with mpmath, integrals by its own quadrature, so that
what double precision, tables and Gauss nodes cost is seen by itself:

    Williams and Clapper (1953), doi:10.1364/JOSA.43.000595; Simonot, Hébert and Hersch (2006),
    doi:10.1364/JOSAA.23.001432; Fresnel's equations; G. Sharma, W. Wu and E. N. Dalal, Color Res.
    Appl. 30, 21-30 (2005), doi:10.1002/col.20070.
"""

from __future__ import annotations

import itertools
import random
from typing import Any

import mpmath as mp
import pytest

from fewtone.colorimetry import delta_e_2000
from fewtone.optics.film import FilmOptics, Geometry

DIGITS = 30
# The tables say of themselves that they are right to this, next to a reflectance of 1.
TABLES = 1e-7
# Just above an index of 1 all that the top returns is within a degree of grazing, which the nodes
# do not follow: measured 6.3e-6, on a bare ground alone. No film has such an index.
NEAR_1 = 1e-5
# Of double precision in some fifty operations, next to a ΔE00 of some tens.
ROUNDING = 1e-11


def fresnel(cosine: Any, inside: Any, outside: Any) -> Any:
    """Reflectance of unpolarised light that comes from `inside` at this cosine."""
    sine = inside / outside * mp.sqrt(1 - cosine**2)
    if sine >= 1:
        return mp.mpf(1)
    beyond = mp.sqrt(1 - sine**2)
    across = (inside * cosine - outside * beyond) / (inside * cosine + outside * beyond)
    along = (inside * beyond - outside * cosine) / (inside * beyond + outside * cosine)
    return (across**2 + along**2) / 2


def film(geometry: Geometry, n: Any, tau: Any, rho: Any) -> Any:
    """Reflectance factor of a clear film over a Lambertian ground."""
    critical = mp.sqrt(1 - 1 / n**2)

    def over_hemisphere(what: Any) -> Any:
        # Panels meet where rays begin to leave; the integrand's own scale near 0 has more of them.
        around = [critical * factor for factor in (0.01, 0.1, 0.5, 1, 1.1, 1.5, 3, 10, 50)]
        ends = [mp.mpf(0), *(end for end in around if end < 1), mp.mpf(1)]
        return mp.quad(lambda mu: 2 * mu * what(mu), ends)

    def internal(mu: Any) -> Any:
        return fresnel(mu, n, mp.mpf(1))

    def path(degrees: int) -> Any:
        return mp.sqrt(1 - (mp.sin(mp.radians(degrees)) / n) ** 2)

    def enters(degrees: int) -> Any:
        return 1 - fresnel(mp.cos(mp.radians(degrees)), mp.mpf(1), n)

    trapped = over_hemisphere(lambda mu: internal(mu) * mp.exp(-2 * tau / mu) if mu else 0)
    if geometry is Geometry.DIRECTIONAL:
        surface = mp.mpf(0)
        escape = enters(45) * enters(0) / n**2 * mp.exp(-tau * (1 / path(45) + 1))
    else:
        out = over_hemisphere(lambda mu: (1 - internal(mu)) * mp.exp(-tau / mu) if mu else 0)
        included = geometry is Geometry.DIFFUSE_SPECULAR_INCLUDED
        surface = 1 - enters(8) if included else mp.mpf(0)
        escape = enters(8) * mp.exp(-tau / path(8)) * out
    return surface + escape * rho / (1 - rho * trapped)


@pytest.mark.parametrize("geometry", list(Geometry))
@pytest.mark.parametrize(("index", "off"), [("1.0001", NEAR_1), ("1.5", TABLES), ("2", TABLES)])
def test_films_are_as_right_as_their_tables_say(geometry: Geometry, index: str, off: float) -> None:
    """From a bare ground to a film that lets nothing through, over black and white."""
    with mp.workdps(DIGITS):
        optics = FilmOptics(geometry, float(index))
        for tau, rho in itertools.product(("0", "1e-6", "0.03", "0.4", "2", "9"), ("1e-4", "0.97")):
            exact = film(geometry, mp.mpf(index), mp.mpf(tau), mp.mpf(rho))
            found = float(optics.reflectance(float(tau), float(rho), 1.0))
            assert abs(found - float(exact)) <= off


def exact_difference(one: Any, other: Any) -> Any:
    """CIEDE2000 as Sharma et al. write it, k_L = k_C = k_H = 1."""
    (l_1, a_1, b_1), (l_2, a_2, b_2) = one, other
    mean_c = (mp.hypot(a_1, b_1) + mp.hypot(a_2, b_2)) / 2
    g = (1 - mp.sqrt(mean_c**7 / (mean_c**7 + mp.mpf(25) ** 7))) / 2
    a_1, a_2 = a_1 * (1 + g), a_2 * (1 + g)
    c_1, c_2 = mp.hypot(a_1, b_1), mp.hypot(a_2, b_2)
    h_1, h_2 = (
        mp.degrees(mp.atan2(b, a)) % 360 if (a or b) else mp.mpf(0)
        for a, b in ((a_1, b_1), (a_2, b_2))
    )
    turn = h_2 - h_1
    if c_1 * c_2 == 0:
        turn = mp.mpf(0)
    elif turn > 180:
        turn -= 360
    elif turn < -180:
        turn += 360
    d_h = 2 * mp.sqrt(c_1 * c_2) * mp.sin(mp.radians(turn / 2))
    mean_l, mean_c = (l_1 + l_2) / 2, (c_1 + c_2) / 2
    if c_1 * c_2 == 0:
        mean_h = h_1 + h_2
    elif abs(h_1 - h_2) <= 180:
        mean_h = (h_1 + h_2) / 2
    else:
        mean_h = (h_1 + h_2 + (360 if h_1 + h_2 < 360 else -360)) / 2
    t = (
        1
        - mp.mpf("0.17") * mp.cos(mp.radians(mean_h - 30))
        + mp.mpf("0.24") * mp.cos(mp.radians(2 * mean_h))
        + mp.mpf("0.32") * mp.cos(mp.radians(3 * mean_h + 6))
        - mp.mpf("0.20") * mp.cos(mp.radians(4 * mean_h - 63))
    )
    theta = 30 * mp.exp(-(((mean_h - 275) / 25) ** 2))
    r_c = 2 * mp.sqrt(mean_c**7 / (mean_c**7 + mp.mpf(25) ** 7))
    off = (mean_l - 50) ** 2
    s_l = 1 + mp.mpf("0.015") * off / mp.sqrt(20 + off)
    s_c, s_h = 1 + mp.mpf("0.045") * mean_c, 1 + mp.mpf("0.015") * mean_c * t
    r_t = -mp.sin(mp.radians(2 * theta)) * r_c
    parts = ((l_2 - l_1) / s_l, (c_2 - c_1) / s_c, d_h / s_h)
    return mp.sqrt(sum(part**2 for part in parts) + r_t * parts[1] * parts[2])


def test_colour_differences_are_right_to_rounding() -> None:
    """Pairs far and near, grey and vivid, at every hue."""
    rng = random.Random(11)
    with mp.workdps(DIGITS):
        for _ in range(300):
            one = [rng.uniform(0, 100), *(rng.uniform(-120, 120) for _ in range(2))]
            spread = rng.choice((1e-3, 0.5, 5.0, 80.0))
            other = [value + rng.gauss(0, spread) for value in one]
            exact = exact_difference([mp.mpf(v) for v in one], [mp.mpf(v) for v in other])
            # Near ones lose digits in subtraction; 1e-9 is a thousandth of what is compared.
            limit = max(ROUNDING, 1e-9 if spread < 0.1 else 0.0)
            assert abs(float(delta_e_2000(one, other)) - float(exact)) <= limit
