"""What the readings say about hand, grounds and film: shelf.toml's figures are a prior.

Variation
    How far panels (``panel_cv``), coats (``coat_cv``) and grounds from panel to panel vary is found
    by the marginal likelihood with all curves, films and gains integrated out (Laplace), under
    log-normal priors about what shelf.toml says, one after another over a small grid and the top of
    the parabola through its best three. Whether a panel's gain is its ground's or the whole
    reading's is what `unlikelihood` of the two fits says.

Flake
    Where films over several metallics were read, how far their return ratios lie apart is found by
    the marginal likelihood too; those that were only read bare are then doubted as much.

Solids
    Whether they reflect as Lambert has it or send light back slanted, as a deep pile of pigment
    does (`fewtone.optics.opaque.solid_return_ratio`).

Film index, edge loss and thinning
    Gauss-Newton steps of the three, all other parameters following, under their priors.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from fewtone.learning.forward import Problem
from fewtone.learning.parameters import Parameters
from fewtone.learning.solver import Evidence, Prior, Solution, held_step, schur_complement
from fewtone.model.shelf import Mixing
from fewtone.model.variation import film_build_sd
from fewtone.optics.opaque import solid_return_ratio
from fewtone.typing import FloatArray

__all__ = [
    "Variation",
    "doubted_hand",
    "infer_film",
    "infer_flake",
    "infer_variation",
    "inferred_hand",
    "unlikelihood",
    "with_slanted_solids",
]

# Standard deviations of the priors of panel_cv and coat_cv, on the log; scale of that of the
# ground's, which falls as a normal one.
_PANEL_LOG_SD, _COAT_LOG_SD, _GROUND_SCALE = 0.6, 0.4, 0.03
_FACTORS = np.log([0.4, 0.65, 1.0, 1.5, 2.2, 3.2])
_GROUND_CVS = np.log([0.001, 0.004, 0.012, 0.03, 0.08])
# Step over which the marginal likelihood's curvature in log panel_cv is taken, and its least.
_HAND_STEP, _LEAST_CURVATURE = 0.3, 1e-6
_Z_95 = 1.96
# Where strips tell next to nothing of the hand, what shelf.toml says holds; in doubt by so much.
_MOST_DOUBT = 0.3
# A hand that is said not to vary at all still may.
_LEAST_CV = 0.01
# Widths of the departures of return ratios, on the logit, and by how much likelier one must be than
# the usual, in natural logarithms.
_FLAKE_SDS, _FLAKE_GAIN = (0.4, 1.0, 2.0), 2.0
# How many standard deviations index, edge loss and thinning must be off the usual to leave it; as
# Lab alone tells it, an edge passes for what hand and haze do.
_CLEAR, _CLEAR_FROM_LAB = np.array([3.0, 3.0, 3.0]), np.array([3.0, 4.5, 3.0])
# Steps of them: smaller ones change nothing, none goes further.
_LEAST_FILM_STEP, _MOST_FILM_STEP, _LEAST_INDEX = 0.002, 0.08, 1.0

# A solid's return ratio as near to 1 as this shows in no film over it.
_LEAST_SLANT = 0.03
# Rounds in which a ground's reflectance and its return ratio settle.
_SOLID_ROUNDS = 8

# A hand that differs from the stated one by less than this factor is the stated one.
_HAND_RATIO = 1.5
# Coats of a usual panel.
_USUAL = 3.0


@dataclass(frozen=True, slots=True)
class Variation:
    """How the hand and the grounds vary, as the readings say.

    Parameters
    ----------
    mixing
        The shop's, with panel_cv and coat_cv as found.
    ground_cv
        Variation of the reflectance of a solid and of a metallic ground from panel to panel [1].
    """

    mixing: Mixing
    ground_cv: tuple[float, float]


def inferred_hand(as_stated: Mixing, inferred: Mixing) -> tuple[float, float] | None:
    """panel_cv and coat_cv as found, where panels of 3 coats then vary clearly otherwise than said.

    Parameters
    ----------
    as_stated, inferred
        The shop's as shelf.toml has it, and as `infer_variation` found it.
    """
    stated, seen = (float(film_build_sd(_USUAL, mixing)) for mixing in (as_stated, inferred))
    if stated / _HAND_RATIO < seen < stated * _HAND_RATIO:
        return None
    return inferred.panel_cv, inferred.coat_cv


def infer_variation(problem: Problem, prior: Prior, solution: Solution) -> Variation:
    """Find how panels, coats and grounds vary by the marginal likelihood."""
    cost = _VariationCost(problem, prior, solution, problem.mixing)
    panel, coat = cost.stated
    at = np.array([panel, coat, _GROUND_CVS[0], _GROUND_CVS[0]])
    grids = {3: _GROUND_CVS, 2: _GROUND_CVS, 0: panel + _FACTORS, 1: coat + _FACTORS[1:5]}
    for axis, grid in grids.items():
        if axis != 3 or problem.layout.metallic:
            at[axis] = _best(cost, at, axis, grid)
    return cost.varied(at)


def doubted_hand(problem: Problem, prior: Prior, solution: Solution, stated: Mixing) -> Mixing:
    """The problem's hand, as far from steady as intervals must reckon with.

    A few strips tell panel_cv no better than to a fifth or so. With σ the posterior sd of its log,
    by the curvature of minus twice the log marginal likelihood c,

        σ = h √(2 / (c(x + h) - 2 c(x) + c(x - h))),

    it is known as if from ν = 1/(2 σ²) panels, and a 95 % interval is Student's: wider than the
    normal one by 1 + (z² + 1)/(4 ν), z = 1.96 (Abramowitz and Stegun 26.7.5).

    Parameters
    ----------
    problem, prior, solution
        The fit.
    stated
        The hand that shelf.toml says.
    """
    cost = _VariationCost(problem, prior, solution, stated)
    log_cvs = cost.found
    step = np.array([_HAND_STEP, 0.0, 0.0, 0.0])
    less, here, more = (cost(log_cvs + way * step) for way in (-1.0, 0.0, 1.0))
    sd = _HAND_STEP * np.sqrt(2.0 / max(less - 2.0 * here + more, _LEAST_CURVATURE))
    wider = 1.0 + 0.5 * (_Z_95**2 + 1.0) * min(float(sd), _MOST_DOUBT) ** 2
    return replace(problem.mixing, panel_cv=problem.mixing.panel_cv * wider)


def unlikelihood(problem: Problem, prior: Prior, solution: Solution, stated: Mixing) -> float:
    """Minus twice the log of marginal likelihood and prior of a fit, but for a constant.

    Parameters
    ----------
    problem, prior, solution
        The fit.
    stated
        The hand that shelf.toml says.
    """
    cost = _VariationCost(problem, prior, solution, stated)
    return cost(cost.found)


class _VariationCost:
    """Minus twice the log of marginal likelihood and prior.

    It takes logs of panel_cv, coat_cv and the two variations of grounds ``(4,)``.
    """

    def __init__(self, problem: Problem, prior: Prior, solution: Solution, stated: Mixing) -> None:
        self.problem, self.evidence = problem, Evidence(problem, prior, solution)
        self.mixing = stated
        cvs = (stated.panel_cv, stated.coat_cv)
        self.stated = tuple(float(np.log(max(cv, _LEAST_CV))) for cv in cvs)

    @property
    def found(self) -> FloatArray:
        """The logs that the problem itself has, ``(4,)``; what does not vary at all hardly does."""
        mixing = self.problem.mixing
        cvs = mixing.panel_cv, mixing.coat_cv, *self.problem.ground_cv
        return np.asarray(np.log(np.maximum(cvs, np.exp(_GROUND_CVS[0]))))

    def varied(self, logs: FloatArray) -> Variation:
        panel_cv, coat_cv, solid, metallic = (float(value) for value in np.exp(logs))
        mixing = replace(self.mixing, panel_cv=panel_cv, coat_cv=coat_cv)
        return Variation(mixing, (solid, metallic))

    def __call__(self, logs: FloatArray) -> float:
        varies, (panel, coat) = self.varied(logs), self.stated
        groups = self.problem.with_variation(varies.mixing, varies.ground_cv).groups
        return float(
            self.evidence.of([group.precision for group in groups])
            + ((logs[0] - panel) / _PANEL_LOG_SD) ** 2
            + ((logs[1] - coat) / _COAT_LOG_SD) ** 2
            + float(((np.exp(logs[2:]) / _GROUND_SCALE) ** 2).sum())
        )


def _best(
    cost: Callable[[FloatArray], float], at: FloatArray, axis: int, grid: FloatArray
) -> float:
    """Where along one axis the cost is least, by the parabola through the best of the grid."""
    costs = []
    for value in grid:
        moved = at.copy()
        moved[axis] = value
        costs.append(cost(moved))
    best = int(np.argmin(costs))
    if best in (0, len(grid) - 1):
        return float(grid[best])
    second, first, constant = np.polyfit(grid[best - 1 : best + 2], costs[best - 1 : best + 2], 2)
    del constant
    return float(np.clip(-0.5 * first / second, grid[best - 1], grid[best + 1]))


def infer_flake(problem: Problem, prior: Prior, solution: Solution) -> Prior:
    """The prior with departures of the metallics' return ratios as wide as the readings say.

    With Λ and h the readings' own information about the departures and its vector, a width s has
    the evidence ½ hᵀ (Λ + 1/s²)⁻¹ h - ½ log det(1 + s² Λ).
    """
    seen, layout = problem.seen, problem.layout
    filmed = seen.filmed_grounds
    keyed = {mix.ground for mix in layout.keyed}
    grounds = [ground for ground in layout.metallic if ground not in keyed]
    if len(filmed & set(grounds)) < 2:
        return prior
    departures = [layout.return_ratio_departure(ground) for ground in grounds if ground in filmed]
    precision = schur_complement(problem, prior, solution.at, solution.weights)
    units = np.eye(len(precision))[:, departures]
    marginal = np.linalg.inv(np.linalg.solve(precision, units)[departures])
    likelihood = marginal - np.diag(prior.precision[departures, departures])
    vector = marginal @ solution.at.shared[departures]
    unit = np.eye(len(departures))

    def evidence(sd: float) -> float:
        fitted = vector @ np.linalg.solve(likelihood + unit / sd**2, vector)
        return float(0.5 * fitted - 0.5 * np.linalg.slogdet(unit + sd**2 * likelihood)[1])

    usual = float(prior.precision[departures[0], departures[0]] ** -0.5)
    best = max((usual, *_FLAKE_SDS), key=evidence)
    if evidence(best) - evidence(usual) < _FLAKE_GAIN:
        return prior
    wider = prior.precision.copy()
    for ground in grounds:
        index = layout.return_ratio_departure(ground)
        wider[index, index] = best**-2
    return replace(prior, precision=wider)


def with_slanted_solids(problem: Problem, at: Parameters) -> Parameters | None:
    """The parameters with solids that send light back slanted, and read bare as before.

    Parameters
    ----------
    problem, at
        The fit.

    Returns
    -------
    None where it hardly mattered: no film was read over such a solid.
    """
    layout, optics = problem.layout, problem.optics
    solids = [ground for ground in range(layout.n_grounds) if ground not in layout.metallic]
    rho, ratio = at.ground_reflectance[solids], at.return_ratio[solids, np.newaxis]
    bare = optics.reflectance(0.0, rho, ratio)
    for _ in range(_SOLID_ROUNDS):
        ratio = solid_return_ratio(rho)[:, np.newaxis]
        rho = optics.ground_from_bare(bare, ratio)
    filmed = problem.seen.filmed_grounds
    slants = [slant for ground, slant in zip(solids, ratio[:, 0], strict=True) if ground in filmed]
    if max(slants, default=1.0) < 1.0 + _LEAST_SLANT:
        return None
    shared, return_ratio = at.shared.copy(), at.solid_return_ratio.copy()
    for ground, reflectance, slant in zip(solids, rho, ratio[:, 0], strict=True):
        shared[layout.ground(ground)] = np.log(reflectance)
        return_ratio[ground] = slant
    return replace(at, shared=shared, solid_return_ratio=return_ratio)


def infer_film(problem: Problem, prior: Prior, solution: Solution) -> tuple[Problem, Prior]:
    """The problem with film index, edge loss and thinning as the readings and their prior say.

    What does not differ clearly from what is usual stays there: with Lab alone the smoothness of
    the curves pulls at these, too.
    """
    optics = problem.optics
    # The prior's mean holds how far the usual lies from what is reckoned with.
    usual = prior.mean[list(problem.layout.held)]
    step, spread = held_step(problem, prior, solution)
    free = np.ones(3, dtype=np.bool_)
    while True:
        # Those that are not free go to the usual, the free ones follow (normal, conditioned).
        fixed = ~free
        moved = np.where(free, step, usual)
        if free.any() and fixed.any():
            pull = np.linalg.solve(spread[np.ix_(fixed, fixed)], (usual - step)[fixed])
            moved[free] += spread[np.ix_(free, fixed)] @ pull
        if not free.any():
            break
        conditional = np.linalg.inv(np.linalg.inv(spread)[np.ix_(free, free)])
        clear = np.zeros(3)
        clear[free] = np.abs(moved - usual)[free] / np.sqrt(np.diag(conditional))
        if free[1] and not usual[1] <= moved[1] < _MOST_FILM_STEP:
            clear[1] = 0.0  # no edge gains light, and none loses so much of it
        clear /= _CLEAR_FROM_LAB if problem.seen.lab_lights else _CLEAR
        least = int(np.where(free, clear, np.inf).argmin())
        if clear[least] >= 1.0:
            break
        free[least] = False
    moved = np.clip(moved, -_MOST_FILM_STEP, _MOST_FILM_STEP)
    moved[0] = max(moved[0], _LEAST_INDEX - optics.index)
    if np.abs(moved).max() < _LEAST_FILM_STEP:
        return problem, prior
    mean = prior.mean.copy()
    mean[list(problem.layout.held)] -= moved
    index, edge, thinning = (float(value) for value in moved)
    other = replace(optics, index=optics.index + index, edge=max(optics.edge + edge, 0.0))
    return problem.with_film(other, problem.thinning + thinning), replace(prior, mean=mean)
