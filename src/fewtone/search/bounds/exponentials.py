"""Reflectance of a clear film as a short sum of falling exponentials, with a certified error.

Through a clear film R(τ) is a mixture of decaying exponentials of the depth τ with positive
weights: escape, back₁ and back₂ are (`fewtone.optics.film`, `fewtone.optics.flake`),
1/(1 - ρ·back₂) is as the sum of (ρ·back₂)ⁿ, products of such mixtures are, and a constant first
reflection is one of rate 0. A few rates represent it closely,

    R(τ) ≈ S(τ) = first + Σ_k c_k exp(-p_k τ),   c_k >= 0,

by least squares weighted by 1/(R + `FLOOR`); weights that come out negative are put to 0 in turn.
Toners and light have no say in it: `learn` stores the fit of each ground with the curves, by a
digest of all that went into it, and what is not stored is made when it is asked for.

Error
    R and S are convex: between two nodes each lies below its chord and above its tangents there.
    With h the distance and s₀ <= s₁ the slopes at the nodes, chord and tangents are at most
    h (s₁ - s₀)/4 apart. So |R - S| between nodes exceeds its larger value at the nodes by no more
    than the larger of the two gaps. Beyond the last node both lie between `first` and what they
    are there. So `error` bounds |R - S|/(R + FLOOR) at every depth.

The white's weights are not negative, so F = X, Y or Z over the white's is such a sum of the toners'
amounts x, τ(λ) = Σ_i x_i a_i(λ): it falls in every amount, and log F is convex (Hölder).
"""

from __future__ import annotations

import hashlib
import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from fewtone.colorimetry import weights, white_point
from fewtone.model.curves import Curves
from fewtone.model.film_fit import FilmFit
from fewtone.optics.film import FilmOptics, Geometry
from fewtone.optics.interface import film_cosine
from fewtone.recipes.evaluate import Films
from fewtone.typing import FloatArray, IntArray

__all__ = ["FLOOR", "Exponentials", "exponentials_of", "film_fits"]

# Errors are relative to the reflectance and this: at L* 9 an error then weighs twice its share.
FLOOR = 0.01
# Rates as multiples of the direct path's, most of them sums of two before them, so that products
# stand for exponentials. In diffuse light paths out of the film differ.
_DIRECTIONAL = (1.0, 2.0, 3.0, 6.0, 12.0, 24.0)
_DIFFUSE = (1.0, 1.083, 1.167, 2.0, 3.0, 5.0, 10.0, 20.0)
_NODES, _DEPTH = 600, 8.0
# What the optics' tables are right to, and more.
_TABLES = 1e-7
# Exponents stop here: e^-41 is below what anybody sees, and numbers yet smaller are slow.
_DEEPEST = 41.0
# Rounding to 32 bits, in units: an exponent of up to 41 is off by 8 of it (toner, share, their
# product and sum, load, depth, rate, product), exponential, weight and product by 4 more; a product
# of up to 24 exponentials by 3 more for each.
_UNIT = 2.0**-24
_EXPONENT_UNITS = 8 * 41 + 4 + 3 * 24


@dataclass(frozen=True, eq=False)
class Exponentials:
    """X, Y and Z over the white's as sums of exponentials in the toners' amounts.

    Parameters
    ----------
    absorption
        Of the films' toners [1], shape ``(n_toners, n_wavelengths)``.
    rates
        How fast each term falls with the depth, shape ``(n_terms,)``.
    constant
        What does not fall: F of the first reflection, shape ``(3,)``.
    matrix
        Weights of each term and wavelength, shape ``(n_grounds, n_terms * n_wavelengths, 3)``.
    error
        |F - value|/(F + FLOOR) is at most this.
    rounding
        The same for `values` in 32 bits, relative to the value.
    """

    absorption: FloatArray
    rates: FloatArray
    constant: FloatArray
    matrix: FloatArray
    error: float
    rounding: float

    @cached_property
    def derivative_matrix(self) -> FloatArray:
        """Weights of how sums fall, ``(n_grounds, n_terms * n_wavelengths, n_sums * n_toners)``."""
        shape = (len(self.matrix), len(self.rates), -1, self.matrix.shape[2])
        by_rate = self.matrix.reshape(shape) * self.rates[:, np.newaxis, np.newaxis]
        weights = np.einsum("gkwc,tw->gkwct", by_rate, self.absorption)
        return np.asarray(weights.reshape(*self.matrix.shape[:2], -1))

    @cached_property
    def _single(self) -> tuple[FloatArray, FloatArray]:
        """Both matrices in 32 bits."""
        return self.matrix.astype(np.float32), self.derivative_matrix.astype(np.float32)

    @cached_property
    def _factors(self) -> tuple[tuple[int, int] | None, ...]:
        """Of each term the two before it that it is the product of, if there are such."""
        factors: list[tuple[int, int] | None] = []
        for term, rate in enumerate(self.rates):
            off = np.add.outer(self.rates[:term], self.rates[:term]) - rate
            first, other = np.nonzero(np.abs(off) <= 1e-12 * rate)
            factors.append((int(first[0]), int(other[0])) if len(first) else None)
        return tuple(factors)

    def terms(self, tau: FloatArray) -> FloatArray:
        """All terms at depths ``(n, n_wavelengths)``: ``(n, n_terms * n_wavelengths)``.

        Parameters
        ----------
        tau
            Absorption optical depth [1], shape ``(n, n_wavelengths)``.
        """
        depth = np.ascontiguousarray(tau.T)
        terms = np.empty((len(self.rates), *depth.shape), dtype=tau.dtype)
        half = tau.dtype.type(math.exp(-0.5 * _DEEPEST))
        for term, rate, factors in zip(terms, self.rates.tolist(), self._factors, strict=True):
            if factors is None:
                np.multiply(depth, tau.dtype.type(-rate), out=term)
                np.maximum(term, -_DEEPEST, out=term)
                np.exp(term, out=term)
            else:
                one, other = factors
                np.maximum(terms[one], half, out=term)
                np.multiply(
                    term, term if one == other else np.maximum(terms[other], half), out=term
                )
        return terms.reshape(-1, len(tau)).T

    def values(self, tau: FloatArray, ground: IntArray) -> FloatArray:
        """Sums at depths ``(n, n_wavelengths)`` over grounds ``(n,)``, shape ``(n, n_sums)``.

        Parameters
        ----------
        tau
            Absorption optical depth [1], shape ``(n, n_wavelengths)``.
        ground
            Row of each film's ground, shape ``(n,)``.
        """
        matrix = self._single[0] if tau.dtype == np.float32 else self.matrix
        sums = _by_ground(self.terms(tau), matrix, ground)
        sums += self.constant.astype(tau.dtype)
        return sums

    def tangents(self, tau: FloatArray, ground: IntArray) -> tuple[FloatArray, FloatArray]:
        """Logarithms ``(n, n_sums)``, and how they fall in amounts, ``(n, n_sums, n_toners)``.

        Parameters
        ----------
        tau
            Absorption optical depth [1], shape ``(n, n_wavelengths)``.
        ground
            Row of each film's ground, shape ``(n,)``.
        """
        terms = self.terms(tau)
        double = self.matrix, self.derivative_matrix
        matrix, derivatives = self._single if tau.dtype == np.float32 else double
        values = _by_ground(terms, matrix, ground)
        values += self.constant.astype(tau.dtype)
        falls = _by_ground(terms, derivatives, ground)
        falls = falls.reshape(*values.shape, len(self.absorption))
        falls /= values[:, :, np.newaxis]
        return np.log(values), falls


def _by_ground(terms: FloatArray, matrix: FloatArray, ground: IntArray) -> FloatArray:
    """Product of each row with the matrix of its ground; quickest where grounds stand in order."""
    sums = np.empty((len(terms), matrix.shape[2]), dtype=terms.dtype)
    starts = np.flatnonzero(np.diff(ground, prepend=-1)).tolist()
    for first, after in itertools.pairwise([*starts, len(ground)]):
        np.matmul(terms[first:after], matrix[ground[first]], out=sums[first:after])
    return sums


def exponentials_of(films: Films) -> Exponentials:
    """The sums for a shelf's grounds."""
    curves, grounds = films.curves, list(films.grounds)
    fits = [fit for _, fit in film_fits(curves, grounds)]
    rates = _rates(curves.optics)
    white = weights(curves.wavelength_nm, films.light) / white_point(films.light)
    by_ground = np.stack([fit.shares for fit in fits])
    terms = len(rates) * len(curves.wavelength_nm)
    return Exponentials(
        curves.absorption[list(films.toners)],
        rates,
        curves.optics.first_surface * white.sum(axis=0),
        (by_ground[..., np.newaxis] * white).reshape(len(grounds), terms, 3),
        max(fit.error for fit in fits) + _TABLES,
        (_EXPONENT_UNITS + terms) * _UNIT,
    )


def film_fits(curves: Curves, grounds: Sequence[int] | None = None) -> list[tuple[bytes, FilmFit]]:
    """Fits of clear films over grounds, those that the curves hold and those made now.

    Parameters
    ----------
    curves
        The learnt shelf.
    grounds
        Rows of its grounds; all if None.

    Returns
    -------
    The digest of what went into each, which `Curves.fits` has it by, and the fit.
    """
    fits = []
    for ground in range(len(curves.grounds)) if grounds is None else grounds:
        rho, ratio = curves.ground_reflectance[ground], float(curves.return_ratio[ground])
        digest = _digest(curves.optics, rho, ratio)
        fit = curves.fits.get(digest)
        if fit is None or fit.shares.shape != (len(_rates(curves.optics)), len(rho)):
            fit = _fit(curves.optics, rho.tobytes(), ratio)
        fits.append((digest, fit))
    return fits


def _digest(optics: FilmOptics, rho: FloatArray, ratio: float) -> bytes:
    """Of all that a fit follows from, what it is a fit by included."""
    what = (optics, ratio, _rates(optics).tolist(), FLOOR, _NODES, _DEPTH)
    return hashlib.sha256(repr(what).encode() + rho.tobytes()).digest()


def _rates(optics: FilmOptics) -> FloatArray:
    directional = optics.geometry is Geometry.DIRECTIONAL
    into = film_cosine(45.0 if directional else 8.0, optics.index)
    multiples = np.array(_DIRECTIONAL if directional else _DIFFUSE)
    return np.asarray((1.0 / float(into) + 1.0) * multiples)


@lru_cache(maxsize=64)
def _fit(optics: FilmOptics, reflectance: bytes, ratio: float) -> FilmFit:
    """The fit over one ground, its reflectance as the array's bytes."""
    rho, rates = np.frombuffer(reflectance), _rates(optics)
    tau = np.linspace(0.0, np.sqrt(_DEPTH), _NODES) ** 2
    film = optics.reflectance_derivatives(tau[:, np.newaxis], rho, ratio)
    first = optics.first_surface
    basis = np.exp(-np.multiply.outer(tau, rates))
    weight = 1.0 / (film.reflectance + FLOOR)
    shares = _positive_fit(basis, film.reflectance - first, weight)
    sums = basis @ shares + first
    falls = basis @ (shares * -rates[:, np.newaxis])
    off = np.abs(sums - film.reflectance)
    bound = np.maximum(off[1:], off[:-1]) + np.maximum(_gap(tau, falls), _gap(tau, film.d_tau))
    # R falls: its least of a cell is at the cell's end.
    error = float((bound * weight[1:]).max())
    beyond = np.maximum(sums[-1], film.reflectance[-1]) - first
    return FilmFit(shares, max(error, float((beyond / (first + FLOOR)).max())))


def _gap(tau: FloatArray, slope: FloatArray) -> FloatArray:
    """How far apart a convex function's chord and tangents are between nodes, at most."""
    return np.asarray(0.25 * np.diff(tau)[:, np.newaxis] * np.diff(slope, axis=0))


def _positive_fit(basis: FloatArray, values: FloatArray, weight: FloatArray) -> FloatArray:
    """Weighted least squares of many columns by one basis, weights below 0 put to 0 in turn.

    Shape ``(n_terms, n_columns)``, from ``(n_nodes, n_terms)`` and ``(n_nodes, n_columns)`` twice.
    """
    square = weight * weight
    both = (basis[:, :, np.newaxis] * basis[:, np.newaxis]).reshape(len(basis), -1)
    normal = (square.T @ both).reshape(-1, basis.shape[1], basis.shape[1])
    right = (square * values).T @ basis
    used = np.ones(right.shape, dtype=np.bool_)
    while True:
        both_used = used[:, :, np.newaxis] & used[:, np.newaxis]
        system = np.where(both_used, normal, 0.0)
        system[:, np.arange(basis.shape[1]), np.arange(basis.shape[1])] += ~used
        shares = np.linalg.solve(system, np.where(used, right, 0.0)[..., np.newaxis])[..., 0]
        rows = np.flatnonzero((shares < 0.0).any(axis=1))
        if not len(rows):
            return np.asarray(shares.T)
        used[rows, shares[rows].argmin(axis=1)] = False
