"""Panels that do not fit, and what would explain them.

Each panel is judged by what all others say about it (`fewtone.learning.leave_one_out`), measured in
the standard deviations of that very prediction: noise, the hand, and how sure the curves are. Three
questions are asked of its residuals: are they too large as a whole, is a single number far off, and
is its film or its scale off by more than a hand or an instrument makes them. The *surprise* of a
panel is minus the common logarithm of the chance that a good one would be so far off.

A bad panel bends the fit, and good ones then look bad beside it. So the worst panel is taken out,
the rest is fitted again, and all are judged anew, until no surprise is left.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.stats import norm

from fewtone.learning.diagnosis.hypotheses import explain
from fewtone.learning.forward import Problem
from fewtone.learning.leave_one_out import (
    Expectation,
    expectations,
    filmed_panels,
    prediction_errors,
)
from fewtone.learning.parameters import Parameters
from fewtone.learning.solver import Prior, solve
from fewtone.learning.uncertainty import shared_covariance
from fewtone.model.readings import Readings
from fewtone.model.shelf import ShelfSettings
from fewtone.typing import BoolArray, FloatArray

__all__ = ["Suspect", "find_suspects", "surprises"]

# A good panel surprises so much less than once in a hundred, judged in the booth: what the film
# model misses over a metallic ground takes up the rest.
_THRESHOLD = 5.0
# Whoever was exchanged with a bad panel surprises by at least this.
_DOUBT = 1.5
# A surprise so large that the fit may be bent beyond slopes; then this many panels are each left
# out on trial, for a few steps of the solver.
_GROSS = 30.0
_LIKELY, _GLANCE = 2, 2
# A refit need only settle so far that the next decimal of no surprise depends on it.
_SETTLED = 1e-3
# A shelf with more bad panels than this needs its readings looked through, not a list.
_MOST_SUSPECTS = 12


@dataclass(frozen=True, slots=True)
class Suspect:
    """A panel that does not fit.

    Parameters
    ----------
    panel
        Its id.
    explanation
        What would explain it best, in words.
    de00
        ΔE00 between its readings and what all other panels say of them; the largest of its
        readings and lights.
    surprise
        Minus log₁₀ of the chance that a good panel would be so far off [1].
    """

    panel: str
    explanation: str
    de00: float
    surprise: float


@dataclass(frozen=True, slots=True, eq=False)
class _Judged:
    """A fit without some panels, and what it says of all of them."""

    at: Parameters
    covariance: FloatArray
    counted: BoolArray
    expected: list[Expectation]
    surprise: FloatArray


def find_suspects(
    problem: Problem,
    prior: Prior,
    at: Parameters,
    expected: list[Expectation],
    readings: Readings,
    settings: ShelfSettings,
) -> tuple[Suspect, ...]:
    """Name the panels that do not fit, the worst first.

    Parameters
    ----------
    problem, prior, at
        The fit with all panels.
    expected
        What all others say of each panel there.
    readings
        As they stand in the file.
    settings
        The shelf's.
    """
    panels = len(problem.seen.panels)
    judged = _Judged(
        at, np.empty((0, 0)), np.ones(panels, dtype=np.bool_), expected, surprises(expected, panels)
    )
    while (~judged.counted).sum() < _MOST_SUSPECTS:
        left = np.where(judged.counted, judged.surprise, 0.0)
        if left.max() < _THRESHOLD:
            break
        counted = judged.counted.copy()
        worst, start = _worst(problem, prior, judged, left)
        counted[worst] = False
        judged = _judge(problem, prior, start, counted)
    judged = _clear(problem, prior, judged)
    guilty = np.flatnonzero(~judged.counted)
    if not guilty.size:
        return ()
    guilty = guilty[np.argsort(-judged.surprise[guilty], kind="stable")]
    off = prediction_errors(problem, judged.expected, settings.measurement.light)
    doubtful = np.argsort(-judged.surprise, kind="stable")
    doubtful = doubtful[judged.surprise[doubtful] > _DOUBT]
    films = filmed_panels(problem, judged.counted.astype(np.float64))
    words = explain(
        problem,
        judged.at,
        judged.covariance,
        films,
        judged.expected,
        guilty,
        doubtful,
        readings,
        settings,
    )
    return tuple(
        Suspect(
            panel=problem.seen.panels[panel],
            explanation=text,
            de00=float(np.nanmax(off[problem.seen.panel == panel])),
            surprise=float(judged.surprise[panel]),
        )
        for panel, text in zip(guilty, words, strict=True)
    )


def surprises(expected: list[Expectation], n_panels: int) -> FloatArray:
    """Minus log₁₀ of the chance that a good panel would be so far off, shape ``(n_panels,)``."""
    out = np.zeros(n_panels)
    for one in expected:
        out[one.group.panels] = _surprise(one)
    return out


def _worst(
    problem: Problem, prior: Prior, judged: _Judged, left: FloatArray
) -> tuple[int, Parameters]:
    """The panel whose leaving helps the rest most, and where to begin a fit without it.

    `left` is the surprise of those that count, 0 of the others.

    That is the most surprising one, but where slopes fail: a gross slip bends the fit so far that
    good panels seem to be off by more than the bad one. It then shows in what is left of it in the
    fit itself, and by how much better all others fit without it.
    """
    first = int(left.argmax())
    if left[first] < _GROSS:
        return first, judged.at
    reduced_residual = np.zeros(left.size)
    for group, residual in zip(problem.groups, problem.residuals(judged.at) or [], strict=True):
        reduced_residual[group.panels] = (residual**2).sum(axis=1) * judged.counted[group.panels]
    likely = [first, *(int(i) for i in np.argsort(-reduced_residual)[:_LIKELY] if i != first)]
    if reduced_residual[first] == reduced_residual.max():
        return first, judged.at
    trials = []
    for panel in likely:
        weights = judged.counted.astype(np.float64)
        weights[panel] = 0.0
        trials.append(solve(problem, prior, judged.at, weights=weights, most_iterations=_GLANCE))
    best = int(np.argmin([trial.cost for trial in trials]))
    return likely[best], trials[best].at


def _clear(problem: Problem, prior: Prior, judged: _Judged) -> _Judged:
    """Count those again that only looked bad beside a worse one, until none is left of them."""
    while (cleared := ~judged.counted & (judged.surprise < _THRESHOLD)).any():
        judged = _judge(problem, prior, judged.at, judged.counted | cleared)
    return judged


def _judge(problem: Problem, prior: Prior, start: Parameters, counted: BoolArray) -> _Judged:
    weights = counted.astype(np.float64)
    at = solve(problem, prior, start, weights=weights, tolerance=_SETTLED).at
    covariance = shared_covariance(problem, prior, at, weights)
    expected = expectations(problem, at, covariance, weights)
    return _Judged(at, covariance, counted, expected, surprises(expected, counted.size))


def _surprise(one: Expectation) -> FloatArray:
    inverse = np.linalg.inv(one.covariance)
    weighed = (inverse @ one.residual[..., np.newaxis])[..., 0]
    rows = one.residual.shape[1]
    # Wilson and Hilferty (1931): the cube root of chi-squared is nearly normal, far out too.
    whole = ((one.residual * weighed).sum(axis=1) / rows) ** (1 / 3)
    width = 2.0 / (9.0 * rows)
    chances = [norm.logsf((whole - 1.0 + width) / np.sqrt(width))]
    # One number alone: what its residual is once all others are known.
    single = np.abs(weighed) / np.sqrt(np.diagonal(inverse, axis1=1, axis2=2))
    chances.append(_two_sided(single.max(axis=1), rows))
    slopes = _directions(one)
    if slopes.shape[-1]:
        pull = (slopes.swapaxes(1, 2) @ weighed[..., np.newaxis])[..., 0]
        weight = np.einsum("pri,prs,psi->pi", slopes, inverse, slopes, optimize=True)
        along = np.abs(pull) / np.sqrt(np.maximum(weight, 1e-12))
        chances.append(_two_sided(along.max(axis=1), slopes.shape[-1]))
    best = np.minimum.reduce(chances) + np.log(len(chances))
    return np.asarray(np.maximum(-best / np.log(10.0), 0.0))


def _two_sided(deviation: FloatArray, tried: int) -> FloatArray:
    return np.asarray(norm.logsf(deviation) + np.log(2.0 * tried))


def _directions(one: Expectation) -> FloatArray:
    """Slopes of the residuals in film and scale: of the whole panel, and of each of its readings.

    Shape ``(n_panels, n_rows, n_directions)``.
    """
    count = one.group.segments.shape[1]
    kinds = []
    if count:
        kinds.append(one.by_local[..., :count].sum(axis=-1))
    if one.group.has_gain:
        kinds.append(one.by_local[..., -1])
    found = list(kinds)
    readings = one.group.readings.shape[1]
    if readings > 1:
        for k in range(readings):
            own = np.zeros(one.residual.shape[1])
            for reading, place, _ in one.blocks():
                own[place] = reading == k
            found += [slope * own for slope in kinds]
    if not found:
        return np.zeros((*one.residual.shape, 0))
    return np.stack(found, axis=-1)
