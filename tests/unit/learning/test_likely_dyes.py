"""The prior of toners that were read as Lab alone, drawn to the dyes that are likely."""

from __future__ import annotations

from importlib import import_module

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.stats import multivariate_normal

from fewtone.colorimetry import Light
from fewtone.learning.estimate import fit
from fewtone.learning.likely_dyes import likely_absorber
from fewtone.learning.observations import observe
from fewtone.learning.parameters import shared_prior
from fewtone.learning.priors import dye_library, variety
from fewtone.typing import FloatArray
from unit.learning.shelves import D65, GRID, curves_of, settings, spray

CURVES = curves_of(440.0, 530.0, 620.0)
LINES = [(f"{name}-{c}", f"{name}, 6:1, {c} coats over silver") for name in CURVES for c in (1, 3)]
# How many dyes count, and how far their curves spread about them.
COUNTED, SPREAD = 300, (0.3, 0.1)


def _shared_out(read: FloatArray, error: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Mean and covariance by the densities themselves, tempered by a root finder."""
    dyes, spread = np.log(dye_library(GRID)), variety(GRID, *SPREAD)
    log_density = multivariate_normal(read, error + spread).logpdf(dyes)

    def weights(power: float) -> FloatArray:
        weight = np.exp(power * (log_density - log_density.max()))
        return np.asarray(weight / weight.sum())

    power = brentq(lambda p: 1.0 / (weights(p) ** 2).sum() - COUNTED, 1e-6, 1.0)
    weight = weights(power)
    return weight @ dyes, np.cov(dyes, rowvar=False, aweights=weight, ddof=0) + spread


def test_it_is_what_the_densities_of_the_dyes_say() -> None:
    """Where readings tell all of a curve, to some error, dyes count by their density at it."""
    read = np.log(dye_library(GRID)[17]) + 0.1
    error = variety(GRID, 0.2, 0.3)
    known = np.asarray(np.linalg.inv(error), dtype=np.float64)
    likely = likely_absorber(GRID, known, np.asarray(known @ read))
    mean, covariance = _shared_out(read, error)
    assert likely.mean == pytest.approx(mean, abs=1e-6)
    assert likely.covariance == pytest.approx(covariance, abs=1e-6)


def test_readings_that_tell_nothing_leave_the_library() -> None:
    """Then every dye counts the same."""
    dyes = np.log(dye_library(GRID))
    likely = likely_absorber(GRID, np.zeros((GRID.size, GRID.size)), np.zeros(GRID.size))
    assert likely.mean == pytest.approx(dyes.mean(axis=0))
    assert likely.covariance == pytest.approx(
        np.cov(dyes, rowvar=False, ddof=0) + variety(GRID, *SPREAD)
    )


@pytest.mark.parametrize("lights", [[], [D65]])
def test_only_toners_read_as_lab_alone_are_drawn(lights: list[Light]) -> None:
    """Spectra say themselves what a toner does; grounds and all else keep their prior."""
    shop = settings(CURVES)
    seen = observe(shop, spray(CURVES, LINES, lights=lights), ())
    problem, prior, _ = fit(shop, seen)
    mean, precision = shared_prior(problem.layout, seen.wavelength_nm)
    drawn = (prior.mean != mean) | (prior.precision != precision).any(axis=0)
    toners = np.arange(len(CURVES) * GRID.size)
    assert drawn[toners].all() == bool(lights)
    assert not np.delete(drawn, toners).any()


def test_curves_come_nearer_to_dyes(monkeypatch: pytest.MonkeyPatch) -> None:
    """Dyes of the library, read as Lab, are found nearer than by the prior over all dyes."""
    dyes = dye_library(GRID)[[11, 402, 903, 1204]]
    curves = {f"t{i}": dye for i, dye in enumerate(dyes)}
    lines = [
        (f"{name}-{ground}-{c}", f"{name}, 6:1, {c} coats over {ground}")
        for name in curves
        for ground in ("white", "silver")
        for c in (1, 2, 4)
    ]
    shop, readings = settings(curves), spray(curves, lines, lights=[D65])

    def missed() -> float:
        _, _, solution = fit(shop, observe(shop, readings, ()))
        return float(np.abs(np.log(solution.at.absorption) - np.log(dyes)).mean())

    with_them = missed()
    # The function of that name stands where the module's is looked for.
    module = import_module("fewtone.learning.estimate")
    monkeypatch.setattr(module, "with_likely_dyes", lambda _, prior, __: prior)
    assert with_them < 0.9 * missed()
