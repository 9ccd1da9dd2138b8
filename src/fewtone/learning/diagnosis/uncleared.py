"""Readings taken before a panel was cleared, and what they would have been under clear.

Model
    Without clear the surface is dull: it adds a share of white light that no geometry leaves out,
    and it may hold light that comes from below less well than a smooth clear does. That share is
    found by least squares; what is then left of a reading is multiplied by how much brighter the
    fit's own film is under clear than without.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from types import MappingProxyType

import numpy as np

from fewtone.colorimetry import Light, lab_from_xyz, weights, white_point, xyz_from_lab
from fewtone.learning.diagnosis.entry_errors import Hypothesis
from fewtone.learning.forward import Problem
from fewtone.learning.observations import observe_as
from fewtone.learning.parameters import Parameters
from fewtone.model.readings import Reading
from fewtone.typing import FloatArray, frozen

__all__ = ["uncleared"]

# Beside the share of white light that fits best over all readings, so many times as much is tried.
_TIMES = (0.6, 0.75, 0.9, 1.0, 1.1, 1.25)
# More white light than this comes from no dull surface (common practice, no source).
_MOST_SHEEN = 0.06
_NO_SURFACE = 1.0
# No reading tells less light than this from none [1].
_LEAST_FILM = 1e-6
_PRIOR_COST = 2.0


def uncleared(
    items: Sequence[Reading], problem: Problem, at: Parameters, wavelength_nm: FloatArray | None
) -> Iterator[Hypothesis]:
    """A panel that was read before it was cleared.

    Parameters
    ----------
    items
        Its readings.
    problem, at
        The fit, which this panel did not count in.
    wavelength_nm
        Wavelengths of the spectral readings [nm], shape ``(n_read,)``; None if there are none.
    """
    seen = observe_as(problem.seen, items, wavelength_nm)
    alone = replace(
        at, log_build=np.zeros(seen.segment_coats.size), log_gain=np.zeros(len(seen.panels))
    )
    optics = problem.optics
    views = [_View(item, problem.seen.wavelength_nm, wavelength_nm) for item in items]
    read = [view.read for view in views]
    cleared = problem.over(seen).reflectance(alone)
    under = [view.of(film) for view, film in zip(views, cleared, strict=True)]
    for index in (optics.index, _NO_SURFACE):
        dull = problem.over(seen).with_film(replace(optics, index=index), problem.thinning)
        # Where a film is black beyond all tables of haze what they say of it has no meaning.
        with np.errstate(over="ignore", invalid="ignore"):
            films = np.nan_to_num(dull.reflectance(alone), nan=0.0).clip(_LEAST_FILM, 1.0)
        bare = [view.of(film) for view, film in zip(views, films, strict=True)]
        sheen = _best_sheen(read, bare)
        times = _TIMES if sheen > 0.0 else ((1.0,) if index != optics.index else ())
        for share in (sheen * factor for factor in times):
            yield Hypothesis(
                "reads as if before it was cleared",
                tuple(
                    view.reading(item, np.maximum(now - share, 0.0) / (1.0 - share) * then / film)
                    for view, item, now, then, film in zip(
                        views, items, read, under, bare, strict=True
                    )
                ),
                _PRIOR_COST + float(np.log(2 * len(_TIMES))),
                tolerant=True,
            )


def _best_sheen(read: Sequence[FloatArray], bare: Sequence[FloatArray]) -> float:
    """The share of white light that brings the films nearest to what was read, relative errors."""
    now, film = np.concatenate(read), np.concatenate(bare)
    weight = 1.0 / np.maximum(now, 1e-3)
    slope = (1.0 - film) * weight
    best = float((slope * (now - film) * weight).sum() / (slope**2).sum())
    return min(max(best, 0.0), _MOST_SHEEN)


class _View:
    """A reading as reflectances: of its wavelengths, or of X, Y and Z under each light."""

    def __init__(self, item: Reading, grid_nm: FloatArray, read_nm: FloatArray | None) -> None:
        self.grid_nm, self.read_nm = grid_nm, read_nm
        if item.reflectance is not None:
            self.read = np.maximum(item.reflectance, 0.0)
        else:
            self.read = np.concatenate(
                [
                    np.maximum(xyz_from_lab(np.array(values), white_point(light)), 0.0)
                    / white_point(light)
                    for light, values in (item.lab or {}).items()
                ]
            )
        self.lights = tuple(item.lab or {}) if item.reflectance is None else ()

    def of(self, film: FloatArray) -> FloatArray:
        """A film's spectrum, seen so."""
        if self.lights:
            return np.concatenate(
                [film @ weights(self.grid_nm, light) / white_point(light) for light in self.lights]
            )
        assert self.read_nm is not None
        return np.interp(self.read_nm, self.grid_nm, film)

    def reading(self, item: Reading, values: FloatArray) -> Reading:
        """The reading with other values."""
        if not self.lights:
            return replace(item, reflectance=frozen(values))
        lab: dict[Light, tuple[float, float, float]] = {}
        for light, ratios in zip(self.lights, values.reshape(-1, 3), strict=True):
            white = white_point(light)
            lightness, a, b = lab_from_xyz(ratios * white, white).tolist()
            lab[light] = (lightness, a, b)
        return replace(item, lab=MappingProxyType(lab))
