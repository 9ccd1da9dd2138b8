"""Integrals over the directions of diffuse light in a film, and fast tables of them.

Diffuse light from the ground crosses the film at all angles, each with its own path, and meets
Fresnel's reflectance at the top; beyond the critical angle nothing leaves (F. C. Williams and
F. R. Clapper, J. Opt. Soc. Am. 43, 595 (1953), doi:10.1364/JOSA.43.000595).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from fewtone.optics.interface import fresnel_at_cosine
from fewtone.typing import FloatArray, FloatLike, IntArray

__all__ = ["IntegralTable", "diffuse_escape", "integral_table", "internal_return"]

# Nodes for the rays that can leave, over the cosine in air: the integrand is analytic there, and
# sixteen nodes reach 1e-12. Over the cosine in the film the critical angle is a kink that Gauss
# nodes straddle badly.
_OPEN_NODES = 16
# Nodes for the rays that the top returns wholly. exp(-2τ/μ) is not analytic at μ = 0; μ = μ_c q³
# gathers the nodes there.
_CLOSED_NODES = 48
_TABLE_END = 4.0  # in √τ: beyond τ = 16 less than 1e-14 of the light is left
_TABLE_CELLS = 1024


def internal_return(tau: FloatLike, index: float) -> FloatArray:
    """Share of diffuse light from the ground that the top sends back to the ground.

    r_i(τ) = 2∫₀¹ F_int(μ) exp(-2τ/μ) μ dμ

    Parameters
    ----------
    tau
        Absorption optical depth of the film along its normal [1], any shape.
    index
        Refractive index of the film [1].

    Returns
    -------
    The share [1], shaped like `tau`.
    """
    rates, shares = _internal_quadrature(index)
    return np.asarray(np.exp(-np.multiply.outer(np.asarray(tau, dtype=float), rates)) @ shares)


def diffuse_escape(tau: FloatLike, index: float) -> FloatArray:
    """Share of diffuse light from the ground that leaves through the top.

    t_o(τ) = 2∫₀¹ (1 - F_int(μ)) exp(-τ/μ) μ dμ

    Parameters
    ----------
    tau
        Absorption optical depth of the film along its normal [1], any shape.
    index
        Refractive index of the film [1].

    Returns
    -------
    The share [1], shaped like `tau`.
    """
    rates, shares = _escape_quadrature(index)
    return np.asarray(np.exp(-np.multiply.outer(np.asarray(tau, dtype=float), rates)) @ shares)


@dataclass(frozen=True, slots=True)
class IntegralTable:
    """A function of τ as cubics between nodes that are evenly spaced in √τ.

    In √τ the function is smooth enough for cubics even at τ = 0, where E₃ has a τ²·ln τ. The
    error is below 1e-9 everywhere (a test shows it).

    Parameters
    ----------
    nodes_per_unit
        How many nodes there are to a unit of √τ.
    cubics
        In each cell the value, then the coefficients of x, x² and x³, shape ``(4, n_cells)``.
    """

    nodes_per_unit: float
    cubics: FloatArray

    @property
    def at_zero(self) -> float:
        """The function at no depth at all."""
        return float(self.cubics[0, 0])

    def value(self, tau: FloatArray) -> FloatArray:
        """The function at τ, the same shape.

        Parameters
        ----------
        tau
            Optical depth [1], any shape.
        """
        cell, inside = self._cell(tau)
        constant, first, second, third = self.cubics
        result: FloatArray = third[cell]
        for coefficients in (second, first, constant):
            result *= inside
            result += coefficients[cell]
        return result

    def value_and_derivative(self, tau: FloatArray) -> tuple[FloatArray, FloatArray]:
        """The function and its derivative at τ, both of its shape.

        Parameters
        ----------
        tau
            Optical depth [1], any shape.
        """
        # dτ = 2√τ d√τ: at τ = 0 that is 0/0, so the limit is taken a hair away from it.
        depth = np.maximum(tau, 1e-12)
        cell, inside = self._cell(depth)
        constant, first, second, third = (coefficients[cell] for coefficients in self.cubics)
        value = ((third * inside + second) * inside + first) * inside + constant
        along = (3.0 * third * inside + 2.0 * second) * inside + first
        return value, along * (0.5 * self.nodes_per_unit) / np.sqrt(depth)

    def _cell(self, tau: FloatArray) -> tuple[IntArray, FloatArray]:
        """The cell of √τ that a depth falls into, and where in it, 0..1."""
        along = np.minimum(np.sqrt(tau) * self.nodes_per_unit, self.cubics.shape[1] - 1e-9)
        cell = along.astype(np.int64)
        return cell, along - cell


@lru_cache(maxsize=32)
def integral_table(index: float, trapped: bool) -> IntegralTable:
    """Tabulate `internal_return` if `trapped`, else `diffuse_escape`, for films of this index."""
    rates, shares = _internal_quadrature(index) if trapped else _escape_quadrature(index)
    root = np.linspace(0.0, _TABLE_END, _TABLE_CELLS + 1)
    decays = np.exp(-np.multiply.outer(root**2, rates))
    value = decays @ shares
    step = root[1]
    slope = step * 2.0 * root * (decays @ (-rates * shares))
    rise = np.diff(value)
    cubics = np.stack(
        [
            value[:-1],
            slope[:-1],
            3.0 * rise - 2.0 * slope[:-1] - slope[1:],
            slope[:-1] + slope[1:] - 2.0 * rise,
        ]
    )
    return IntegralTable(1.0 / step, cubics)


def _unit_nodes(count: int) -> tuple[FloatArray, FloatArray]:
    """Nodes and weights of the Gauss-Legendre rule on 0..1, shape ``(count,)`` each."""
    nodes, shares = np.polynomial.legendre.leggauss(count)
    return 0.5 * (nodes + 1.0), 0.5 * shares


def _escape_quadrature(index: float) -> tuple[FloatArray, FloatArray]:
    """Decay rates and shares of t_o as a sum of exponentials: Σ share · exp(-rate · τ)."""
    air, share = _unit_nodes(_OPEN_NODES)
    film = np.sqrt(1.0 - (1.0 - air**2) / index**2)
    passed = 1.0 - fresnel_at_cosine(air, index)
    return 1.0 / film, 2.0 / index**2 * passed * air * share


def _internal_quadrature(index: float) -> tuple[FloatArray, FloatArray]:
    """Decay rates and shares of r_i as a sum of exponentials: Σ share · exp(-rate · τ)."""
    air, share = _unit_nodes(_OPEN_NODES)
    film = np.sqrt(1.0 - (1.0 - air**2) / index**2)
    partly = 2.0 / index**2 * fresnel_at_cosine(air, index) * air * share
    critical = np.sqrt(1.0 - 1.0 / index**2)
    if critical == 0.0:
        return 2.0 / film, partly
    gathered, share = _unit_nodes(_CLOSED_NODES)
    wholly = 6.0 * critical**2 * gathered**5 * share
    rates = np.concatenate([2.0 / film, 2.0 / (critical * gathered**3)])
    return rates, np.concatenate([partly, wholly])
