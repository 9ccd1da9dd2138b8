"""Where the search for the curves begins.

Grounds begin at what their bare readings say alone. A toner that was read as spectra begins at
what plain Beer-Lambert makes of them. A toner read as Lab alone has several possible curves, and
the fit can fall into the wrong one: it is tried from its nearest library dyes and from the prior's
mean, on its own readings, and the start that ends most probable is kept. As grounds, hand and noise
are not known then, it is tried again from its nearest dyes once they are.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fewtone.colorimetry import lab_from_xyz, weights, white_point
from fewtone.learning.forward import Problem
from fewtone.learning.observations import Observations, narrow
from fewtone.learning.parameters import Parameters, blank, shared_prior
from fewtone.learning.priors import absorber_prior, dye_library
from fewtone.learning.solver import Prior, Solution, solve
from fewtone.typing import FloatArray, IntArray

__all__ = ["last_look", "second_look", "starting_point"]

# Mean path of light down and up through the film per unit depth, for a first guess only.
_PATH = 2.3
_LEAST_DEPTH = 1e-3
_FIRST_HAZE = np.log(0.1)
_SECOND_HAZE = np.log(0.25)
# Less haze than this, as scattering depth of the film that holds most of a toner, leaves the first
# look as good as a second.
_HAZE_IN_SIGHT = 0.02
_CLEARLY_BETTER = 2.0
_DYES_TRIED = 3
# Steps from each dye that show which is worth more, how far behind it may be by then, and which are
# nowhere else than the fit is.
_FIRST_STEPS, _WORTH_MORE, _THE_SAME = 5, 20.0, 0.1
_LIBRARY_SHARE = 3
_STRENGTHS = (0.35, 0.6, 1.0, 1.7, 3.0)
_SCANNED_READINGS = 4
# Dyes of the library that are looked at with haze as well.
_SHORT_LIST = 100


def starting_point(problem: Problem) -> Parameters:
    """Return parameters to begin from: nothing is said about film builds and gains yet.

    Every toner begins with haze that can be seen: from none at all no slope leads to it.
    """
    seen = problem.seen
    at = blank(seen)
    bare = np.flatnonzero(~seen.is_film)
    for ground in range(len(seen.grounds)):
        over_it = bare[seen.ground[bare] == ground]
        alone = narrow(seen, over_it, ())
        solution = _solve(problem, alone, blank(alone), most_iterations=20)
        at.shared[at.layout.ground(ground)] = solution.shared[solution.layout.ground(0)]
    clear = replace(at, hazy=np.zeros_like(at.hazy))
    for toner in range(len(seen.toners)):
        single = np.flatnonzero(seen.fractions[:, toner] == 1.0)
        if not single.size:
            continue
        spectral = single[seen.has_spectrum[single]]
        if spectral.size:
            at = at.with_toner(toner, _from_spectra(problem, clear, spectral))
        else:
            at = at.with_toner(toner, _from_lab(problem, clear, toner, single))
        at.shared[at.layout.haze(toner)[0]] = _FIRST_HAZE
    return at


def _solve(
    problem: Problem, seen: Observations, start: Parameters, *, most_iterations: int
) -> Parameters:
    narrowed = problem.over(seen)
    prior = Prior(*shared_prior(narrowed.layout, seen.wavelength_nm))
    return solve(narrowed, prior, start, most_iterations=most_iterations, tolerance=1e-3).at


def _from_spectra(problem: Problem, at: Parameters, rows: IntArray) -> FloatArray:
    """Log absorption by Beer-Lambert along a mean path."""
    seen, optics = problem.seen, problem.optics
    ground = seen.ground[rows]
    bare = optics.reflectance(
        0.0, at.ground_reflectance[ground], at.return_ratio[ground, np.newaxis]
    )
    left = (seen.spectral[rows] - optics.first_surface) / (bare - optics.first_surface)
    left = np.clip(left, 1e-3, 1.0)
    dose = (problem.films(at) * seen.rate)[rows, np.newaxis]
    # Each depth counts by the light that told of it: a nearly black coat says little.
    weight = left**2
    depth = (weight * dose * -np.log(left)).sum(axis=0) / (weight * dose**2).sum(axis=0) / _PATH
    return np.asarray(np.log(np.maximum(depth, _LEAST_DEPTH * depth.max() + 1e-9)))


def _from_lab(problem: Problem, at: Parameters, toner: int, rows: IntArray) -> FloatArray:
    """Log absorption from the library dye, or the prior's mean, that explains the Labs best."""
    alone, start = _alone(problem, at, toner, rows)
    start = replace(start, hazy=np.zeros(1, dtype=np.bool_))
    guesses = [*_nearest_dyes(alone, start), absorber_prior(alone.seen.wavelength_nm).mean]
    best = _best(alone, [start.with_toner(0, guess) for guess in guesses])
    return best.at.shared[best.at.layout.toner(0)]


def second_look(problem: Problem, at: Parameters) -> Parameters | None:
    """Look again at hazy toners that Labs alone tell of: the first look took them for clear.

    Returns
    -------
    Parameters with other curves for some toners, that explain their own readings better; None if
    there are none.
    """
    seen = problem.seen
    better = at
    for toner in range(len(seen.toners)):
        rows = _told_by_labs(seen, toner)
        hazy = at.scattering[toner].mean() * seen.most_dose[toner] > _HAZE_IN_SIGHT
        if not rows.size or not hazy:
            continue
        alone, start, now = _as_it_is(problem, at, toner, rows)
        start.shared[start.layout.haze(0)[0]] = _SECOND_HAZE
        guesses = [*_nearest_dyes(alone, start), absorber_prior(seen.wavelength_nm).mean]
        best = _best(alone, [start.with_toner(0, guess) for guess in guesses])
        if best.cost < now.cost - _CLEARLY_BETTER:
            better = _with_curves(better, toner, best.at)
    return None if better is at else better


def last_look(problem: Problem, at: Parameters) -> Parameters | None:
    """Look again at all toners that Labs alone tell of, now that grounds, hand and noise are known.

    Parameters
    ----------
    problem, at
        The fit.

    Returns
    -------
    Parameters with other curves for some toners, that explain their own readings better; None if
    there are none.
    """
    seen, better = problem.seen, at
    for toner in range(len(seen.toners)):
        rows = _told_by_labs(seen, toner)
        if not rows.size:
            continue
        alone, start, now = _as_it_is(problem, at, toner, rows)
        tried = [start.with_toner(0, dye) for dye in _nearest_dyes(alone, start)]
        begun = _solutions(alone, tried, _FIRST_STEPS)
        more = [one.cost - now.cost for one in begun]
        elsewhere = [
            one
            for one, costs in zip(begun, more, strict=True)
            if costs < _WORTH_MORE and abs(costs) > _THE_SAME
        ]
        if not elsewhere:
            continue
        best = _best(alone, [min(elsewhere, key=_cost).at])
        if best.cost < now.cost - _CLEARLY_BETTER:
            better = _with_curves(better, toner, best.at)
    return None if better is at else better


def _told_by_labs(seen: Observations, toner: int) -> IntArray:
    """Readings of a toner by itself, if Labs alone tell of it; else none."""
    rows = np.flatnonzero(seen.fractions[:, toner] == 1.0)
    return rows[:0] if seen.has_spectrum[rows].any() else rows


def _as_it_is(
    problem: Problem, at: Parameters, toner: int, rows: IntArray
) -> tuple[Problem, Parameters, Solution]:
    """One toner's readings, where to begin with its haze as it is, and what its curves come to."""
    alone, start = _alone(problem, at, toner, rows)
    start = replace(start, hazy=at.hazy[[toner]])
    start.shared[start.layout.haze(0)] = at.shared[at.layout.haze(toner)]
    now = _best(alone, [start.with_toner(0, at.shared[at.layout.toner(toner)])])
    return alone, start, now


def _with_curves(at: Parameters, toner: int, alone: Parameters) -> Parameters:
    """With a toner's absorption and haze as they are where it stands alone."""
    at = at.with_toner(toner, alone.shared[alone.layout.toner(0)])
    at.shared[at.layout.haze(toner)] = alone.shared[alone.layout.haze(0)]
    return at


def _alone(
    problem: Problem, at: Parameters, toner: int, rows: IntArray
) -> tuple[Problem, Parameters]:
    """One toner's readings with the bare ones of their grounds, and where to begin with them."""
    seen = problem.seen
    bare = ~seen.is_film & np.isin(seen.ground, seen.ground[rows])
    alone = narrow(seen, np.union1d(rows, np.flatnonzero(bare)), (toner,))
    start = blank(alone)
    for i, name in enumerate(alone.grounds):
        here = at.layout.ground(seen.grounds.index(name))
        start.shared[start.layout.ground(i)] = at.shared[here]
    if start.layout.metallic:
        start.shared[start.layout.return_ratio] = at.shared[at.layout.return_ratio]
    return problem.over(alone), start


def _best(problem: Problem, starts: list[Parameters]) -> Solution:
    if len(starts) > 1:
        begun = _solutions(problem, starts, _FIRST_STEPS)
        least = min(begun, key=_cost).cost
        starts = [one.at for one in begun if one.cost <= least + _WORTH_MORE]
    return min(_solutions(problem, starts, 20), key=_cost)


def _solutions(problem: Problem, starts: list[Parameters], most_iterations: int) -> list[Solution]:
    prior = Prior(*shared_prior(problem.layout, problem.seen.wavelength_nm))
    return [
        solve(problem, prior, at, most_iterations=most_iterations, tolerance=1e-3) for at in starts
    ]


def _cost(solution: Solution) -> float:
    return solution.cost


def _nearest_dyes(problem: Problem, at: Parameters) -> list[FloatArray]:
    """Log absorptions of the few library dyes whose colours come nearest to the readings."""
    seen = problem.seen
    rows = np.flatnonzero(seen.is_film)
    rows = rows[np.argsort((seen.rate * problem.films(at))[rows], kind="stable")]
    rows = rows[np.unique(np.linspace(0, rows.size - 1, _SCANNED_READINGS).astype(int))]
    dyes = dye_library(seen.wavelength_nm)[::_LIBRARY_SHARE]
    off = _dyes_off(problem, replace(at, hazy=np.zeros_like(at.hazy)), rows, dyes)
    if at.hazy.any():
        # Haze is slow to work out: only for dyes that come near without it.
        dyes = dyes[np.argsort(off.min(axis=1), kind="stable")[:_SHORT_LIST]]
        off = _dyes_off(problem, at, rows, dyes)
    # One strength of each dye, else the nearest few would all be one dye.
    strength = off.argmin(axis=1)
    nearest = np.argsort(off.min(axis=1), kind="stable")[:_DYES_TRIED]
    return [np.log(dyes[i] * _STRENGTHS[strength[i]]) for i in nearest]


def _dyes_off(problem: Problem, at: Parameters, rows: IntArray, dyes: FloatArray) -> FloatArray:
    """How far each dye at each strength is from the readings, ``(n_dyes, n_strengths)``.

    By every other wavelength: it only has to find those that come near.
    """
    seen, grid = problem.seen, problem.seen.wavelength_nm[::2]
    curves = dyes[:, np.newaxis, ::2] * np.array(_STRENGTHS)[:, np.newaxis]
    dose = (problem.films(at) * seen.rate)[rows, np.newaxis]
    reflectance = problem.optics.reflectance(
        dose * curves[:, :, np.newaxis],
        at.ground_reflectance[seen.ground[rows], ::2],
        at.return_ratio[seen.ground[rows], np.newaxis],
        dose * at.scattering[0, ::2] if at.hazy.any() else None,
    )
    off: FloatArray = np.zeros(curves.shape[:2])
    for i, light in enumerate(seen.lights):
        read = seen.lab[rows, i]
        known = ~np.isnan(read[:, 0])
        xyz = reflectance[:, :, known] @ weights(grid, light)
        off += ((lab_from_xyz(xyz, white_point(light)) - read[known]) ** 2).sum(axis=(2, 3))
    return off
