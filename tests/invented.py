"""Invented shelves with smooth curves, made from a seed: no paint, no bench, only test material."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from fewtone.colorimetry import Light
from fewtone.model.blend import Number
from fewtone.model.curves import Curves
from fewtone.model.shelf import Ground, Measurement, Mixing, ShelfSettings, Toner
from fewtone.model.target import Target
from fewtone.model.uncertainty import Uncertainty
from fewtone.optics.film import FilmOptics, Geometry
from fewtone.typing import FloatArray, FloatLike

__all__ = ["WAVELENGTH_NM", "invented_shelf", "lab_target"]

WAVELENGTH_NM: FloatArray = np.arange(400.0, 701.0, 10.0)


def invented_shelf(
    seed: int,
    n_toners: int,
    n_grounds: int,
    *,
    medium_parts: Sequence[Number] = (6, 8, 5, 4),
    coats: tuple[int, int] = (1, 6),
    max_part: int = 4,
    geometry: Geometry = Geometry.DIRECTIONAL,
    twins: int = 0,
    hazy: int = 0,
    weak: int = 0,
    unsure: float = 0.0,
) -> tuple[Curves, ShelfSettings]:
    """A shelf of invented toners over invented grounds.

    Each toner absorbs in one or two broad bands above a low floor. The first ground is white and
    solid, the others metallic: silver, charcoal, gold and tinted ones. The last `twins` toners
    are copies of the first ones, so that equal colours come about; the first `hazy` toners scatter,
    and of the first `weak` each absorbs a half to a twentieth of what it would. With `unsure` above
    0 the curves carry an uncertainty of that share of themselves.
    """
    rng = np.random.default_rng(seed)
    x = (WAVELENGTH_NM - 400.0) / 300.0
    rows = []
    for _ in range(n_toners - twins):
        row = np.full_like(x, rng.uniform(0.01, 0.1))
        for _ in range(rng.integers(1, 3)):
            centre, width = rng.uniform(-0.1, 1.1), rng.uniform(0.08, 0.3)
            row += rng.uniform(0.4, 3.5) * np.exp(-0.5 * ((x - centre) / width) ** 2)
        rows.append(row)
    rows += rows[:twins]
    scattering = np.zeros((n_toners, len(x)))
    scattering[:hazy] = rng.uniform(0.1, 0.6, (hazy, 1)) * (1.0 + 0.3 * x)
    grounds = [np.full_like(x, 0.86), np.full_like(x, 0.72), np.full_like(x, 0.12)]
    grounds += [0.15 + 0.6 / (1.0 + np.exp(-(x - 0.4) / 0.08))]
    for _ in range(n_grounds - len(grounds)):
        grounds.append(0.2 + 0.5 * np.exp(-0.5 * ((x - rng.uniform(0, 1)) / 0.3) ** 2))
    return_ratio = np.array([1.0, 0.55, 0.5, 0.6, *rng.uniform(0.4, 0.7, max(0, n_grounds - 4))])
    names = tuple(f"toner-{i:02d}" for i in range(n_toners))
    ground_names = ("white", "silver", "charcoal", "gold", *(f"tint-{i}" for i in range(n_grounds)))
    absorption = np.array(rows)
    absorption[:weak] *= np.exp(-rng.uniform(0.5, 3.0, (weak, 1)))
    curves = Curves(
        wavelength_nm=WAVELENGTH_NM,
        toners=names,
        absorption=absorption,
        grounds=ground_names[:n_grounds],
        ground_reflectance=np.array(grounds[:n_grounds]),
        return_ratio=return_ratio[:n_grounds],
        optics=FilmOptics(geometry),
        scattering=scattering,
    )
    if unsure:
        curves = replace(curves, uncertainty=_invented_uncertainty(rng, curves, unsure))
    settings = ShelfSettings(
        name="Invented",
        measurement=Measurement(geometry=geometry),
        mixing=Mixing(medium_parts=tuple(medium_parts), coats=coats, max_part=max_part),
        toners={name: Toner(name, name) for name in names},
        grounds={
            name: Ground(name, "solid" if i == 0 else "metallic", name)
            for i, name in enumerate(ground_names[:n_grounds])
        },
    )
    return curves, settings


_D65 = Light("D65", 10)


def lab_target(lab: FloatLike, light: Light = _D65) -> Target:
    """A colour that is asked for."""
    lightness, a, b = np.asarray(lab, dtype=np.float64).tolist()
    return Target((lightness, a, b), light, Geometry.DIRECTIONAL)


def _invented_uncertainty(rng: np.random.Generator, curves: Curves, share: float) -> Uncertainty:
    """Six directions in which all curves and grounds may be off by about that share together."""
    x = (curves.wavelength_nm - 400.0) / 300.0
    waves = np.sin(np.pi * np.multiply.outer(np.arange(1.0, 7.0), x))

    def off(curve: FloatArray) -> FloatArray:
        weight = share * rng.standard_normal((len(waves), len(curve), 1))
        return np.asarray(weight * (1.0 + waves[:, np.newaxis]) * curve)

    return Uncertainty(
        absorption=off(curves.absorption),
        scattering=off(curves.scattering),
        ground_reflectance=0.3 * off(curves.ground_reflectance),
        return_ratio=0.1 * share * rng.standard_normal((len(waves), len(curves.grounds))),
        model_sd=0.03,
    )
