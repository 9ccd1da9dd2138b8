"""Residuals and their slopes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fewtone.colorimetry import Light, lab_from_xyz, weights, white_point
from fewtone.learning.forward import Linear, Problem
from fewtone.learning.noise import Noise
from fewtone.learning.observations import observe
from fewtone.learning.parameters import ParameterLayout, blank
from fewtone.model.readings import Readings
from fewtone.typing import FloatArray
from unit.learning.shelves import D65, GRID, curves_of, settings, spray

CURVES = curves_of(450.0, 600.0)
LINES = [
    ("A", "t0, 6:1, 1 coat over silver"),
    ("A", "t0, 6:1, 3 coats over silver"),
    ("B", "2 t0 + 1 t1, 4:1, 2 coats over silver"),
    ("C", "t1, 6:1, 2 coats over white"),
    ("D", "t1, 6:1, 2 coats over white"),
]
# Central differences of step 1e-5 on residuals up to some hundreds: 1e-5 of the largest slope.
DIFFERENCE_TOLERANCE = 1e-5


def _mixed() -> Readings:
    """Spectra and Labs of the same shelf in one set."""
    spectra = spray(CURVES, LINES)
    labs = spray(CURVES, LINES, lights=[D65, Light("A", 10)])
    moved = [replace(item, panel=f"L{item.panel}") for item in labs.items]
    return Readings((*spectra.items, *moved), spectra.wavelength_nm)


@pytest.mark.parametrize("level", [0.004, 0.02, 0.5])
def test_noise_of_lab_is_that_of_sampled_spectra(level: float) -> None:
    """Labs of spectra read with noise scatter as said, in the dark and in the light."""
    read = level * (1.0 + 0.4 * np.sin(GRID / 60.0))
    rng = np.random.default_rng(3)
    noisy = read + NOISE.absolute * rng.standard_normal((20_000, GRID.size))
    matrix, white = weights(GRID, D65), white_point(D65)
    labs = lab_from_xyz(noisy @ matrix, white)
    labs = labs + NOISE.lab * rng.standard_normal(labs.shape)
    assert NOISE.of_lab(read @ matrix, GRID, D65) == pytest.approx(labs.std(axis=0), rel=0.03)


@pytest.mark.parametrize("by_ground", [False, True])
def test_slopes_are_those_of_the_residuals(by_ground: bool) -> None:
    """Analytic slopes equal central differences, for spectra, Labs, strips and blends.

    They do so whether panels' gains are of whole readings or of grounds.
    """
    seen = observe(settings(CURVES), _mixed())
    problem = Problem(seen, settings(CURVES).measurement.optics, settings(CURVES).mixing, NOISE)
    problem = problem.with_gains_of_grounds() if by_ground else problem
    rng = np.random.default_rng(5)
    layout = ParameterLayout.of(seen)
    start = blank(seen)
    at = replace(
        start,
        shared=start.shared + 0.2 * rng.standard_normal(layout.size),
        log_build=0.1 * rng.standard_normal(seen.segment_coats.size),
        log_gain=0.02 * rng.standard_normal(len(seen.panels)),
    )
    # The first toner is clear for sure, the second hazy enough to be seen.
    at.hazy[0] = False
    at.shared[layout.haze(1)[0]] = -1.0
    linear = problem.linearise(at)

    def difference(name: str, place: int) -> list[FloatArray]:
        step = 1e-5
        sides = []
        for sign in (1.0, -1.0):
            moved = getattr(at, name).copy()
            moved[place] += sign * step
            sides.append(problem.residuals(replace(at, **{name: moved})))
        assert sides[0] is not None
        assert sides[1] is not None
        return [(a - b) / (2.0 * step) for a, b in zip(*sides, strict=True)]

    for place in range(0, layout.size, 7):
        _compare_shared(problem, linear, place, difference("shared", place))
    # What the solver holds has no derivative of its own here; see the test of held parameters.
    for place in sorted(set(range(layout.return_ratio, layout.size)) - set(layout.held)):
        _compare_shared(problem, linear, place, difference("shared", place))
    for place in range(seen.segment_coats.size):
        for group, part, slope in zip(
            problem.groups, linear, difference("log_build", place), strict=True
        ):
            for i, segments in enumerate(group.segments):
                expected = np.zeros_like(slope[i])
                if place in segments:
                    expected = part.local[i, :, list(segments).index(place)]
                _close(slope[i], expected)
    for panel in range(len(seen.panels)):
        for group, part, slope in zip(
            problem.groups, linear, difference("log_gain", panel), strict=True
        ):
            for i, own in enumerate(group.panels):
                has = own == panel
                _close(slope[i], part.local[i, :, -1] if has else np.zeros_like(slope[i]))


def _compare_shared(
    problem: Problem, linear: list[Linear], place: int, slopes: list[FloatArray]
) -> None:
    for group, part, slope in zip(problem.groups, linear, slopes, strict=True):
        expected = np.zeros_like(slope)
        if place in group.shared:
            expected = part.shared[:, :, list(group.shared).index(place)]
        _close(slope, expected)


def _close(slope: FloatArray, expected: FloatArray) -> None:
    scale = max(1.0, float(np.abs(expected).max(initial=0.0)))
    assert slope == pytest.approx(expected, abs=DIFFERENCE_TOLERANCE * scale)


NOISE = Noise(0.002, 0.0005, 0.1)
