"""Invented toners and grounds for the booth: none stands for a product, none was measured.

Every absorber is the optical depth of one standard coat at unit volume fraction of toner [1], on
a wavelength grid [nm]. At a letdown of 6:1 a coat holds a seventh of it: peaks of 1 to 5.6 give
one coat 0.15 to 0.8, so that three or four coats are rich but not black.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import factorial

import numpy as np
from numpy.random import Generator
from numpy.typing import ArrayLike, NDArray

from booth.kernels import Lobe

__all__ = [
    "GRID_NM",
    "TrueGround",
    "TrueToner",
    "lamp_grounds",
    "lamp_toners",
    "other_toners",
    "random_toners",
]

Array = NDArray[np.float64]

GRID_NM: Array = np.arange(400.0, 701.0, 10.0)


@dataclass(frozen=True, slots=True)
class TrueToner:
    """A toner as it really is: depths `(n_wavelengths,)` of one coat at unit volume fraction.

    `asymmetry` is the mean cosine of the directions into which it scatters [1].
    """

    name: str
    absorption: Array
    scattering: Array
    asymmetry: float = 0.0


@dataclass(frozen=True, slots=True)
class TrueGround:
    """A ground as it really is: reflectance `(n_wavelengths,)` inside the film, and its lobe."""

    name: str
    kind: str
    reflectance: Array
    lobe: Lobe


def _band(wavelength_nm: Array, peak_nm: float, height: float, low: float, high: float) -> Array:
    """Return a skewed Gaussian band; its widths [1000/cm] towards red (low) and blue (high)."""
    offset = 1e4 / wavelength_nm - 1e4 / peak_nm
    return np.asarray(height * np.exp(-0.5 * (offset / np.where(offset < 0.0, low, high)) ** 2))


def _clear(name: str, absorption: Array) -> TrueToner:
    return TrueToner(name, absorption, np.zeros_like(absorption))


# name: (flat base, bands of (peak nm, height, width to the red, width to the blue [1000/cm])).
LAMP: dict[str, tuple[float, tuple[tuple[float, float, float, float], ...]]] = {
    "primrose": (0.02, ((428, 2.6, 0.90, 2.6),)),
    "marigold": (0.03, ((452, 3.9, 0.95, 2.8),)),
    "ember": (0.04, ((478, 4.4, 0.90, 2.6), (400, 1.0, 1.2, 1.5))),
    "poppy": (0.05, ((512, 4.6, 0.95, 2.0), (440, 1.8, 1.2, 2.5))),
    "peony": (0.04, ((548, 4.2, 0.75, 1.7), (395, 0.7, 1.2, 1.5))),
    "dusk": (0.05, ((578, 3.8, 0.85, 1.7), (610, 0.9, 0.6, 0.8))),
    "harbour": (0.04, ((622, 4.4, 0.90, 1.5), (575, 1.2, 0.8, 1.6))),
    "lagoon": (0.03, ((662, 4.0, 0.80, 1.4), (610, 1.4, 0.6, 1.2), (385, 1.0, 1.0, 1.5))),
    "fern": (0.05, ((656, 3.0, 0.80, 1.6), (432, 3.4, 1.00, 2.5))),
    "umber": (0.10, ((415, 3.2, 2.60, 2.5), (520, 0.9, 2.00, 2.0))),
    "ash": (0.90, ((440, 0.25, 2.50, 3.0), (590, 0.40, 1.60, 2.2))),
    "mist": (0.01, ((606, 0.55, 1.00, 1.8),)),
}


def lamp_toners(wavelength_nm: ArrayLike = GRID_NM) -> tuple[TrueToner, ...]:
    """Return the demo shelf's twelve clear toners, yellow to green, a smoke and a weak pale one."""
    grid = np.asarray(wavelength_nm, dtype=np.float64)
    return tuple(
        _clear(name, base + np.sum([_band(grid, *band) for band in bands], axis=0))
        for name, (base, bands) in LAMP.items()
    )


def lamp_grounds(
    wavelength_nm: ArrayLike = GRID_NM, *, unlike_flake: bool = False
) -> tuple[TrueGround, ...]:
    """Return a white solid (Lambertian) and a silver, a warm and a dark metallic (broad lobes).

    The three metallics hold nearly the same flake, as those of one paint line do (common practice,
    no source). With `unlike_flake` their lobes differ widely: fine, middling and coarse, so that
    what is learnt over one says less about the others.
    """
    lobes = (Lobe(0.36, 0.20), Lobe(0.37, 0.18), Lobe(0.38, 0.20))
    if unlike_flake:
        lobes = (Lobe(0.30, 0.10), Lobe(0.37, 0.15), Lobe(0.44, 0.20))
    grid = np.asarray(wavelength_nm, dtype=np.float64)
    white = 0.86 - 0.30 / (1.0 + np.exp((grid - 410.0) / 8.0)) + 0.01 * (grid - 550.0) / 150.0
    silver = 0.66 + 0.02 * (grid - 550.0) / 150.0 - 0.03 * np.exp(-(grid - 400.0) / 40.0)
    brass = 0.17 + 0.44 / (1.0 + np.exp(-(grid - 518.0) / 24.0)) + 0.03 * (grid - 550.0) / 150.0
    graphite = 0.13 + 0.008 * np.cos((grid - 430.0) / 70.0)
    return (
        TrueGround("white", "solid", white, Lobe()),
        TrueGround("silver", "metallic", silver, lobes[0]),
        TrueGround("brass", "metallic", brass, lobes[1]),
        TrueGround("graphite", "metallic", graphite, lobes[2]),
    )


def _hazed(toners: list[TrueToner], rng: Generator, hazy: int, grid: Array) -> list[TrueToner]:
    """Give `hazy` of the toners a scattering depth of 0.15 to 0.4 with a mild slope."""
    for place in rng.choice(len(toners), size=hazy, replace=False):
        depth = rng.uniform(0.15, 0.4) * (550.0 / grid) ** rng.uniform(0.0, 1.2)
        toners[place] = replace(toners[place], scattering=depth)
    return toners


def random_toners(
    rng: Generator, n: int = 10, *, hazy: int = 0, wavelength_nm: ArrayLike = GRID_NM
) -> tuple[TrueToner, ...]:
    """Return `n` toners whose bands are neighbours and overlap: one to three bands and a base.

    The main bands are spread evenly over 420 to 680 nm and then shaken; `hazy` of the toners
    also scatter a little.
    """
    grid = np.asarray(wavelength_nm, dtype=np.float64)
    toners = []
    for i, peak in enumerate(np.linspace(420.0, 680.0, n)):
        peak_nm = float(peak + rng.normal(0.0, 10.0))
        height = float(np.exp(rng.uniform(np.log(1.5), np.log(5.5))))
        low = float(rng.uniform(0.7, 1.3))
        absorption = rng.uniform(0.01, 0.10) + _band(
            grid, peak_nm, height, low, low * float(rng.uniform(1.1, 2.2))
        )
        for _ in range(int(rng.integers(0, 3))):
            low = float(rng.uniform(0.8, 1.6))
            absorption = absorption + _band(
                grid,
                float(rng.uniform(380.0, 700.0)),
                height * float(rng.uniform(0.1, 0.5)),
                low,
                low * float(rng.uniform(1.0, 2.0)),
            )
        toners.append(_clear(f"t{i}", absorption))
    return tuple(_hazed(toners, rng, hazy, grid))


def _vibronic(rng: Generator, grid: Array) -> Array:
    """Return a progression of narrow bands with Poisson strengths (Franck and Condon)."""
    origin_nm, spacing = rng.uniform(480.0, 650.0), rng.uniform(1.15, 1.45)
    strength, width = rng.uniform(0.6, 1.6), rng.uniform(0.35, 0.60)
    return np.asarray(
        sum(
            strength**k
            / factorial(k)
            * np.exp(-0.5 * ((1e4 / grid - 1e4 / origin_nm - k * spacing) / width) ** 2)
            for k in range(6)
        )
    )


def _edge(rng: Generator, grid: Array) -> Array:
    """Return an absorption edge: everything shorter than a wavelength is taken away."""
    return np.asarray(1.0 / (1.0 + np.exp((grid - rng.uniform(440.0, 590.0)) / rng.uniform(8, 22))))


def _rising(rng: Generator, grid: Array) -> Array:
    """Return a slope that rises towards the red, as some tinted glass has."""
    return np.asarray(
        0.08 + 1.0 / (1.0 + np.exp(-(grid - rng.uniform(600.0, 650.0)) / rng.uniform(20.0, 40.0)))
    )


def _leaf(rng: Generator, grid: Array) -> Array:
    """Return two far-apart narrow Lorentzian bands, blue and red, as leaf pigments have."""
    total = np.zeros_like(grid)
    for peak_nm, height in (
        (rng.uniform(415.0, 455.0), 1.0),
        (rng.uniform(640.0, 680.0), rng.uniform(0.5, 0.9)),
        (rng.uniform(590.0, 620.0), rng.uniform(0.1, 0.2)),
    ):
        total += height / (1.0 + ((1e4 / grid - 1e4 / peak_nm) / rng.uniform(0.4, 0.8)) ** 2)
    return total


def _plateau(rng: Generator, grid: Array) -> Array:
    """Return a flat-topped band between two edges."""
    middle, half, soft = rng.uniform(500, 610), rng.uniform(30, 60), rng.uniform(8.0, 16.0)
    rise = 1.0 / (1.0 + np.exp(-(grid - middle + half) / soft))
    return np.asarray(rise / (1.0 + np.exp((grid - middle - half) / soft)))


def other_toners(
    rng: Generator, n: int = 10, *, hazy: int = 0, wavelength_nm: ArrayLike = GRID_NM
) -> tuple[TrueToner, ...]:
    """Return `n` absorbers of quite another make: no skewed Gaussian bands among them.

    Vibronic progressions, edges, slopes to the red, leaf-like pairs and plateaus in turn; they
    are there to judge a prior that was thought up with bands in mind.
    """
    grid = np.asarray(wavelength_nm, dtype=np.float64)
    kinds: tuple[Callable[[Generator, Array], Array], ...] = (
        _vibronic, _edge, _leaf, _plateau, _rising,
    )  # fmt: skip
    toners = []
    for i in range(n):
        shape = kinds[i % len(kinds)](rng, grid)
        height = np.exp(rng.uniform(np.log(1.5), np.log(5.0)))
        absorption = rng.uniform(0.01, 0.08) + height * shape / shape.max()
        toners.append(_clear(f"t{i}", absorption))
    return tuple(_hazed(toners, rng, hazy, grid))
