"""Which slip would explain a panel that does not fit.

Every slip that a panel may have suffered (`fewtone.learning.diagnosis.entry_errors`) is undone on
paper, and the readings that then stand there are judged by what the good panels say of them, the
hand and the unsure curves integrated out. The gain in log likelihood over the readings as they
stand, less what speaks against such a slip beforehand, picks the best.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from fewtone.colorimetry import Light, delta_e_2000, lab_from_xyz, weights, white_point
from fewtone.learning.diagnosis.entry_errors import (
    Cell,
    Idea,
    as_labelled,
    label_slips,
    number_slips,
    scale_slips,
)
from fewtone.learning.forward import Problem
from fewtone.learning.leave_one_out import Expectation, expectations
from fewtone.learning.observations import observe_as
from fewtone.learning.parameters import Parameters
from fewtone.model.readings import Reading, Readings
from fewtone.model.shelf import ShelfSettings
from fewtone.spectra import resampling
from fewtone.typing import FloatArray, IntArray

__all__ = ["explain"]

# A slip must make the readings this much more likely, in natural logarithms, to be named.
_LEAST_GAIN = 3.0
# And what then stands there must fit: its distance in standard deviations of chi-squared.
_FITS = 5.0
_WORST_CELLS = 2
# Two panels whose labels were exchanged must both surprise at least a little.
_PARTNERS = 8
_EXCHANGED = 4.0


def explain(
    problem: Problem,
    at: Parameters,
    covariance: FloatArray,
    films: FloatArray,
    expected: Sequence[Expectation],
    guilty: IntArray,
    doubtful: IntArray,
    readings: Readings,
    settings: ShelfSettings,
) -> list[str]:
    """Say what would explain each guilty panel best.

    Parameters
    ----------
    problem, at, covariance
        The fit without the guilty ones, and the covariance of its shared parameters.
    films
        How many panels with a film over each ground counted in it, ``(n_grounds,)``.
    expected
        What that fit says of every panel.
    guilty
        Numbers of the panels to explain, shape ``(n_guilty,)``.
    doubtful
        Numbers of panels that one of them may have been mistaken for, the likeliest first.
    readings, settings
        As they stand in the files.
    """
    return _Court(problem, at, covariance, films, expected, readings, settings).explain(
        guilty, doubtful
    )


class _Court:
    def __init__(
        self,
        problem: Problem,
        at: Parameters,
        covariance: FloatArray,
        films: FloatArray,
        expected: Sequence[Expectation],
        readings: Readings,
        settings: ShelfSettings,
    ) -> None:
        self.problem, self.at, self.covariance = problem, at, covariance
        self.films = films
        self.readings, self.settings = readings, settings
        self.seen = problem.seen
        self.place = {
            int(panel): (one, i) for one in expected for i, panel in enumerate(one.group.panels)
        }

    def explain(self, guilty: IntArray, doubtful: IntArray) -> list[str]:
        words = []
        for panel in guilty.tolist():
            partners = [int(other) for other in doubtful[:_PARTNERS] if other != panel]
            words.append(f"{self.seen.panels[panel]} {self._explain(panel, partners)}.")
        return words

    def _explain(self, panel: int, partners: list[int]) -> str:
        items = self._items(panel)
        ideas = [
            Idea("", items, 0.0),
            *label_slips(items, self.seen.toners, self.seen.grounds),
            *scale_slips(items, self._gains(panel)),
            *self._number_slips(panel),
        ]
        likely, off = self._weigh([idea.items for idea in ideas])
        gain = likely - likely[0] - np.array([idea.against for idea in ideas])
        gain[0] = _LEAST_GAIN
        best = int(gain.argmax())
        exchanged = self._exchanged(panel, partners, float(likely[0]))
        if exchanged and exchanged[0] > gain[best]:
            other = self.seen.panels[exchanged[1]]
            return f"and {other} read like each other's"
        twin = self._twin(panel)
        if best and off[best] < _FITS and (ideas[best].sharp or twin is None):
            return ideas[best].words
        near = f" (nearest: it {ideas[best].words})" if best else ""
        return (twin or "does not fit, and no single slip explains it") + near

    def _items(self, panel: int) -> tuple[Reading, ...]:
        one, i = self.place[panel]
        return tuple(self.seen.readings[row] for row in one.group.readings[i])

    def _weigh(self, sets: Sequence[tuple[Reading, ...]]) -> tuple[FloatArray, FloatArray]:
        """Log likelihood of each set of readings, each of one panel, and how far off it is."""
        items = [replace(item, panel=str(n)) for n, own in enumerate(sets) for item in own]
        seen = observe_as(self.seen, items, self.readings.wavelength_nm)
        problem = Problem(seen, self.problem.optics, self.problem.mixing, self.problem.noise)
        at = replace(
            self.at,
            log_build=np.zeros(seen.segment_coats.size),
            log_gain=np.zeros(len(seen.panels)),
        )
        likely, off = np.zeros(len(sets)), np.zeros(len(sets))
        for one in expectations(problem, at, self.covariance, np.zeros(len(sets)), self.films):
            likely[one.group.panels] = one.log_likelihood
            rows = one.residual.shape[1]
            off[one.group.panels] = (one.distance - rows) / np.sqrt(2.0 * rows)
        return likely, off

    def _exchanged(
        self, panel: int, partners: list[int], as_it_stands: float
    ) -> tuple[float, int] | None:
        """Gain of the best panel that this one may have been exchanged with, and its number."""
        items, sets, tried = self._items(panel), [], []
        for other in partners:
            theirs = self._items(other)
            if _kinds(theirs) == _kinds(items) and not _same_label(theirs, items):
                sets += [as_labelled(theirs, items), as_labelled(items, theirs)]
                tried.append(other)
        if not tried:
            return None
        both = self._weigh(sets)[0].reshape(-1, 2).sum(axis=1)
        before = [self.place[o][0].log_likelihood[self.place[o][1]] for o in tried]
        gain = both - as_it_stands - np.array(before) - _EXCHANGED
        return float(gain.max()), tried[int(gain.argmax())]

    def _gains(self, panel: int) -> dict[int, float]:
        """By how much each spectrum of a panel is higher than expected."""
        one, i = self.place[panel]
        found = {}
        for k, place, light in one.blocks():
            if light is None:
                read = self.seen.spectral[one.group.readings[i, k]]
                fit = np.maximum(
                    read + one.residual[i, place] * self.problem.noise.of_reflectance(read), 1e-4
                )
                found[k] = float(np.median(np.maximum(read, 1e-4) / fit))
        return found

    def _number_slips(self, panel: int) -> Iterator[Idea]:
        one, i = self.place[panel]
        items = self._items(panel)
        inverse = np.linalg.inv(one.covariance[i])
        weighed, precision = inverse @ one.residual[i], np.diag(inverse)
        worst = np.argsort(-np.abs(weighed) / np.sqrt(precision), kind="stable")[:_WORST_CELLS]
        for row in worst.tolist():
            k, place, lit = next(
                block for block in one.blocks() if block[1].start <= row < block[1].stop
            )
            node, change = row - place.start, weighed[row] / precision[row]
            reading = int(one.group.readings[i, k])
            cells = (
                self._bands(
                    items,
                    k,
                    node,
                    change * self.problem.noise.of_reflectance(self.seen.spectral[reading])[node],
                )
                if lit is None
                else [
                    self._lab_cell(
                        items, k, lit, node, change * self.problem.lab_sd[reading, lit, node]
                    )
                ]
            )
            for cell in cells:
                yield from number_slips(items, cell, weighed.size)

    def _bands(self, items: Sequence[Reading], k: int, node: int, change: float) -> Iterator[Cell]:
        """The file's columns that a wavelength of the fit was read in."""
        read, spectrum = self.readings.wavelength_nm, items[k].reflectance
        assert read is not None
        assert spectrum is not None
        scale = 100.0 if self.settings.percent else 1.0
        share = resampling(read)[:, node]
        for place in np.flatnonzero(share > 0.0).tolist():
            value = float(spectrum[place]) + change / share[place]
            decimals = _decimals([float(v) * scale for v in spectrum])
            yield Cell(k, f"{read[place]:g}", place, None, value * scale, decimals, scale)

    def _lab_cell(
        self, items: Sequence[Reading], k: int, lit: int, place: int, change: float
    ) -> Cell:
        light = self.seen.lights[lit]
        values = (items[k].lab or {})[light]
        own = light == self.settings.measurement.light
        column = "Lab"[place] if own else f"{'Lab'[place]} {light}"
        return Cell(k, column, place, light, values[place] + change, _decimals(values), 1.0)

    def _twin(self, panel: int) -> str | None:
        """What to say of another panel of the same recipe that reads otherwise."""
        items = self._items(panel)
        light = self.settings.measurement.light
        for other, name in enumerate(self.seen.panels):
            theirs = self._items(other)
            if other != panel and _same_label(theirs, items) and _kinds(theirs) == _kinds(items):
                apart = max(
                    float(delta_e_2000(self._lab(one, light), self._lab(two, light)))
                    for one, two in zip(items, theirs, strict=True)
                )
                return (
                    f"contradicts {name}: both are the same recipe, and they read ΔE00 "
                    f"{apart:.1f} apart"
                )
        return None

    def _lab(self, item: Reading, light: Light) -> FloatArray:
        if item.reflectance is None:
            return np.array(next(iter((item.lab or {}).values())))
        read = self.readings.wavelength_nm
        assert read is not None
        xyz = item.reflectance @ resampling(read) @ weights(self.seen.wavelength_nm, light)
        return lab_from_xyz(xyz, white_point(light))


def _kinds(items: Sequence[Reading]) -> list[tuple[bool, tuple[Light, ...]]]:
    return [(item.reflectance is None, tuple(item.lab or {})) for item in items]


def _same_label(one: Sequence[Reading], other: Sequence[Reading]) -> bool:
    return len(one) == len(other) and all(
        a.ground == b.ground and a.load == b.load and a.blend == b.blend
        for a, b in zip(one, other, strict=True)
    )


def _decimals(values: Sequence[float]) -> int:
    """The most decimals that any of these was written with."""
    return max(len(f"{value:.6f}".rstrip("0").partition(".")[2]) for value in values)
