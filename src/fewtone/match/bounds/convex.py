"""Tristimulus values as log-convex functions of the toners' amounts, and what that bounds.

Let x be the amounts of a support's toners (load times fraction). Through a clear film

    F(x) = Σ_λ w(λ) R(τ(λ)),   τ(λ) = Σ_i x_i a_i(λ),   a_i, w >= 0

for F = X, Y or Z over the white's. R(τ) is a mixture of decaying exponentials of τ with positive
weights: escape, back₁ and back₂ are (`fewtone.optics.film`, `fewtone.optics.flake`),
1/(1 - ρ·back₂) is as the sum of (ρ·back₂)ⁿ, products of such mixtures are, and a constant first
reflection is one with s = 0. So F is the Laplace transform of a positive measure on amounts:

* it falls in every amount;
* log F is convex (Hölder's inequality).

A tangent plane of log F lies below it everywhere; a chord lies above it between its ends.

`Probe` evaluates log F; `Rays` holds, for each of many directions over a ground, two loads that
bracket a span of lightness, log F there, and a tangent plane: all that the bounds of a cell need.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from fewtone.colorimetry import weights, white_point
from fewtone.match.evaluate import Evaluator
from fewtone.typing import FloatArray, IntArray

__all__ = ["LAB_FLOOR", "Probe", "Rays", "cielab_f", "cielab_f_derivative", "log_ratio"]

# Rows handled at once, so that their intermediate arrays stay in the processor's cache.
_BLOCK = 512
# log F is kept above this: L* there is below 1e-6.
LAB_FLOOR = -25.0
# Rays are followed to this multiple of the largest load: mixed with a strong toner, a weak one
# that never gets dark enough by itself still bounds what the two do together.
_REACH = 6.0
_BEND = (6.0 / 29.0) ** 3
_STRAIGHT = (29.0 / 6.0) ** 2 / 3.0


def log_ratio(lightness: float) -> float:
    """log(Y/Y_white) of an L*."""
    root = (lightness + 16.0) / 116.0
    ratio = root**3 if root > 6.0 / 29.0 else (root - 4.0 / 29.0) / _STRAIGHT
    return float(np.log(max(ratio, np.exp(LAB_FLOOR))))


def cielab_f(logs: FloatArray) -> FloatArray:
    """CIELAB's function of F, from log F: increasing and convex in log F."""
    ratio = np.exp(logs)
    return np.where(ratio > _BEND, np.exp(logs / 3.0), _STRAIGHT * ratio + 4.0 / 29.0)


def cielab_f_derivative(logs: FloatArray) -> FloatArray:
    """Derivative of `cielab_f`."""
    ratio = np.exp(logs)
    return np.where(ratio > _BEND, np.exp(logs / 3.0) / 3.0, _STRAIGHT * ratio)


class Rays(NamedTuple):
    """Directions over grounds, each with what bounds it; all of shape ``(n, ...)``.

    near, far ``(n,)``
        Loads around the span: log Y at `near` is above it, at `far` below it, unless the lattice's
        loads end before.
    dark ``(n,)``
        Load at which the chord from near to far leaves the span, at most the largest load.
    capped ``(n,)``
        1 where even the largest load is within the span or lighter, else 0.
    near_logs, far_logs ``(n, 3)``
        log F at near and at far.
    constant ``(n, 3)``, slopes ``(n, 3, n_toners)``
        The tangent plane: log F(x) >= constant - slopes · x for every x.
    """

    table: FloatArray
    slopes: FloatArray


NEAR, FAR, DARK, CAPPED = 0, 1, 2, 3
NEAR_LOGS, FAR_LOGS, CONSTANT = slice(4, 7), slice(7, 10), slice(10, 13)
COLUMNS = 13


@dataclass(frozen=True, slots=True, eq=False)
class Span:
    """A span of lightness as log Y over the white's: `dark` below `light`."""

    dark: float
    light: float


class Probe:
    """Evaluates log F of directions, with its slopes in every toner's amount."""

    def __init__(self, evaluator: Evaluator, loads: FloatArray) -> None:
        curves = evaluator.curves
        self.evaluator = evaluator
        self.least_load, self.most_load = float(loads[0]), float(loads[-1])
        self.end_load = _REACH * self.most_load
        self.absorption = curves.absorption[evaluator.toners]
        self._optics = curves.optics
        self._ground = curves.ground_reflectance[evaluator.grounds]
        self._return_ratio = curves.return_ratio[evaluator.grounds, np.newaxis]
        white = white_point(evaluator.light)
        self._weights = weights(curves.wavelength_nm, evaluator.light) / white
        # Slopes in all amounts are one product with the weights times each toner's curve.
        self._toner_weights = np.einsum("wc,tw->wct", self._weights, self.absorption).reshape(
            len(curves.wavelength_nm), -1
        )
        bare = self._optics.reflectance(
            np.zeros_like(self._ground), self._ground, self._return_ratio
        )
        self.bare_logs = np.log(bare @ self._weights)

    def logs(self, curve: FloatArray, load: FloatArray, ground: IntArray) -> FloatArray:
        """Log F ``(n, 3)`` at loads along directions given by their absorption ``(n, w)``."""
        found = np.empty((len(load), 3))
        for start in range(0, len(load), _BLOCK):
            part = slice(start, start + _BLOCK)
            reflectance = self._optics.reflectance(
                load[part, np.newaxis] * curve[part],
                self._ground[ground[part]],
                self._return_ratio[ground[part]],
            )
            found[part] = reflectance @ self._weights
        return np.maximum(np.log(np.maximum(found, 1e-300)), LAB_FLOOR)

    def tangents(
        self, curve: FloatArray, load: FloatArray, ground: IntArray
    ) -> tuple[FloatArray, FloatArray]:
        """Log F ``(n, 3)`` and how fast it falls in every amount ``(n, 3, n_toners)``."""
        logs = np.empty((len(load), 3))
        slopes = np.empty((len(load), 3, len(self.absorption)))
        for start in range(0, len(load), _BLOCK):
            part = slice(start, start + _BLOCK)
            tau = load[part, np.newaxis] * curve[part]
            rho = self._ground[ground[part]]
            film = self._optics.reflectance_derivatives(tau, rho, self._return_ratio[ground[part]])
            values = np.maximum(film.reflectance @ self._weights, 1e-300)
            logs[part] = np.log(values)
            slopes[part] = (film.d_tau @ self._toner_weights).reshape(len(tau), 3, -1)
            slopes[part] /= -values[:, :, np.newaxis]
        return logs, slopes

    def rays(
        self, fractions: FloatArray, ground: IntArray, guess: FloatArray | None, span: Span
    ) -> Rays:
        """Bracket the span of lightness along directions.

        Parameters
        ----------
        fractions
            Of the evaluator's toners, shape ``(n, n_toners)``.
        ground
            Positions, shape ``(n,)``.
        guess
            Loads to start from, shape ``(n,)``; from scratch if None.
        span
            The span of log Y.

        Notes
        -----
        Newton's steps in log Y, which is nearly straight in the load. Where they end is of no
        matter to the bounds' validity, only to how tight they are.
        """
        curve = fractions @ self.absorption
        least, most = self.least_load, self.end_load
        steps = 1 if guess is not None else 4
        load = np.full(len(curve), 0.5 * (least + self.most_load)) if guess is None else guess
        load = np.clip(load, least, most)
        middle = 0.5 * (span.dark + span.light)
        for step in range(steps):
            logs, slopes = self.tangents(curve, load, ground)
            along = np.maximum(np.einsum("nt,nt->n", slopes[:, 1], fractions), 1e-9)
            if step < steps - 1:
                load = np.clip(load + (logs[:, 1] - middle) / along, least, most)
        constant = logs + load[:, np.newaxis] * np.einsum("nct,nt->nc", slopes, fractions)
        near = np.clip(load + (logs[:, 1] - span.light) / along, least, 0.999 * most)
        far = load + (logs[:, 1] - span.dark) / along
        far = np.clip(far + 0.15 * np.abs(far - load) + 0.003 * far, 1.0005 * near, most)
        near_logs, far_logs = self.logs(curve, near, ground), self.logs(curve, far, ground)
        while True:
            short = np.flatnonzero((far_logs[:, 1] > span.dark) & (far < most))
            if not len(short):
                break
            far[short] = np.minimum(1.1 * far[short], most)
            far_logs[short] = self.logs(curve[short], far[short], ground[short])
        # A ray that never gets dark enough ends at the largest load.
        capped = np.flatnonzero(far_logs[:, 1] > span.dark)
        near[capped] = np.minimum(near[capped], 0.999 * self.most_load)
        far[capped] = self.most_load
        near_logs[capped] = self.logs(curve[capped], near[capped], ground[capped])
        far_logs[capped] = self.logs(curve[capped], far[capped], ground[capped])
        fall = np.maximum(near_logs[:, 1] - far_logs[:, 1], 1e-12)
        share = np.clip((near_logs[:, 1] - span.dark) / fall, 0.0, 1.0)
        table = np.empty((COLUMNS, len(curve)))
        table[NEAR], table[FAR], table[CAPPED] = near, far, 0.0
        table[DARK] = near + share * (far - near)
        table[CAPPED, capped], table[DARK, capped] = 1.0, self.most_load
        table[NEAR_LOGS], table[FAR_LOGS] = near_logs.T, far_logs.T
        table[CONSTANT] = constant.T
        return Rays(table, slopes)
