"""The spectrum's layout: points where the axes say they are."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fewtone.report.charts import SpectrumChart, spectrum_chart
from fewtone.typing import FloatArray

GRID = np.arange(400.0, 701.0, 10.0)
# Points are printed to a tenth of the chart's unit.
PRINTED = 0.051


def points(text: str) -> FloatArray:
    """Points as SVG takes them."""
    return np.array([[float(v) for v in pair.split(",")] for pair in text.split()])


def values(chart: SpectrumChart, at: FloatArray) -> FloatArray:
    """What the y axis says at heights, by its own ticks."""
    ticks = [(tick.at, float(tick.label)) for tick in chart.y_ticks]
    (y_0, v_0), (y_1, v_1) = ticks[0], ticks[-1]
    return np.asarray(v_0 + (at - y_0) / (y_1 - y_0) * (v_1 - v_0))


@given(st.floats(0.001, 3.0), st.integers(0, 30))
def test_the_line_reads_back(top: float, peak: int) -> None:
    """Read off the axes, the line is the spectrum, and it stays within the frame."""
    reflectance = top * np.exp(-(((np.arange(31) - peak) / 6.0) ** 2))
    chart = spectrum_chart(GRID, reflectance)
    line = points(chart.line)
    scale = float(chart.y_ticks[-1].label) / (chart.bottom - chart.top)
    np.testing.assert_allclose(values(chart, line[:, 1]), reflectance, atol=PRINTED * scale)
    assert line[:, 0].min() >= chart.left - PRINTED
    assert line[:, 0].max() <= chart.right + PRINTED
    assert line[:, 1].min() >= chart.top - PRINTED
    assert line[:, 1].max() <= chart.bottom + PRINTED
    assert 2 <= len(chart.y_ticks) <= 6


def test_the_band_lies_around_the_line() -> None:
    """One standard deviation to either side, never below zero; no band where it is not known."""
    reflectance, spread = np.full(31, 0.2), np.full(31, 0.05)
    spread[0] = 0.5
    chart = spectrum_chart(GRID, reflectance, spread)
    band = values(chart, points(chart.band)[:, 1])
    scale = float(chart.y_ticks[-1].label) / (chart.bottom - chart.top)
    np.testing.assert_allclose(band[:31], reflectance + spread, atol=PRINTED * scale)
    below = np.maximum(reflectance - spread, 0)[::-1]
    np.testing.assert_allclose(band[31:], below, atol=PRINTED * scale)
    assert spectrum_chart(GRID, reflectance).band == ""


@pytest.mark.parametrize(
    ("start", "end", "labels"),
    [(400, 700, "400 450 500 550 600 650 700"), (380, 740, "400 450 500 550 600 650 700")],
)
def test_wavelengths_are_marked_at_fifties(start: float, end: float, labels: str) -> None:
    """Marks stand at round wavelengths whatever the range."""
    grid = np.arange(start, end + 1, 20.0)
    chart = spectrum_chart(grid, np.linspace(0.1, 0.4, grid.size))
    assert " ".join(tick.label for tick in chart.x_ticks) == labels
    x = dict(zip(grid, points(chart.line)[:, 0], strict=True))
    assert chart.x_ticks[0].at == pytest.approx(x[400.0], abs=PRINTED)


def test_it_says_what_it_shows() -> None:
    """In words: range, lowest and highest."""
    reflectance = np.linspace(0.1, 0.4, 31)
    assert spectrum_chart(GRID, reflectance).words == (
        "Predicted reflectance factor from 400 to 700 nm: lowest 0.100 at 400 nm, highest 0.400 "
        "at 700 nm."
    )


def test_a_black_film_has_axes() -> None:
    """Nothing reflected is a line on the floor, not a fault."""
    chart = spectrum_chart(GRID, np.zeros(31))
    assert {y for _, y in points(chart.line)} == {chart.bottom}
    assert len(chart.y_ticks) == 2
