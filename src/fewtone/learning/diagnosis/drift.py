"""An instrument whose white or black moves while a shelf is read.

Model
    Readings are taken in the order of their dates, and of their rows. White: reflectance is too
    high by a share that grows evenly from the first reading to the last. Black: by a constant that
    does. Each is one parameter more beside those of the fit; its estimate and its standard
    deviation follow from one step of Newton's at the fit, with the shared parameters, the hand and
    the gains integrated out.

Validity
    A drift that goes one way. Toners that are read one after another and never again take part of
    it into their curves, so that the drift is no smaller than what is found.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fewtone.colorimetry import lab_jacobian, weights, white_point
from fewtone.learning.forward import Problem
from fewtone.learning.leave_one_out import group_covariance
from fewtone.learning.model_error import blocks
from fewtone.learning.parameters import Parameters, shared_prior
from fewtone.learning.solver import Prior, solve
from fewtone.learning.uncertainty import shared_covariance
from fewtone.typing import BoolArray, FloatArray

__all__ = ["Drift", "drifts"]

# So many standard deviations from none, and so large, a drift must be to be told.
# Of a moving black a constant one takes up most.
_CLEARLY = {"white": 4.0, "black": 3.0}
_LEAST_WHITE, _LEAST_BLACK = 0.01, 0.0015
# Grounds that seem to vary by more than this from panel to panel [1] may be a drift; a fit that
# takes them for alike need only settle so far.
_GROUNDS_VARY, _SETTLED = 0.002, 1e-3


@dataclass(frozen=True, slots=True)
class Drift:
    """How far white or black moved from the first reading to the last.

    Parameters
    ----------
    kind
        ``"white"`` or ``"black"``.
    change
        Of white: a share of what is read [1]; of black: reflectance [1].
    sd
        Its standard deviation, in the same unit.
    """

    kind: str
    change: float
    sd: float

    def __str__(self) -> str:
        """Say so, and what to do."""
        if self.kind == "white":
            size, way = f"{abs(self.change):.1%}", "higher" if self.change > 0.0 else "lower"
        else:
            size = f"{abs(self.change):.3f} (0 to 1)"
            way = "higher" if self.change > 0.0 else "lower"
        return (
            f"The instrument's {self.kind} seems to have drifted: the last readings are at least "
            f"{size} {way} than the first ones would have been. Calibrate it, and read the panels "
            "again in one go."
        )


def drifts(
    problem: Problem, at: Parameters, covariance: FloatArray, counted: BoolArray
) -> tuple[Drift, ...]:
    """Find drifts of white and black, the clearer one first; none if nothing moved.

    Parameters
    ----------
    problem, at, covariance
        The fit, and the covariance of its shared parameters, shape ``(n_shared, n_shared)``.
    counted
        Whether each panel counted in it, ``(n_panels,)``: a bad one must not pass for a drift.
    """
    if max(problem.ground_cv) > _GROUNDS_VARY:
        # A drift looks like grounds that vary: it is judged as if they did not.
        problem = problem.with_variation(problem.mixing, (0.0, 0.0))
        prior = Prior(*shared_prior(problem.layout, problem.seen.wavelength_nm))
        share = counted.astype(np.float64)
        at = solve(problem, prior, at, weights=share, tolerance=_SETTLED).at
        covariance = shared_covariance(problem, prior, at, share)
    # Index, edge loss and thinning are taken as found: given them, the others are surer.
    held = list(problem.layout.held)
    known = np.linalg.solve(covariance[np.ix_(held, held)], covariance[held])
    covariance = covariance - covariance[:, held] @ known
    clear = []
    for kind, least in (("white", _LEAST_WHITE), ("black", _LEAST_BLACK)):
        change, sd = _estimate(problem, at, covariance, counted, kind)
        if abs(change) > max(_CLEARLY[kind] * sd, least):
            clear.append(Drift(kind, change, sd))
    # One that moves looks a little like the other: the clearer one is told.
    return tuple(sorted(clear, key=lambda drift: -abs(drift.change) / drift.sd)[:1])


def _estimate(
    problem: Problem, at: Parameters, covariance: FloatArray, counted: BoolArray, kind: str
) -> tuple[float, float]:
    """Least-squares size of a drift along the readings' order, and its standard deviation.

    Generalised by the panels' covariance C: change = dᵀ C⁻¹ r/(dᵀ C⁻¹ d), the shared parameters
    integrated out.
    """
    seen, along = problem.seen, _along(problem)
    spectra = problem.reflectance(at)
    information, pull, cross = 0.0, 0.0, np.zeros(at.layout.size)
    for group, linear in zip(problem.groups, problem.linearise(at), strict=True):
        covariance_of_group, offset = group_covariance(problem, group, linear, at)
        slope = np.zeros_like(offset)
        for k, columns, lit in blocks(group, seen.wavelength_nm.size):
            rows = group.readings[:, k]
            shape = spectra[rows] if kind == "white" else np.ones_like(spectra[rows])
            moved = along[rows, np.newaxis] * shape
            if lit is None:
                slope[:, columns] = moved / problem.noise.of_reflectance(seen.spectral[rows])
            else:
                light = seen.lights[lit]
                matrix, white = weights(seen.wavelength_nm, light), white_point(light)
                bend = lab_jacobian(spectra[rows] @ matrix, white)
                by = (bend @ (moved @ matrix)[..., np.newaxis])[..., 0]
                slope[:, columns] = by / problem.lab_sd[rows, lit]
        solved = np.linalg.solve(covariance_of_group, np.stack([slope, offset], axis=-1))
        solved *= counted[group.panels, np.newaxis, np.newaxis]
        information += float((slope * solved[..., 0]).sum())
        pull += float((slope * solved[..., 1]).sum())
        np.add.at(cross, group.shared, np.einsum("prs,pr->s", linear.shared, solved[..., 0]))
    left = information - float(cross @ covariance @ cross)
    return -pull / left, left**-0.5


def _along(problem: Problem) -> FloatArray:
    """When each reading was taken, 0 the first and 1 the last, ``(n_readings,)``."""
    items = problem.seen.readings
    dated = all(item.date for item in items)
    order = sorted(range(len(items)), key=lambda i: (items[i].date if dated else "", items[i].row))
    along = np.empty(len(items))
    along[order] = np.linspace(0.0, 1.0, len(items))
    return along
