"""An instrument whose white or black moves while a shelf is read.

Model
    Readings are taken in the order of their dates, and of their rows. White: reflectance is too
    high by a share; black: by a constant. Either grows evenly from the first reading to the last,
    or within each day that has a date of its own, or it is there from one reading on.

    The fit is linear about the most probable parameters. With the shared parameters, the hand and
    the gains integrated out, a share and a constant added to each reading have a normal likelihood
    of a precision M and a score p. A drift of size β along a course a then has the Bayes factor
    (β normal, of standard deviation σ)

        log B = ½ (aᵀp)² σ²/(1 + σ² aᵀMa) - ½ log(1 + σ² aᵀMa)

    How far panels differ by themselves in level (how they lay, how their grounds vary) decides how
    sure a course is. It is integrated over too, with and without a drift: a fit that knows of no
    drift takes one for panels that vary.

Validity
    One drift, of white or of black, that goes one way. What else changes along the order of the
    readings (thin films first, thick ones last) can pass for one as far as the film model errs.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np

from fewtone.colorimetry import lab_from_xyz, lab_jacobian, weights, white_point, xyz_from_lab
from fewtone.learning.forward import Problem
from fewtone.learning.groups import Group
from fewtone.learning.leave_one_out import group_covariance
from fewtone.learning.model_error import blocks
from fewtone.learning.observations import Observations
from fewtone.learning.parameters import Parameters
from fewtone.model.readings import Reading
from fewtone.typing import BoolArray, FloatArray, IntArray, frozen

__all__ = ["Course", "Drift", "find_drift", "still_left"]

_KINDS = ("white", "black")
# What a drift may be, standard deviations: of white a share, of black reflectance [1] (common
# practice, no source).
_SIZE = {"white": 0.02, "black": 0.005}
# A smaller one is not worth reading panels again.
_LEAST = {"white": 0.005, "black": 0.0015}
# So much likelier than a steady instrument it must be, in natural logarithms.
_CLEARLY = {"white": 5.0, "black": 5.0}
# What is left of one that was taken off is worth another fit if it is so many standard deviations.
_LEFT = 2.0
# How many times as much or as little as the fit takes them to, panels may differ in level; their
# logarithms are normal about none with this standard deviation.
_FACTORS, _FACTOR_LOG_SD = np.geomspace(0.1, 3.2, 11), 1.0
# On either side of a step stand at least this share of the readings, and so many; and at least so
# large a share of them are films: bare grounds, which are read first, are off from films as the
# film model errs, which passes for a step after them.
_LEAST_SHARE, _LEAST_READINGS, _LEAST_FILMS = 0.15, 8, 0.5
# So many places of a step are tried; so many panels' levels are judged beside a drift, more of them
# are taken to vary as the fit found.
_MOST_STEPS, _MOST_PANELS = 100, 600


@dataclass(frozen=True, slots=True, eq=False)
class Drift:
    """How far white or black moved.

    Parameters
    ----------
    kind
        ``"white"`` or ``"black"``.
    change
        Of white: a share of what is read [1]; of black: reflectance [1].
    sd
        Its standard deviation, in the same unit.
    course
        How it went.
    """

    kind: str
    change: float
    sd: float
    course: Course

    def __str__(self) -> str:
        """Say so, and what to do."""
        if self.kind == "white":
            size = f"about {abs(self.change):.1%}"
        else:
            size = f"about {abs(self.change):.3f} (0 to 1)"
        off = f"{size} {'higher' if self.change > 0.0 else 'lower'}"
        kind = f"The instrument's {self.kind} seems to have"
        if self.course.since:
            moved = f"{kind} moved: from {self.course.since} on all reads {off} than before."
            which = "a few panels of either part"
        else:
            when = " within each day" if self.course.daily else ""
            moved = (
                f"{kind} drifted{when}: the last readings are {off} than they would have been at "
                "first."
            )
            which = "a few of the last panels"
        return (
            f"{moved} The curves are learnt with that taken off. Calibrate it, and read {which} "
            "again to be sure."
        )

    def undone(self, seen: Observations) -> Observations:
        """What would have been read without it.

        Parameters
        ----------
        seen
            What was read; the readings as they stand in the file are kept beside it.
        """
        moved = self.change * self.course.along[:, np.newaxis]
        share, constant = (moved, 0.0) if self.kind == "white" else (0.0, moved)
        lab = seen.lab.copy()
        for i, light in enumerate(seen.lights):
            white = white_point(light)
            xyz = (xyz_from_lab(lab[:, i], white) - constant * white) / (1.0 + share)
            lab[:, i] = lab_from_xyz(xyz, white)
        spectral = (seen.spectral - constant) / (1.0 + share)
        return replace(seen, spectral=frozen(spectral), lab=frozen(lab))


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """How a drift goes.

    Parameters
    ----------
    along
        Its share of the whole at each reading [1], shape ``(n_readings,)``.
    log_prior
        Natural logarithm of how likely it is among all courses.
    since
        The reading from which on it is there; empty where it grows.
    daily
        Whether it grows within each day.
    """

    along: FloatArray
    log_prior: float
    since: str = ""
    daily: bool = False


def find_drift(
    problem: Problem, at: Parameters, covariance: FloatArray, counted: BoolArray
) -> Drift | None:
    """Find a drift of white or black; none if nothing moved.

    Parameters
    ----------
    problem, at, covariance
        The fit, and the covariance of its shared parameters, shape ``(n_shared, n_shared)``.
    counted
        Whether each panel counted in it, ``(n_panels,)``: a bad one must not pass for a drift.
    """
    # What is over a keyed ground is off by what the law of mixing misses, all mixes alike.
    keyed = np.isin(problem.seen.ground, [mix.ground for mix in problem.layout.keyed])
    counted = counted.copy()
    counted[problem.seen.panel[keyed]] = False
    courses = list(_courses(problem.seen.readings, counted[problem.seen.panel]))
    if not courses:
        return None
    along = np.stack([course.along for course in courses])
    log_prior = np.array([course.log_prior for course in courses])
    likely = []
    factors = _Levels(problem, at, covariance, counted, along).bayes_factors()
    for kind, log_factor, change, sd in zip(_KINDS, *factors, strict=True):
        best = int((log_factor + log_prior).argmax())
        total = float(np.logaddexp.reduce(log_factor + log_prior))
        likely.append((total, Drift(kind, float(change[best]), float(sd[best]), courses[best])))
    # One that moves looks a little like the other: the likelier one is told.
    total, drift = max(likely, key=lambda each: each[0])
    if total < _CLEARLY[drift.kind] or abs(drift.change) < _LEAST[drift.kind]:
        return None
    return drift


def still_left(
    drift: Drift, problem: Problem, at: Parameters, covariance: FloatArray, counted: BoolArray
) -> Drift | None:
    """The whole of a drift of which a fit without it finds some left; None if it finds none.

    A fit that knows of no drift bends curves, grounds and black to it, from where its size is only
    told to first order.

    Parameters
    ----------
    drift
        What was taken off the readings of the problem.
    problem, at, covariance, counted
        As `find_drift` has them.
    """
    along = drift.course.along[np.newaxis]
    factors = _Levels(problem, at, covariance, counted, along).bayes_factors()
    _, left, sd = (float(each[_KINDS.index(drift.kind), 0]) for each in factors)
    if abs(left) < _LEFT * sd:
        return None
    return replace(drift, change=drift.change + left, sd=sd)


class _Levels:
    """What the fit says of drifts of white and of black along some courses.

    Parameters
    ----------
    problem, at, covariance, counted
        As `find_drift` has them.
    along
        Courses, ``(n_courses, n_readings)``.
    """

    def __init__(
        self,
        problem: Problem,
        at: Parameters,
        covariance: FloatArray,
        counted: BoolArray,
        along: FloatArray,
    ) -> None:
        courses = along - along.mean(axis=1, keepdims=True)
        shapes, panels, size = len(courses), counted.size, at.layout.size
        # Of the courses, those of white first, then those of black; and of each panel's level.
        information, pull = np.zeros(2 * shapes), np.zeros(2 * shapes)
        by_panel, by_shared = np.zeros((2 * shapes, panels)), np.zeros((2 * shapes, size))
        levels, level_pull, level_by_shared = (
            np.zeros(panels),
            np.zeros(panels),
            np.zeros((panels, size)),
        )
        spectra = problem.reflectance(at)
        for group, linear in zip(problem.groups, problem.linearise(at), strict=True):
            here, level_sd = group.panels, group.precision[:, -1, -1] ** -0.5
            derivatives = _derivatives(problem, group, spectra)
            noise, offset = group_covariance(problem, group, linear, at)
            # (kinds · courses + 1 level, panels, rows)
            moves = np.einsum("kpri,cpi->kcpr", derivatives, courses[:, group.readings])
            level = linear.local[..., -1] * level_sd[:, np.newaxis]
            moves = np.concatenate([moves.reshape(2 * shapes, *level.shape), level[np.newaxis]])
            moves = moves.transpose(1, 2, 0)
            solved = np.linalg.solve(noise, moves) * counted[here, np.newaxis, np.newaxis]
            scores = -(solved * offset[..., np.newaxis]).sum(axis=1)
            inner = (solved[..., :-1] * moves[..., :-1]).sum(axis=1)
            information += inner.sum(axis=0)
            pull += scores[:, :-1].sum(axis=0)
            by_panel[:, here] = (solved[..., :-1] * level[..., np.newaxis]).sum(axis=1).T
            levels[here], level_pull[here] = (solved[..., -1] * level).sum(axis=1), scores[:, -1]
            shared = solved.transpose(0, 2, 1) @ linear.shared
            by_shared[:, group.shared] += shared[:, :-1].sum(axis=0)
            level_by_shared[np.ix_(here, group.shared)] = shared[:, -1]
        known = _given_held(problem, covariance)
        followed = by_shared @ known
        self._information = information - (followed * by_shared).sum(axis=1)
        self._pull = pull
        self._values, self._by_panel, self._level_pull = (
            np.zeros(0),
            np.zeros((2 * shapes, 0)),
            levels[:0],
        )
        if panels <= _MOST_PANELS:
            joint = np.diag(levels) - level_by_shared @ known @ level_by_shared.T
            values, vectors = np.linalg.eigh(joint)
            self._values = np.clip(values, 0.0, 1.0)
            self._by_panel = (by_panel - followed @ level_by_shared.T) @ vectors
            self._level_pull = level_pull @ vectors

    def bayes_factors(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Bayes factor of each course against a steady instrument, size and standard deviation.

        Returns
        -------
        Log Bayes factor [1], size and its standard deviation [1], each ``(2, n_courses)``: of
        white, then of black.
        """
        size = np.repeat([_SIZE[kind] for kind in _KINDS], self._pull.size // 2)
        steady, gains, changes, sds = [], [], [], []
        for factor in _FACTORS:
            # Woodbury: panels vary `factor` times as much as the fit took them to.
            more = factor**2 - 1.0
            turned = more / (1.0 + more * self._values)
            steady.append(
                0.5 * float(turned @ self._level_pull**2)
                - 0.5 * float(np.log1p(more * self._values).sum())
                - 0.5 * (np.log(factor) / _FACTOR_LOG_SD) ** 2
            )
            left = np.maximum(self._information - self._by_panel**2 @ turned, 1e-9)
            pull = self._pull - self._by_panel @ (turned * self._level_pull)
            ratio = size**2 * left
            gains.append(0.5 * pull**2 / left * ratio / (1.0 + ratio) - 0.5 * np.log1p(ratio))
            gains[-1] += steady[-1]
            changes.append(pull / left)
            sds.append(left**-0.5)
        best = np.argmax(gains, axis=0)[np.newaxis]
        log_factor = np.logaddexp.reduce(gains, axis=0) - np.logaddexp.reduce(steady)
        change, sd = (np.take_along_axis(np.stack(all_), best, axis=0) for all_ in (changes, sds))
        return log_factor.reshape(2, -1), change.reshape(2, -1), sd.reshape(2, -1)


def _given_held(problem: Problem, covariance: FloatArray) -> FloatArray:
    """The covariance with index, edge loss and thinning taken as found."""
    held = list(problem.layout.held)
    known = np.linalg.solve(covariance[np.ix_(held, held)], covariance[held])
    return np.asarray(covariance - covariance[:, held] @ known)


def _derivatives(problem: Problem, group: Group, spectra: FloatArray) -> FloatArray:
    """Derivatives of a group's residuals in a share and in a constant added to each reading.

    Shape ``(2, n_panels, n_rows, n_read)``.
    """
    seen, readings = problem.seen, group.readings
    parts = blocks(group, seen.wavelength_nm.size)
    derivatives = np.zeros((2, len(group.panels), parts[-1][1].stop, readings.shape[1]))
    for k, columns, lit in parts:
        rows = readings[:, k]
        moves = np.stack([spectra[rows], np.ones_like(spectra[rows])])
        if lit is None:
            moves = moves / problem.noise.of_reflectance(seen.spectral[rows])
        else:
            light = seen.lights[lit]
            matrix, white = weights(seen.wavelength_nm, light), white_point(light)
            bend = lab_jacobian(spectra[rows] @ matrix, white)
            moves = (bend @ (moves @ matrix)[..., np.newaxis])[..., 0] / problem.lab_sd[rows, lit]
        derivatives[:, :, columns, k] = moves
    return derivatives


def _courses(items: tuple[Reading, ...], counted: BoolArray) -> Iterator[Course]:
    """What a drift's course may be, and how likely each is among them.

    Readings that do not count, `counted` ``(n_readings,)``, tell of no step.
    """
    times = _times(items)
    order = sorted(range(len(items)), key=lambda i: (times[i], items[i].row))
    count = len(items)
    films = counted & np.array([not item.is_bare for item in items])
    before, films_before = (
        np.concatenate([[0], np.cumsum(each[order])]) for each in (counted, films)
    )
    least = max(_LEAST_READINGS, _LEAST_SHARE * before[-1])
    steps = [
        k
        for k in range(1, count)
        if min(before[k], before[-1] - before[k]) >= least
        and films_before[k] >= _LEAST_FILMS * before[k]
        and films_before[-1] - films_before[k] >= _LEAST_FILMS * (before[-1] - before[k])
        and items[order[k]].panel != items[order[k - 1]].panel
    ]
    if not steps:
        return
    steps = steps[:: -(-len(steps) // _MOST_STEPS)]
    days = [time.date() for time in times]
    sessions = [np.array([i for i in order if days[i] == day]) for day in sorted(set(days))]
    daily = 1 < len(sessions) <= count / _LEAST_READINGS
    grows = float(np.log(0.25 if daily else 0.5))
    yield Course(_ramp(count, [np.array(order)]), grows)
    if daily:
        yield Course(_ramp(count, sessions), grows, daily=True)
    for k in steps:
        along = np.zeros(count)
        along[order[k:]] = 1.0
        first = items[order[k]]
        since = f"row {first.row}" + (f" ({first.date})" if len(sessions) > 1 else "")
        yield Course(along, float(np.log(0.5 / len(steps))), since)


def _ramp(count: int, sessions: Sequence[IntArray]) -> FloatArray:
    """From 0 to 1 evenly through each session."""
    along = np.zeros(count)
    for session in sessions:
        along[session] = np.linspace(0.0, 1.0, session.size)
    return along


def _times(items: Sequence[Reading]) -> list[datetime]:
    """When each reading was taken; the same for all where one has no date, or none of ISO 8601."""
    try:
        times = [datetime.fromisoformat(item.date) for item in items]
        sorted(times)
    except (ValueError, TypeError):
        return [datetime.min] * len(items)
    return times
