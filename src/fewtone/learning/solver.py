"""Levenberg-Marquardt with local parameters eliminated; knows numbers only, no physics.

Each panel's local parameters touch that panel's residuals alone, so the normal matrix is an arrow:
they are eliminated panel by panel (Schur complement), the shared parameters are solved for by one
Cholesky factor, and the local steps follow by back-substitution. Cost grows with the number of
panels times the square of what one panel touches, plus the cube of the shared parameters.

The inverse of the reduced matrix at the solution is the Laplace covariance of the shared parameters
with the local ones integrated out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_factor, cho_solve

from fewtone.learning.forward import Group, Linear, Problem
from fewtone.learning.parameters import Parameters
from fewtone.typing import FloatArray

__all__ = ["Prior", "Solution", "schur_complement", "solve"]

_FIRST_DAMPING = 1e-2
_LEAST_DAMPING = 1e-9
_MOST_DAMPING = 1e8
# No curve moves by more than this factor (on the log) in one step.
_LONGEST_STEP = 2.0


@dataclass(frozen=True, slots=True, eq=False)
class Prior:
    """Normal prior of the shared parameters: mean and precision."""

    mean: FloatArray
    precision: FloatArray

    def cost(self, shared: FloatArray) -> float:
        """Squared distance from the mean in standard deviations."""
        off = shared - self.mean
        return float(off @ self.precision @ off)


@dataclass(frozen=True, slots=True, eq=False)
class Solution:
    """Where the solver stopped.

    Parameters
    ----------
    at
        The parameters.
    cost
        Residuals and priors, squared and summed.
    iterations
        Steps taken.
    converged
        Whether the cost had stopped to fall.
    """

    at: Parameters
    cost: float
    iterations: int
    converged: bool


def solve(
    problem: Problem,
    prior: Prior,
    start: Parameters,
    *,
    weights: FloatArray | None = None,
    most_iterations: int = 60,
    tolerance: float = 1e-5,
) -> Solution:
    """Find the most probable parameters.

    Parameters
    ----------
    problem
        Residuals and slopes.
    prior
        Of the shared parameters; that of the local ones is in the groups.
    start
        Where to begin.
    weights
        How much each panel counts [1], shape ``(n_panels,)``; 1 if None.
    most_iterations
        Steps after which it stops at the latest.
    tolerance
        It stops when a step lowers the cost by less than this share.
    """
    share = np.ones(len(problem.seen.panels)) if weights is None else weights
    at, cost = start, _cost(problem, prior, start, share)
    damping, iterations, converged = _FIRST_DAMPING, 0, False
    while iterations < most_iterations and not converged:
        system = _System(problem, prior, at, share)
        while damping < _MOST_DAMPING:
            trial = system.step(damping)
            trial_cost = _cost(problem, prior, trial, share)
            if trial_cost <= cost:
                break
            damping *= 6.0
        else:
            converged = True
            break
        converged = cost - trial_cost <= tolerance * (1.0 + trial_cost)
        at, cost = trial, trial_cost
        damping = max(damping / 6.0, _LEAST_DAMPING)
        iterations += 1
    return Solution(at, cost, iterations, converged)


def schur_complement(
    problem: Problem, prior: Prior, at: Parameters, weights: FloatArray | None = None
) -> FloatArray:
    """Precision of the shared parameters with the local ones integrated out, ``(n, n)``."""
    share = np.ones(len(problem.seen.panels)) if weights is None else weights
    matrix, _ = _System(problem, prior, at, share).reduced(0.0)
    return matrix


def _cost(problem: Problem, prior: Prior, at: Parameters, share: FloatArray) -> float:
    residuals = problem.residuals(at)
    if residuals is None:
        return np.inf
    total = prior.cost(at.shared)
    for group, residual in zip(problem.groups, residuals, strict=True):
        local = _local(group, at)
        total += float(np.einsum("p,pr,pr->", share[group.panels], residual, residual))
        total += float(np.einsum("pi,pij,pj->", local, group.precision, local))
    return total


def _local(group: Group, at: Parameters) -> FloatArray:
    builds = at.log_build[group.segments]
    if not group.has_gain:
        return builds
    return np.concatenate([builds, at.log_gain[group.panels][:, np.newaxis]], axis=1)


class _System:
    """The normal equations at one place."""

    def __init__(self, problem: Problem, prior: Prior, at: Parameters, share: FloatArray) -> None:
        self.groups, self.prior, self.at = problem.groups, prior, at
        self.parts = [
            _Part(group, linear, _local(group, at), share[group.panels])
            for group, linear in zip(problem.groups, problem.linearise(at), strict=True)
        ]
        self.matrix = prior.precision.copy()
        self.gradient = prior.precision @ (at.shared - prior.mean)
        for part in self.parts:
            place = part.group.shared
            self.matrix[np.ix_(place, place)] += part.shared
            self.gradient[place] += part.gradient

    def reduced(self, damping: float) -> tuple[FloatArray, FloatArray]:
        """The shared parameters' matrix and gradient after eliminating the local ones."""
        matrix, gradient = self.matrix.copy(), self.gradient.copy()
        matrix[np.diag_indices_from(matrix)] *= 1.0 + damping
        for part in self.parts:
            if part.group.precision.shape[1]:
                less, pull = part.eliminate(damping)
                place = part.group.shared
                matrix[np.ix_(place, place)] -= less
                gradient[place] -= pull
        return matrix, gradient

    def step(self, damping: float) -> Parameters:
        """The parameters after one damped step."""
        matrix, gradient = self.reduced(damping)
        shared = -cho_solve(cho_factor(matrix, check_finite=False), gradient, check_finite=False)
        longest = float(np.abs(shared).max())
        shared *= min(1.0, _LONGEST_STEP / longest) if longest > 0.0 else 1.0
        build, gain = np.zeros_like(self.at.log_build), np.zeros_like(self.at.log_gain)
        for part in self.parts:
            group = part.group
            if not group.precision.shape[1]:
                continue
            local = part.follow(shared[group.shared], damping)
            build[group.segments] = local[:, : group.segments.shape[1]]
            if group.has_gain:
                gain[group.panels] = local[:, -1]
        return self.at.moved(shared, build, gain)


class _Part:
    """One group's share of the normal equations."""

    def __init__(self, group: Group, linear: Linear, local: FloatArray, share: FloatArray) -> None:
        self.group = group
        root = np.sqrt(share)[:, np.newaxis]
        residual, weight = linear.residual * root, root[..., np.newaxis]
        by_shared, by_local = linear.shared * weight, linear.local * weight
        flat = by_shared.reshape(-1, by_shared.shape[-1])
        self.shared = flat.T @ flat
        self.gradient = flat.T @ residual.ravel()
        turned = by_local.swapaxes(1, 2)
        self.local = turned @ by_local + group.precision
        self.cross = turned @ by_shared
        self.pull = (turned @ residual[..., np.newaxis])[..., 0]
        self.pull += (group.precision @ local[..., np.newaxis])[..., 0]

    def eliminate(self, damping: float) -> tuple[FloatArray, FloatArray]:
        """What the local parameters take off the shared matrix and gradient."""
        solved = np.linalg.solve(self._damped(damping), self._right())
        cross = self.cross.reshape(-1, self.cross.shape[-1])
        less = cross.T @ solved[..., 1:].reshape(cross.shape)
        return less, cross.T @ solved[..., 0].ravel()

    def follow(self, shared: FloatArray, damping: float) -> FloatArray:
        """Steps of the local parameters once those of the shared ones are known."""
        right = self.pull + self.cross @ shared
        solved = np.linalg.solve(self._damped(damping), right[..., np.newaxis])
        return np.asarray(-solved[..., 0])

    def _right(self) -> FloatArray:
        return np.concatenate([self.pull[..., np.newaxis], self.cross], axis=-1)

    def _damped(self, damping: float) -> FloatArray:
        return self.local + damping * self.local * np.eye(self.local.shape[-1])
