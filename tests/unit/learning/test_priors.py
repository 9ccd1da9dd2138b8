"""What is known of grounds before they are read."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fewtone.learning.observations import observe
from fewtone.learning.parameters import ParameterLayout
from fewtone.learning.priors import colouredness, ground_prior
from fewtone.typing import FloatArray
from unit.learning.shelves import D65, GRID, GROUNDS, curves_of, settings, spray


def _unlikeliness(log_reflectance: FloatArray, coloured: float) -> float:
    """Minus twice the log density under the prior, a constant aside."""
    prior = ground_prior(GRID, coloured=coloured)
    off = log_reflectance - prior.mean
    logdet: float = np.linalg.slogdet(prior.covariance)[1]
    return float(off @ np.linalg.solve(prior.covariance, off)) + logdet


def test_a_coloured_ground_may_have_steep_edges() -> None:
    """Reflectances of a green and a red coat are likelier so, that of a grey one is not.

    The green reflects in a band and little beside it, the red beyond an edge.
    """
    green = 0.03 + 0.35 * np.exp(-0.5 * ((GRID - 535.0) / 30.0) ** 2)
    red = 0.03 + 0.5 / (1.0 + np.exp(-(GRID - 595.0) / 12.0))
    for reflectance in (green, red):
        assert _unlikeliness(np.log(reflectance), 1.0) < _unlikeliness(np.log(reflectance), 0.0)
    grey = np.full(GRID.size, np.log(0.3))
    assert _unlikeliness(grey, 0.0) < _unlikeliness(grey, 1.0)


def test_chroma_tells_how_coloured() -> None:
    """Nothing up to a chroma of 5, all beyond one of 15, and continuously between."""
    assert colouredness([50.0, 0.0, -5.0]) == 0.0
    assert colouredness([[50.0, 6.0, 8.0], [20.0, -40.0, 9.0]]) == pytest.approx([0.5, 1.0])


def test_flake_counts_as_grey_and_spectra_need_no_prior() -> None:
    """From Lab alone a white is none either, and from spectra nothing is."""
    curves = curves_of(440.0, 530.0)
    lines = [
        (f"{name}-{c}", f"{name}, 6:1, {c} coats over white") for name in curves for c in (1, 4)
    ]
    shelf = settings(curves)
    seen = observe(shelf, spray(curves, lines, lights=[D65]))
    assert ParameterLayout.of(seen).coloured == (0.0,) * len(GROUNDS)
    red = replace(seen, lab=np.where(np.isnan(seen.lab), np.nan, [40.0, 50.0, 20.0]))
    assert ParameterLayout.of(red).coloured == (1.0, 0.0)
    # Its bare readings may be left out of a fit.
    blind = replace(seen, lab=np.where(seen.is_film[:, np.newaxis, np.newaxis], red.lab, np.nan))
    assert ParameterLayout.of(blind).coloured == (0.0, 0.0)
    assert ParameterLayout.of(observe(shelf, spray(curves, lines))).coloured == ()
