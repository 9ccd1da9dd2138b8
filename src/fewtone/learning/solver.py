"""Levenberg-Marquardt with local parameters eliminated; knows numbers only, no physics.

Each panel's local parameters touch that panel's residuals alone, so the normal matrix is an arrow:
they are eliminated panel by panel (Schur complement), the shared parameters are solved for by one
Cholesky factor, and the local steps follow by back-substitution. Cost grows with the number of
panels times the square of what one panel touches, plus the cube of the shared parameters.

The inverse of the reduced matrix at the solution is the Laplace covariance of the shared parameters
with the local ones integrated out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from scipy.linalg import LinAlgError, cho_factor, cho_solve

from fewtone.learning.forward import Linear, Problem
from fewtone.learning.groups import Group
from fewtone.learning.parameters import Parameters
from fewtone.typing import FloatArray, IntArray

__all__ = [
    "Evidence",
    "Link",
    "Prior",
    "Solution",
    "held_step",
    "robust_weights",
    "schur_complement",
    "solve",
]

_FIRST_DAMPING = 1e-2
_LEAST_DAMPING = 1e-9
_MOST_DAMPING = 1e8
# No curve moves by more than this factor (on the log) in one step, and no film build or gain.
_LONGEST_STEP, _LONGEST_LOCAL_STEP = 2.0, 0.5
# A panel counts in full as far as its squared residuals stay within so many standard deviations of
# what noise leaves.
_STEADY = 3.0


class Link(Protocol):
    """A prior beside the normal one: numbers that should be zero, in standard deviations."""

    @property
    def columns(self) -> IntArray:
        """Places of the shared parameters that it leans on, ``(n_here,)``."""

    def residual(self, at: Parameters) -> FloatArray:
        """The numbers, ``(n_residuals,)``."""

    def linearise(self, at: Parameters) -> tuple[FloatArray, FloatArray]:
        """The numbers, and their derivatives ``(n_residuals, n_here)``."""


@dataclass(frozen=True, slots=True, eq=False)
class Prior:
    """Normal prior of the shared parameters.

    Parameters
    ----------
    mean, precision
        Shapes ``(n_shared,)`` and ``(n_shared, n_shared)``.
    links
        What else ties them.
    """

    mean: FloatArray
    precision: FloatArray
    links: tuple[Link, ...] = ()

    def cost(self, at: Parameters) -> float:
        """Squared distance from the mean in standard deviations, that of the links included."""
        off = at.shared - self.mean
        linked = sum(float((link.residual(at) ** 2).sum()) for link in self.links)
        return float(off @ self.precision @ off) + linked

    def normal_equations(self, at: Parameters) -> tuple[FloatArray, FloatArray]:
        """Its share of the shared parameters' matrix and gradient.

        Parameters
        ----------
        at
            Parameters.

        Returns
        -------
        Shapes ``(n_shared, n_shared)`` and ``(n_shared,)``.
        """
        matrix, gradient = self.precision.copy(), self.precision @ (at.shared - self.mean)
        for link in self.links:
            residual, jacobian = link.linearise(at)
            matrix[np.ix_(link.columns, link.columns)] += jacobian.T @ jacobian
            gradient[link.columns] += jacobian.T @ residual
        return matrix, gradient


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
    weights
        How much each panel counted [1], shape ``(n_panels,)``.
    """

    at: Parameters
    cost: float
    iterations: int
    converged: bool
    weights: FloatArray


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
        Residuals and Jacobians.
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
            trial_cost = np.inf if trial is None else _cost(problem, prior, trial, share)
            if trial is not None and trial_cost <= cost:
                break
            damping *= 6.0
        else:
            converged = True
            break
        converged = cost - trial_cost <= tolerance * (1.0 + trial_cost)
        at, cost = trial, trial_cost
        damping = max(damping / 6.0, _LEAST_DAMPING)
        iterations += 1
    return Solution(at, cost, iterations, converged, share)


def schur_complement(
    problem: Problem, prior: Prior, at: Parameters, weights: FloatArray | None = None
) -> FloatArray:
    """Precision of the shared parameters with the local ones integrated out, ``(n, n)``.

    Parameters
    ----------
    problem, prior, at
        The fit.
    weights
        How far each panel counts [1], shape ``(n_panels,)``; all alike if None.
    """
    share = np.ones(len(problem.seen.panels)) if weights is None else weights
    matrix, _ = _System(problem, prior, at, share, with_held=True).reduced(0.0)
    return matrix


def held_step(problem: Problem, prior: Prior, solution: Solution) -> tuple[FloatArray, FloatArray]:
    """Where the parameters that the solver holds should go, all others following.

    Returns
    -------
    One Gauss-Newton step ``(3,)``, and their covariance ``(3, 3)``.
    """
    system = _System(problem, prior, solution.at, solution.weights, with_held=True)
    matrix, gradient = system.reduced(0.0)
    held = list(problem.layout.held)
    units = np.eye(len(matrix))[:, held]
    columns = cho_solve(cho_factor(matrix, check_finite=False), units, check_finite=False)
    return -columns.T @ gradient, columns[held]


def _cost(problem: Problem, prior: Prior, at: Parameters, share: FloatArray) -> float:
    residuals = problem.whitened_residuals(at)
    if residuals is None:
        return np.inf
    total = prior.cost(at)
    for group, residual in zip(problem.groups, residuals, strict=True):
        local = _local(group, at)
        total += float(np.einsum("p,pr,pr->", share[group.panels], residual, residual))
        total += float(np.einsum("pi,pij,pj->", local, group.precision, local))
    return total


def robust_weights(problem: Problem, at: Parameters) -> FloatArray:
    """How much each panel should count [1], shape ``(n_panels,)``.

    With c the squared residuals of a panel of n numbers, film and gain priors included, and
    k = n + 3 √(2n), a panel costs c up to k and k (1 + log(c/k)) beyond: a likelihood whose tail
    falls as a power. Its weight, the derivative, is min(1, k/c).
    """
    weights = np.ones(len(problem.seen.panels))
    residuals = problem.whitened_residuals(at) or []
    for group, residual in zip(problem.groups, residuals, strict=True):
        local = _local(group, at)
        cost = (residual**2).sum(axis=1)
        cost = cost + np.einsum("pi,pij,pj->p", local, group.precision, local)
        count = residual.shape[1]
        most = count + _STEADY * np.sqrt(2.0 * count)
        weights[group.panels] = most / np.maximum(cost, most)
    return weights


class Evidence:
    """The marginal likelihood of how films and gains vary, by Laplace's approximation.

    With the residuals linear at the solution, minus twice the log of it is the least cost, plus
    log det of the local and of the reduced shared matrices, less log det of the local precision.
    """

    def __init__(self, problem: Problem, prior: Prior, solution: Solution) -> None:
        self.system = _System(problem, prior, solution.at, solution.weights)
        self.cost = prior.cost(solution.at)
        self.locals = [_local(part.group, solution.at) for part in self.system.parts]
        for part in self.system.parts:
            self.cost += part.squares

    def of(self, precisions: Sequence[FloatArray]) -> float:
        """Minus twice the log, but for a constant, under these local precisions by group.

        Parameters
        ----------
        precisions
            Of the local parameters, for each group shape ``(n_panels, n_local, n_local)``.
        """
        matrix, gradient = self.system.matrix.copy(), self.system.gradient.copy()
        total = self.cost
        for part, at, precision in zip(self.system.parts, self.locals, precisions, strict=True):
            less = precision - part.group.precision
            turned = (less @ at[..., np.newaxis])[..., 0]
            local, pull = part.local + less, part.pull + turned
            total += float(np.einsum("pi,pij,pj->", at, precision, at))
            solved = np.linalg.solve(
                local, np.concatenate([pull[..., np.newaxis], part.cross], axis=-1)
            )
            total -= float((pull * solved[..., 0]).sum())
            total += float(np.linalg.slogdet(local)[1].sum())
            total -= float(np.linalg.slogdet(precision)[1].sum())
            cross = part.cross.reshape(-1, part.cross.shape[-1])
            columns = part.group.shared
            matrix[np.ix_(columns, columns)] -= cross.T @ solved[..., 1:].reshape(cross.shape)
            gradient[columns] -= cross.T @ solved[..., 0].ravel()
        root = cho_factor(matrix, lower=True, check_finite=False)
        total -= float(gradient @ cho_solve(root, gradient, check_finite=False))
        return total + 2.0 * float(np.log(np.diag(root[0])).sum())


def _local(group: Group, at: Parameters) -> FloatArray:
    builds = at.log_build[group.segments]
    return np.concatenate([builds, at.log_gain[group.panels][:, np.newaxis]], axis=1)


class _System:
    """The normal equations at one place."""

    def __init__(
        self,
        problem: Problem,
        prior: Prior,
        at: Parameters,
        share: FloatArray,
        *,
        with_held: bool = False,
    ) -> None:
        self.groups, self.prior, self.at = problem.groups, prior, at
        self.parts = [
            _Part(group, linear, _local(group, at), share[group.panels])
            for group, linear in zip(
                problem.groups, problem.whitened(at, with_held=with_held), strict=True
            )
        ]
        self.matrix, self.gradient = prior.normal_equations(at)
        if not with_held:
            self.gradient[list(problem.layout.held)] = 0.0
        for part in self.parts:
            columns = part.group.shared
            self.matrix[np.ix_(columns, columns)] += part.shared
            self.gradient[columns] += part.gradient

    def reduced(self, damping: float) -> tuple[FloatArray, FloatArray]:
        """The shared parameters' matrix and gradient after eliminating the local ones."""
        matrix, gradient = self.matrix.copy(), self.gradient.copy()
        matrix[np.diag_indices_from(matrix)] *= 1.0 + damping
        for part in self.parts:
            less, pull = part.eliminate(damping)
            columns = part.group.shared
            matrix[np.ix_(columns, columns)] -= less
            gradient[columns] -= pull
        return matrix, gradient

    def step(self, damping: float) -> Parameters | None:
        """The parameters after one damped step; None where it cannot be worked out."""
        matrix, gradient = self.reduced(damping)
        try:
            factor = cho_factor(matrix, check_finite=False)
        except LinAlgError:
            return None
        shared = -cho_solve(factor, gradient, check_finite=False)
        longest = float(np.abs(shared).max())
        if not np.isfinite(longest):
            return None
        shared *= min(1.0, _LONGEST_STEP / longest) if longest > 0.0 else 1.0
        build, gain = np.zeros_like(self.at.log_build), np.zeros_like(self.at.log_gain)
        for part in self.parts:
            group = part.group
            local = part.follow(shared[group.shared], damping)
            local = np.clip(local, -_LONGEST_LOCAL_STEP, _LONGEST_LOCAL_STEP)
            build[group.segments] = local[:, : group.segments.shape[1]]
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
        self.squares = float((residual**2).sum())
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
        """A + damping · diag(A), the local matrices as in Marquardt, doi:10.1137/0111030."""
        return self.local + damping * self.local * np.eye(self.local.shape[-1])
