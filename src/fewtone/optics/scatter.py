"""A film that also scatters a little, over its ground: tables from adding and doubling.

Model
    One layer, one refractive index, a smooth top (Fresnel) and scattering inside, alike in all
    directions or forwards (Henyey & Greenstein, Astrophys. J. 93, 70 (1941), by the mean cosine g),
    described by two optical depths along the normal: absorption τ_a and scattering τ_s. Over a
    Lambertian ground (`fewtone.optics.flake` says what flake changes),

        R = surface + first + haze + escape · ρ / (1 - ρ · trapped)

    haze      what the film itself sends back over a black ground
    escape    light that reaches the ground times light that leaves from it
    trapped   diffuse light from the ground that film and top send back to it

    Radiances are followed in discrete directions inside the film: Gauss nodes over the cosine in
    air for those that can leave, Gauss nodes crowded towards grazing for those that cannot, and
    the instrument's own directions. A layer so thin that light scatters in it once at most is
    doubled until it is as thick as wanted (van de Hulst, Light Scattering by Small Particles,
    1957; Prahl, van Gemert & Welch, Appl. Opt. 32, 559 (1993), doi:10.1364/AO.32.000559), then the
    top is added.

    The tables hold what scattering adds per unit of τ_s, against the same directions without
    scattering: haze/τ_s, ln(escape/clear)/τ_s and (trapped - clear)/τ_s. These have finite limits
    as τ_s → 0, where the exact clear integrals of `fewtone.optics.film` are left untouched.

Validity
    τ_a + τ_s up to 32; index from 1 upwards. Errors below 1e-4 in reflectance (tests show it).
    Where scattering is forwards, directions are few for it: good for g up to 0.8.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import ClassVar, NamedTuple

import numpy as np

from fewtone.optics.interface import film_cosine, fresnel_at_cosine
from fewtone.optics.terms import HazeDerivatives, HazeTerms
from fewtone.typing import FloatArray, FloatLike

__all__ = ["HazeTables", "haze_tables"]

_OPEN_NODES, _CLOSED_NODES = 12, 10
# Orders of a phase function: 0.8⁶⁰ is 2e-6.
_PHASE_ORDERS = 60
# The instrument's directions carry no light of their own weight: a weight too small to matter.
_DIRECTION_WEIGHT = 1e-9
_THINNEST = 2.0**-22
_FIRST_POWER, _LAST_POWER = -9, 5  # the table spans τ from 2^-9 to 2^5
_STEPS_PER_OCTAVE = 4
_SHARE_NODES = 25


@dataclass(frozen=True, slots=True)
class HazeTables:
    """Tables for one film and geometry, as cubic B-splines in log₂ τ and in the share of τ_s.

    Parameters
    ----------
    coefficients
        Of the splines, shape ``(n_shares + 2, n_depths + 2, 3)``.
    """

    # Between these depths they hold; shallower and deeper films have what these have, per τ_s.
    SHALLOWEST: ClassVar[float] = 2.0**_FIRST_POWER
    DEEPEST: ClassVar[float] = 2.0**_LAST_POWER

    coefficients: FloatArray  # (n_shares + 2, n_depths + 2, 3)

    def terms(self, absorption: FloatLike, scattering: FloatLike) -> HazeTerms:
        """What scattering does at these depths.

        Parameters
        ----------
        absorption, scattering
            Optical depths along the normal, one way [1], any shapes that broadcast.
        """
        cell = _Cell.of(absorption, scattering)
        per_depth = self._look_up(cell, cell.across, cell.along)
        return HazeTerms(*(cell.scattering * part for part in np.moveaxis(per_depth, -1, 0)))

    def derivatives(self, absorption: FloatLike, scattering: FloatLike) -> HazeDerivatives:
        """The same with derivatives in both depths.

        Parameters
        ----------
        absorption, scattering
            Optical depths along the normal [1], any shapes that broadcast.

        Returns
        -------
        The terms with their derivatives, in the broadcast shape.
        """
        cell = _Cell.of(absorption, scattering)
        value = self._look_up(cell, cell.across, cell.along)
        by_share = self._look_up(cell, cell.across_slope, cell.along)
        by_depth = self._look_up(cell, cell.across, cell.along_slope)
        depth, tau_s = cell.depth[..., np.newaxis], cell.scattering[..., np.newaxis]
        share = (cell.scattering / cell.depth)[..., np.newaxis]
        along = by_depth / depth
        d_absorption = tau_s * (along - by_share * share / depth)
        d_scattering = value + tau_s * (along + by_share * (1.0 - share) / depth)
        return HazeDerivatives(
            HazeTerms(*np.moveaxis(tau_s * value, -1, 0)),
            HazeTerms(*np.moveaxis(d_absorption, -1, 0)),
            HazeTerms(*np.moveaxis(d_scattering, -1, 0)),
        )

    def _look_up(
        self, cell: _Cell, across: tuple[FloatArray, ...], along: tuple[FloatArray, ...]
    ) -> FloatArray:
        """Cubic B-spline, Σᵢⱼ acrossᵢ · alongⱼ · coefficientᵢⱼ, shape ``(..., 3)``."""
        width, count = self.coefficients.shape[1:]
        # One table at a time: taking single numbers is three times as fast as taking rows of three.
        tables = np.ascontiguousarray(np.moveaxis(self.coefficients, -1, 0)).reshape(count, -1)
        total = np.zeros((count, *cell.depth.shape))
        first = cell.row * width + cell.column
        for i, weight in enumerate(across):
            for j, other in enumerate(along):
                at, both = first + (i * width + j), weight * other
                for k, table in enumerate(tables):
                    total[k] += both * table.take(at)
        return np.moveaxis(total, 0, -1)


@lru_cache(maxsize=16)
def haze_tables(
    angle_deg: float, view: float | None, index: float, asymmetry: float = 0.0
) -> HazeTables:
    """Build the tables, or return them if they were built before.

    Parameters
    ----------
    angle_deg
        Where the beam comes from, in air [degrees].
    view
        Where the instrument looks from [degrees]; None where it gathers all directions.
    index
        Refractive index of the film [1].
    asymmetry
        Mean cosine of what is scattered [1]: 0 alike in all directions.
    """
    nodes = _lay(index, (angle_deg,) if view is None else (angle_deg, view))
    shares = _share_at(np.linspace(0.0, 1.0, _SHARE_NODES))
    # 0/0 at no scattering at all: its limit is taken a hair away from it.
    shares[0] = 1e-5
    octaves = _LAST_POWER - _FIRST_POWER
    powers = np.arange(_STEPS_PER_OCTAVE) / _STEPS_PER_OCTAVE
    start = np.log2(_THINNEST)
    table = np.empty((_SHARE_NODES, octaves * _STEPS_PER_OCTAVE + 1, 3))
    albedo, thin = (part.ravel() for part in np.meshgrid(shares, 2.0 ** (start + powers)))
    reflect, pass_ = _thin_layer(albedo, thin, nodes, asymmetry)
    identity = np.eye(nodes.cosine.size)
    for doubling in range(_LAST_POWER - int(start) + 1):
        octave = int(start) + doubling - _FIRST_POWER
        if octave >= 0:
            depth = thin * 2.0**doubling
            rows = _with_top(reflect, pass_, albedo, depth, nodes)
            rows = rows.reshape(_STEPS_PER_OCTAVE, _SHARE_NODES, 3)
            for k in range(_STEPS_PER_OCTAVE):
                if octave * _STEPS_PER_OCTAVE + k < table.shape[1]:
                    table[:, octave * _STEPS_PER_OCTAVE + k] = rows[k]
        between = np.linalg.solve(identity - reflect @ reflect, pass_)
        reflect = reflect + pass_ @ reflect @ between
        pass_ = pass_ @ between
    return HazeTables(_spline(_spline(table, 0), 1))


class _Nodes(NamedTuple):
    """Directions inside the film, the instrument's last: `(n_nodes,)` each."""

    cosine: FloatArray
    weight: FloatArray
    flux: FloatArray
    internal: FloatArray
    source: FloatArray
    view: FloatArray


def _lay(index: float, directions: tuple[float, ...]) -> _Nodes:
    """Directions inside the film and their weights.

    Gauss nodes over the cosine in air, μ² = 1 - (1 - μ_air²)/n², for those that can leave, nodes
    q² · μ_critical for those that cannot, then the instrument's own.
    """
    air, share = (part / 2.0 for part in np.polynomial.legendre.leggauss(_OPEN_NODES))
    air = air + 0.5
    cosine = np.sqrt(1.0 - (1.0 - air**2) / index**2)
    weight = air * share / (index**2 * cosine)
    internal = fresnel_at_cosine(air, index)
    critical = np.sqrt(1.0 - 1.0 / index**2)
    if critical > 0.0:
        q, share = (part / 2.0 for part in np.polynomial.legendre.leggauss(_CLOSED_NODES))
        q = q + 0.5
        cosine = np.concatenate([critical * q**2, cosine])
        weight = np.concatenate([critical * 2.0 * q * share, weight])
        internal = np.concatenate([np.ones(_CLOSED_NODES), internal])
    seen = np.array([float(film_cosine(angle, index)) for angle in directions])
    passed = 1.0 - fresnel_at_cosine(np.cos(np.radians(directions)), index)
    cosine = np.concatenate([cosine, seen])
    weight = np.concatenate([weight, np.full(len(directions), _DIRECTION_WEIGHT)])
    internal = np.concatenate([internal, 1.0 - passed])
    flux = 2.0 * cosine * weight
    source, view = np.zeros(cosine.size), (1.0 - internal) * flux
    source[-len(directions)] = passed[0] / flux[-len(directions)]
    if len(directions) > 1:
        view = np.zeros(cosine.size)
        view[-1] = passed[1] / index**2
    return _Nodes(cosine, weight, flux, internal, source, view)


def _phase(nodes: _Nodes, asymmetry: float) -> tuple[FloatArray, FloatArray]:
    """How much of what is scattered goes back and on, averaged over azimuth, next to isotropic.

    Σ (2l + 1) gˡ Pₗ(±μ) Pₗ(μ'), each direction's whole being kept; shapes ``(n_nodes, n_nodes)``.
    """
    order = np.arange(_PHASE_ORDERS)
    terms = np.polynomial.legendre.legvander(nodes.cosine, _PHASE_ORDERS - 1)
    moments = (2 * order + 1) * asymmetry**order
    back, on = ((terms * moments * sign**order) @ terms.T for sign in (-1.0, 1.0))
    whole = 0.5 * nodes.weight @ (back + on)
    return back / whole, on / whole


def _thin_layer(
    albedo: FloatArray, depth: FloatArray, nodes: _Nodes, asymmetry: float
) -> tuple[FloatArray, FloatArray]:
    """Reflection and transmission of radiances by layers in which light scatters at most once."""
    out, into = nodes.cosine[:, np.newaxis], nodes.cosine
    tau = depth[:, np.newaxis, np.newaxis]
    gain = 0.5 * albedo[:, np.newaxis, np.newaxis] * nodes.weight / out
    both, apart = 1.0 / out + 1.0 / into, 1.0 / out - 1.0 / into
    reflect = gain * -np.expm1(-tau * both) / both
    near = np.where(apart == 0.0, 1.0, apart)
    crossed = np.where(apart == 0.0, tau, np.expm1(tau * near) / near)
    pass_ = gain * np.exp(-tau / out) * crossed
    if asymmetry:
        back, on = _phase(nodes, asymmetry)
        reflect, pass_ = reflect * back, pass_ * on
    each = np.arange(nodes.cosine.size)
    pass_[:, each, each] += np.exp(-depth[:, np.newaxis] / nodes.cosine)
    return reflect, pass_


def _with_top(
    reflect: FloatArray, pass_: FloatArray, albedo: FloatArray, depth: FloatArray, nodes: _Nodes
) -> FloatArray:
    """What the tables hold, ``(n, 3)``, once the top lies on the layers."""
    size = nodes.cosine.size
    top = nodes.internal[:, np.newaxis]
    right = np.empty((len(depth), size, 2))
    right[..., 0] = nodes.source
    # Ground light below the top, mirrored down by it: top · pass · 1.
    right[..., 1] = nodes.internal * pass_.sum(axis=-1)
    down = np.linalg.solve(np.eye(size) - top * reflect, right)
    beam, ground = down[..., 0], down[..., 1]
    haze = (reflect @ beam[..., np.newaxis])[..., 0] @ nodes.view
    to_ground = (pass_ @ beam[..., np.newaxis])[..., 0] @ nodes.flux
    up = pass_.sum(axis=-1) + (reflect @ ground[..., np.newaxis])[..., 0]
    from_ground = up @ nodes.view
    back = ((pass_ @ ground[..., np.newaxis])[..., 0] + reflect.sum(axis=-1)) @ nodes.flux
    absorbed, scattered = (1.0 - albedo) * depth, albedo * depth
    fade = np.exp(-absorbed[:, np.newaxis] / nodes.cosine)
    clear = (fade @ (nodes.source * nodes.flux)) * (fade @ nodes.view)
    trapped = (fade**2) @ (nodes.internal * nodes.flux)
    parts = [haze, np.log(to_ground * from_ground / clear), back - trapped]
    return np.stack(parts, axis=-1) / scattered[:, np.newaxis]


def _share_at(x: FloatArray) -> FloatArray:
    """Share of scattering w = τ_s/τ at x, w = 1 - (1 - x)².

    Close to conservative scattering thick films change as √(1 - w).
    """
    return np.asarray(1.0 - (1.0 - x) ** 2)


class _Cell(NamedTuple):
    """Where depths fall in the tables, and the B-splines that live there."""

    depth: FloatArray
    scattering: FloatArray
    row: FloatArray
    column: FloatArray
    across: tuple[FloatArray, ...]
    along: tuple[FloatArray, ...]
    across_slope: tuple[FloatArray, ...]
    along_slope: tuple[FloatArray, ...]

    @classmethod
    def of(cls, absorption: FloatLike, scattering: FloatLike) -> _Cell:
        """Find the place of depths."""
        tau_a, tau_s = np.broadcast_arrays(
            np.asarray(absorption, dtype=float), np.asarray(scattering, dtype=float)
        )
        depth = np.maximum(tau_a + tau_s, 1e-12)
        left = np.sqrt(np.clip(1.0 - tau_s / depth, 0.0, 1.0))
        last = (_LAST_POWER - _FIRST_POWER) * _STEPS_PER_OCTAVE
        x = (1.0 - left) * (_SHARE_NODES - 1)
        y = (np.log2(depth) - _FIRST_POWER) * _STEPS_PER_OCTAVE
        inside = (y > 0.0) & (y < last)
        y = np.clip(y, 0.0, last)
        row = np.minimum(x.astype(np.int64), _SHARE_NODES - 2)
        column = np.minimum(y.astype(np.int64), last - 1)
        across, across_slope = _b_splines(x - row)
        along, along_slope = _b_splines(y - column)
        # dx/dw = 1 / (2·√(1 - w)); a film without absorption is approached, not reached.
        by_share = 0.5 * (_SHARE_NODES - 1) / np.maximum(left, 1e-4)
        by_log = inside * _STEPS_PER_OCTAVE / np.log(2.0)
        return cls(
            depth,
            tau_s,
            row,
            column,
            across,
            along,
            tuple(part * by_share for part in across_slope),
            tuple(part * by_log for part in along_slope),
        )


def _b_splines(x: FloatArray) -> tuple[tuple[FloatArray, ...], tuple[FloatArray, ...]]:
    """The four uniform cubic B-splines over a cell, at x in 0..1, and their derivatives."""
    y = 1.0 - x
    values = (
        y**3 / 6.0,
        (4.0 - 6.0 * x**2 + 3.0 * x**3) / 6.0,
        (4.0 - 6.0 * y**2 + 3.0 * y**3) / 6.0,
        x**3 / 6.0,
    )
    derivatives = (
        -0.5 * y**2,
        -2.0 * x + 1.5 * x**2,
        2.0 * y - 1.5 * y**2,
        0.5 * x**2,
    )
    return values, derivatives


def _spline(values: FloatArray, axis: int) -> FloatArray:
    """Coefficients, two more along `axis`, of the spline through `values` (not-a-knot ends)."""
    count = values.shape[axis]
    matrix = np.zeros((count + 2, count + 2))
    for i in range(count):
        matrix[i, i : i + 3] = np.array([1.0, 4.0, 1.0]) / 6.0
    third = np.array([-1.0, 4.0, -6.0, 4.0, -1.0])
    matrix[count, :5], matrix[count + 1, -5:] = third, third
    right = np.moveaxis(values, axis, 0)
    padded = np.concatenate([right, np.zeros((2, *right.shape[1:]))])
    solved = np.linalg.solve(matrix, padded.reshape(count + 2, -1)).reshape(padded.shape)
    return np.ascontiguousarray(np.moveaxis(solved, 0, axis))
