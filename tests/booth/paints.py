"""Opaque ground paints and their mixes: flakes lie in a tinted binder that may hold pigment.

Model
    A paint is a pile of horizontal flakes in a binder of the film's index. Per unit of depth a ray
    of any direction meets `cover` flakes: they lie flat, and what a slanted ray gains in path the
    flakes lose in the area that they show it. A flake returns its own reflectance into its lobe,
    forwards or backwards alike from below, and passes nothing on. Between flakes the binder's tint
    absorbs along the ray's own path, 1/cosine, on the way to a flake and back, and pigment scatters
    alike in all directions. Paints mix by volume: flakes of each sort, tint and pigment are as many
    as their shares bring in. A ground is so deep that no more of it changes anything.

    This is followed direction by direction: a thin layer by single scattering, then layer upon
    layer, doubled until opaque (adding and doubling). There are no two fluxes in it, no K and no S,
    and flake and tint do not see the same paths.

Sources
    Doubling: H. C. van de Hulst, Multiple Light Scattering, 1980, from memory; flat leaves that
    show every ray the same area per depth: the turbid medium of plant canopies, from memory. What
    the module is held to is in tests/outside/test_booth_paints.py. Numbers of the paints are
    invented: each hides in about one unit of depth, as grounds are made to (common practice, no
    source).

Validity
    Lobes of .25 rad slope and more; flakes without the shadow of one upon its own light.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.random import Generator
from numpy.typing import ArrayLike, NDArray

from booth.directions import lay_nodes
from booth.dyes import GRID_NM
from booth.kernels import Lobe, lobe_kernel

__all__ = ["Paint", "PaintGround", "keyed", "keying_paints", "opaque_kernels", "random_paints"]

Array = NDArray[np.float64]

# Depth of the first, thin layer, and how often it is doubled: 2⁻²⁶ to 2⁶ units.
_FIRST, _DOUBLINGS = 2.0**-26, 32


@dataclass(frozen=True, slots=True, eq=False)
class Paint:
    """An opaque ground paint; arrays `(n_wavelengths,)`, each per unit of depth but the flake's.

    `cover` is how many flakes a ray meets, `flake` what each reflects, `lobe` how it spreads that;
    `tint` absorbs, `pigment` scatters.
    """

    name: str
    kind: str
    cover: float
    flake: Array
    lobe: Lobe
    tint: Array
    pigment: Array


@dataclass(frozen=True, slots=True, eq=False)
class PaintGround:
    """A ground of one paint or of several: `(paint, share by volume)`, shares summing to 1."""

    name: str
    kind: str
    of: tuple[tuple[Paint, float], ...]

    def kernels(self, index: float, turn: float = 1.0) -> Array:
        """Reflection between the directions of a film, `(n_wavelengths, n_nodes, n_nodes)`."""
        return _kernels(self, index, turn)


@lru_cache(maxsize=256)
def _kernels(ground: PaintGround, index: float, turn: float) -> Array:
    flakes = [
        (share * paint.cover, paint.flake, paint.lobe.turned(turn))
        for paint, share in ground.of
        if paint.cover > 0.0
    ]
    tint = np.sum([share * paint.tint for paint, share in ground.of], axis=0)
    pigment = np.sum([share * paint.pigment for paint, share in ground.of], axis=0)
    return opaque_kernels(flakes, tint, pigment, index)


def opaque_kernels(
    flakes: Sequence[tuple[float, Array, Lobe]], tint: Array, pigment: Array, index: float
) -> Array:
    """Return K(u, u') of an opaque pile per wavelength, 1 for a white Lambertian one.

    Radiance up = K @ (flux · radiance down), `flux` as in `directions.Nodes`.
    """
    nodes = lay_nodes(index)
    u = nodes.cosine
    lost = (tint + pigment)[:, None] / u + sum(cover for cover, _, _ in flakes)
    # Backwards per unit of depth: off flakes and, half of all directions, off pigment.
    even = np.broadcast_to(0.5 * nodes.weight / u[:, None], (u.size, u.size))
    ahead = pigment[:, None, None] * even
    back = ahead + sum(
        cover * flake[:, None, None] * lobe_kernel(lobe, index) * nodes.flux
        for cover, flake, lobe in flakes
    )
    out, into = lost[:, :, None], lost[:, None, :]
    both = -np.expm1(-_FIRST * (out + into)) / (out + into)
    apart = out - into
    near = np.abs(apart) * _FIRST < 1e-8
    once = np.where(
        near,
        _FIRST * np.exp(-_FIRST * out),
        (np.exp(-_FIRST * into) - np.exp(-_FIRST * out)) / np.where(near, 1.0, apart),
    )
    unit = np.eye(u.size)
    reflected, passed = back * both, ahead * once + np.exp(-_FIRST * lost)[:, :, None] * unit
    for _ in range(_DOUBLINGS):
        between = np.linalg.inv(unit - reflected @ reflected)
        reflected, passed = (
            reflected + passed @ between @ reflected @ passed,
            passed @ between @ passed,
        )
    return np.asarray(reflected / nodes.flux)


def keyed(parts: Mapping[str, int], paints: Sequence[Paint]) -> PaintGround:
    """A ground mixed of paints in parts by volume, under the name a finisher writes it by."""
    by_name = {paint.name: paint for paint in paints}
    whole = sum(parts.values())
    chosen = tuple((by_name[name], part / whole) for name, part in parts.items())
    kind = "metallic" if any(paint.cover for paint, _ in chosen) else "solid"
    ordered = sorted(parts.items(), key=lambda item: (-item[1], item[0]))
    name = ordered[0][0] if len(parts) == 1 else " + ".join(f"{p} {n}" for n, p in ordered)
    return PaintGround(name, kind, chosen)


def _step(grid: Array, at_nm: float, width_nm: float) -> Array:
    return np.asarray(1.0 / (1.0 + np.exp(-(grid - at_nm) / width_nm)))


def _hump(grid: Array, at_nm: float, width_nm: float) -> Array:
    return np.asarray(np.exp(-0.5 * ((grid - at_nm) / width_nm) ** 2))


def keying_paints(wavelength_nm: ArrayLike = GRID_NM) -> tuple[Paint, ...]:
    """A silver and a coarse brass, a graphite, a white and four solids that are used for keying."""
    grid = np.asarray(wavelength_nm, dtype=np.float64)
    none, even = np.zeros_like(grid), np.ones_like(grid)
    bronze = 0.45 + 0.40 * _step(grid, 520.0, 25.0)
    return (
        Paint("silver", "metallic", 4.0, 0.92 * even, Lobe(0.36, 0.2), 0.02 * even, 0.1 * even),
        Paint("brass", "metallic", 3.5, bronze, Lobe(0.30, 0.1), none, 0.1 * even),
        Paint("graphite", "metallic", 2.0, 0.85 * even, Lobe(0.42, 0.25), 2.5 * even, none),
        Paint("white", "solid", 0.0, none, Lobe(), 0.02 + 4 * (1 - _step(grid, 405, 8)), 11 * even),
        Paint("black", "solid", 0.0, none, Lobe(), 6.0 * even, 0.4 * even),
        Paint("moss", "solid", 0.0, none, Lobe(), 7.0 - 6.0 * _hump(grid, 540.0, 35.0), 4.0 * even),
        Paint("oxide", "solid", 0.0, none, Lobe(), 8.0 - 7.4 * _step(grid, 590.0, 14.0), 5 * even),
        Paint(
            "slate", "solid", 0.0, none, Lobe(), 5.0 - 4.2 * _hump(grid, 460.0, 40.0), 4.5 * even
        ),
    )


def random_paints(rng: Generator, wavelength_nm: ArrayLike = GRID_NM) -> tuple[Paint, ...]:
    """Two metallics and two solids of random make: a light and a dark flake, a solid, a colour."""
    grid = np.asarray(wavelength_nm, dtype=np.float64)
    even, none = np.ones_like(grid), np.zeros_like(grid)

    def lobe() -> Lobe:
        return Lobe(float(rng.uniform(0.28, 0.46)), float(rng.uniform(0.08, 0.28)))

    def hue(least: float, most: float) -> Array:
        """A colour's absorption: an edge or a window, from most down to least."""
        if rng.random() < 0.5:
            shape = 1.0 - _step(grid, rng.uniform(500, 620), rng.uniform(10, 30))
        else:
            shape = 1.0 - _hump(grid, rng.uniform(430, 560), rng.uniform(30, 60))
        return np.asarray(least + (most - least) * shape)

    light = Paint(
        "silver",
        "metallic",
        float(rng.uniform(3.0, 5.0)),
        rng.uniform(0.86, 0.94) * even,
        lobe(),
        rng.uniform(0.0, 0.08) * even,
        rng.uniform(0.0, 0.3) * even,
    )
    warm = Paint(
        "warm",
        "metallic",
        float(rng.uniform(2.0, 4.5)),
        rng.uniform(0.8, 0.92) * even,
        lobe(),
        hue(0.05, rng.uniform(0.5, 3.0)),
        rng.uniform(0.0, 0.3) * even,
    )
    neutral = Paint(
        "neutral",
        "solid",
        0.0,
        none,
        Lobe(),
        np.exp(rng.uniform(np.log(0.03), np.log(6.0))) * even,
        rng.uniform(2.0, 11.0) * even,
    )
    colour = Paint(
        "colour",
        "solid",
        0.0,
        none,
        Lobe(),
        hue(rng.uniform(0.1, 1.0), rng.uniform(3.0, 10.0)),
        rng.uniform(2.5, 7.0) * (550.0 / grid) ** rng.uniform(0.0, 1.0),
    )
    return light, warm, neutral, colour
