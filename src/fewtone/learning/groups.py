"""Panels that lean on the same parameters in the same pattern, put together.

Their Jacobians stack into one array, and all of linear algebra runs on whole groups.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from fewtone.learning.observations import Observations
from fewtone.learning.parameters import GAIN_SD, ParameterLayout
from fewtone.model.shelf import Mixing
from fewtone.model.variation import segment_covariance
from fewtone.typing import BoolArray, FloatArray, IntArray

__all__ = ["Group", "group_panels", "local_precision"]

# Grounds as alike as this leave nothing to see.
_LEAST_GROUND_CV = 0.001


@dataclass(frozen=True, slots=True, eq=False)
class Group:
    """Panels that lean on the same shared parameters in the same pattern.

    Parameters
    ----------
    panels
        Numbers of the panels, shape ``(n_panels,)``.
    readings
        Their readings, shape ``(n_panels, n_read)``.
    spectral
        Whether each of the `n_read` is a spectrum, shape ``(n_read,)``.
    lights
        Rows of the lights that each of the `n_read` was read in; empty for a spectrum.
    toners, grounds
        The toners and grounds involved.
    shared
        Places of the shared parameters involved: the toners' curves, the grounds', the return
        ratio's.
    segments
        Their segments, shape ``(n_panels, n_segments)``.
    precision
        Prior precision of the local parameters, segments then gain, shape
        ``(n_panels, n_local, n_local)``.
    """

    panels: IntArray
    readings: IntArray
    spectral: BoolArray
    lights: tuple[tuple[int, ...], ...]
    toners: tuple[int, ...]
    grounds: tuple[int, ...]
    shared: IntArray
    segments: IntArray
    precision: FloatArray


def group_panels(
    seen: Observations, layout: ParameterLayout, mixing: Mixing, ground_cv: tuple[float, float]
) -> Iterator[Group]:
    """Put panels together that lean on the same parameters; arguments as `local_precision`'s.

    `ground_cv` is that of solids and that of metallics.
    """
    by_panel: dict[int, list[int]] = {}
    for row, panel in enumerate(seen.panel):
        by_panel.setdefault(int(panel), []).append(row)
    segments: dict[int, list[int]] = {panel: [] for panel in by_panel}
    for segment, panel in enumerate(seen.segment_panel):
        segments[int(panel)].append(segment)
    alike: dict[_Pattern, list[int]] = {}
    for panel, rows in by_panel.items():
        alike.setdefault(_Pattern.of(seen, rows, len(segments[panel])), []).append(panel)
    for pattern, panels in alike.items():
        shared = [layout.toner(i) for i in pattern.toners]
        shared += [layout.ground(i) for i in pattern.grounds]
        metallic = [i for i in pattern.grounds if i in layout.metallic]
        if metallic:
            shared.append(
                np.array(
                    [layout.return_ratio, *(layout.return_ratio_departure(i) for i in metallic)]
                )
            )
        shared += [layout.haze(i) for i in pattern.toners]
        shared.append(np.array([layout.black, layout.index, layout.edge, layout.thinning]))
        shared.append(np.array([layout.letdown(i) for i in pattern.toners], dtype=np.int64))
        of_panels = np.array([segments[panel] for panel in panels], dtype=np.int64)
        of_panels = of_panels.reshape(len(panels), pattern.n_segments)
        yield Group(
            panels=np.array(panels, dtype=np.int64),
            readings=np.array([by_panel[panel] for panel in panels], dtype=np.int64),
            spectral=np.array(pattern.spectral),
            lights=pattern.lights,
            toners=pattern.toners,
            grounds=pattern.grounds,
            shared=np.concatenate(shared),
            segments=of_panels,
            precision=local_precision(
                seen, of_panels, any(pattern.spectral), mixing, ground_cv[bool(metallic)]
            ),
        )


def local_precision(
    seen: Observations, segments: IntArray, has_spectrum: bool, mixing: Mixing, ground_cv: float
) -> FloatArray:
    """Prior precision of log film builds and log gain, ``(n_panels, n_local, n_local)``.

    Parameters
    ----------
    seen
        All observations.
    segments
        Of each panel, shape ``(n_panels, n_segments)``.
    has_spectrum
        Whether the panels were read as spectra, whose gain varies by how a panel lies.
    mixing
        How the film builds vary.
    ground_cv
        How far the ground's reflectance varies from panel to panel [1].
    """
    panels, count = segments.shape
    precision = np.zeros((panels, count + 1, count + 1))
    if count:
        for i, segment in enumerate(segments):
            coats = seen.segment_coats[segment]
            precision[i, :count, :count] = np.linalg.inv(segment_covariance(coats, mixing))
    placing = GAIN_SD if has_spectrum else _LEAST_GROUND_CV
    precision[:, -1, -1] = 1.0 / (placing**2 + ground_cv**2)
    return precision


class _Pattern(NamedTuple):
    """What panels of one group have in common."""

    lights: tuple[tuple[int, ...], ...]
    spectral: tuple[bool, ...]
    toners: tuple[int, ...]
    grounds: tuple[int, ...]
    n_segments: int

    @classmethod
    def of(cls, seen: Observations, rows: list[int], n_segments: int) -> _Pattern:
        known = ~np.isnan(seen.lab[rows, :, 0])
        return cls(
            lights=tuple(tuple(int(i) for i in np.flatnonzero(row)) for row in known),
            spectral=tuple(bool(read) for read in seen.has_spectrum[rows]),
            toners=tuple(int(i) for i in np.flatnonzero(seen.fractions[rows].any(axis=0))),
            grounds=tuple(int(i) for i in np.unique(seen.ground[rows])),
            n_segments=n_segments,
        )
