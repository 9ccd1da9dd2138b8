"""The spectrum as lines on a page: figures to points, nothing drawn here.

The page draws it as inline SVG, so that it prints sharp and needs no script and no other file.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fewtone.typing import FloatArray

__all__ = ["SpectrumChart", "Tick", "spectrum_chart"]

WIDTH, HEIGHT = 330.0, 94.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 26.0, 8.0, 6.0, 18.0
_STEPS = (0.01, 0.02, 0.05, 0.1, 0.2, 0.25, 0.5, 1.0)
_MOST_STEPS = 5
_NM_STEP = 50.0


@dataclass(frozen=True, slots=True)
class Tick:
    """A mark on an axis.

    Parameters
    ----------
    at
        Where, in the chart's units.
    label
        What it says.
    """

    at: float
    label: str


@dataclass(frozen=True, slots=True)
class SpectrumChart:
    """A spectrum ready to draw.

    Parameters
    ----------
    width, height, left, right, top, bottom
        The chart and the edges of its plotting area, in its own units, y downwards.
    line, band
        Points of the curve and of the outline of its band, as SVG takes them; the band is empty
        where it is not known.
    x_ticks, y_ticks
        Wavelength [nm] and reflectance factor [1].
    words
        What the chart shows, for who does not see it.
    """

    width: float
    height: float
    left: float
    right: float
    top: float
    bottom: float
    line: str
    band: str
    x_ticks: tuple[Tick, ...]
    y_ticks: tuple[Tick, ...]
    words: str


def spectrum_chart(
    wavelength_nm: FloatArray, reflectance: FloatArray, spread: FloatArray | None = None
) -> SpectrumChart:
    """Lay out a reflectance spectrum.

    Parameters
    ----------
    wavelength_nm, reflectance
        [nm] and reflectance factor [1], shape ``(n_wavelengths,)``.
    spread
        Its standard deviation [1], same shape; the band is one of it to either side.
    """
    most = float((reflectance if spread is None else reflectance + spread).max())
    step = next((s for s in _STEPS if most <= _MOST_STEPS * s), np.ceil(most / _MOST_STEPS))
    steps = max(1, int(np.ceil(most / step - 1e-9)))
    start, end = float(wavelength_nm[0]), float(wavelength_nm[-1])
    right, bottom = WIDTH - _RIGHT, HEIGHT - _BOTTOM

    def x_of(nm: FloatArray) -> FloatArray:
        return _LEFT + (nm - start) / max(end - start, 1.0) * (right - _LEFT)

    def y_of(value: FloatArray) -> FloatArray:
        return bottom - value / (steps * step) * (bottom - _TOP)

    x = x_of(wavelength_nm)
    band = ""
    if spread is not None:
        low, high = np.maximum(reflectance - spread, 0.0), reflectance + spread
        band = f"{_points(x, y_of(high))} {_points(x[::-1], y_of(low)[::-1])}"
    marks_nm = np.arange(np.ceil(start / _NM_STEP), np.floor(end / _NM_STEP) + 1) * _NM_STEP
    levels = np.arange(steps + 1) * step
    lowest, highest = int(reflectance.argmin()), int(reflectance.argmax())
    return SpectrumChart(
        width=WIDTH,
        height=HEIGHT,
        left=_LEFT,
        right=right,
        top=_TOP,
        bottom=bottom,
        line=_points(x, y_of(reflectance)),
        band=band,
        x_ticks=tuple(Tick(float(x_of(nm)), f"{nm:g}") for nm in marks_nm),
        y_ticks=tuple(Tick(float(y_of(level)), f"{level:g}") for level in levels.round(6)),
        words=(
            f"Predicted reflectance factor from {start:g} to {end:g} nm: lowest "
            f"{reflectance[lowest]:.3f} at {wavelength_nm[lowest]:g} nm, highest "
            f"{reflectance[highest]:.3f} at {wavelength_nm[highest]:g} nm."
        ),
    )


def _points(x: FloatArray, y: FloatArray) -> str:
    return " ".join(f"{a:.1f},{b:.1f}" for a, b in zip(x, y, strict=True))
