"""Which entry error would explain a panel that does not fit.

Every error that a panel may have suffered (`fewtone.learning.diagnosis.entry_errors`) is undone on
paper, and the readings that then stand there are judged by what the good panels say of them, the
hand and the unsure curves integrated out. The gain in log likelihood over the readings as they
stand, less the prior cost of such an error, picks the best.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fewtone.colorimetry import Light, delta_e_2000, lab_from_xyz, weights, white_point
from fewtone.learning.diagnosis.entry_errors import (
    Cell,
    Hypothesis,
    as_labelled,
    label_errors,
    number_errors,
    scale_errors,
)
from fewtone.learning.diagnosis.uncleared import uncleared
from fewtone.learning.forward import Problem
from fewtone.learning.leave_one_out import Expectation, expectations
from fewtone.learning.observations import observe_as
from fewtone.learning.parameters import Parameters
from fewtone.learning.repeats import merge_repeats
from fewtone.model.blend import Number
from fewtone.model.readings import Reading, Readings
from fewtone.model.shelf import ShelfSettings
from fewtone.spectra import resampling
from fewtone.typing import FloatArray, IntArray

__all__ = ["Explainer", "Explanation", "letdowns"]

# An error must make the readings this much more likely, in natural logarithms, to be named.
_LEAST_GAIN = 3.0
# And what then stands there must fit: its distance in standard deviations of chi-squared.
_FITS = 5.0
# or, where the error is known roughly only, this share of what it was as the readings stand.
_ROUGHLY = 0.25
_WORST_CELLS = 2
# Two panels whose labels were exchanged must both be off at least a little.
_PARTNERS = 8
_EXCHANGED = 4.0
# One place that was read more often than this is judged by fewer readings.
_MOST_REPEATS = 2
# Hypotheses judged together: their covariances fill at most about so many numbers.
_BLOCK = 2_000_000


@dataclass(frozen=True, slots=True)
class Explanation:
    """What would explain a panel best.

    Parameters
    ----------
    words
        To stand behind the panel's id.
    gain
        By how much it makes the readings likelier, less its prior cost; in natural logarithms.
    specific
        Whether it names one definite error.
    other
        Another panel that it names; None if there is none.
    """

    words: str
    gain: float
    specific: bool
    other: int | None = None


@dataclass(frozen=True, slots=True, eq=False)
class _Panel:
    """One panel's readings and what the others say of them."""

    number: int
    items: tuple[Reading, ...]
    problem: Problem
    expected: Expectation


def letdowns(settings: ShelfSettings, readings: Sequence[Reading]) -> tuple[Number, ...]:
    """The letdowns that this shop uses, parts of medium."""
    read = (item.medium_parts for item in readings if item.medium_parts is not None)
    return tuple(dict.fromkeys([*settings.mixing.medium_parts, *read]))


class Explainer:
    """Explains panels by a fit that they did not count in.

    Parameters
    ----------
    problem, at, covariance
        The fit, and the covariance of its shared parameters.
    films
        How many panels with a film over each ground counted in it, ``(n_grounds,)``.
    doubtful
        Numbers of panels that one of them may have been mistaken for, the likeliest first.
    readings, settings
        As they stand in the files.
    """

    def __init__(
        self,
        problem: Problem,
        at: Parameters,
        covariance: FloatArray,
        films: FloatArray,
        doubtful: IntArray,
        readings: Readings,
        settings: ShelfSettings,
    ) -> None:
        self.problem, self.at, self.covariance = problem, at, covariance
        self.films, self.doubtful = films, doubtful
        self.readings, self.settings = readings, settings
        self.seen = problem.seen
        self.letdowns = letdowns(settings, self.seen.readings)

    def explain(self, number: int) -> Explanation:
        """Say what would explain a panel best.

        Parameters
        ----------
        number
            The panel's, in the order of the observations.
        """
        panel = self._panel(number)
        if pasted := self._pasted(panel):
            return pasted
        items = panel.items
        hypotheses = [
            Hypothesis("", items, 0.0),
            *label_errors(items, self.seen.toners, self.seen.grounds, self.letdowns),
            *scale_errors(items, self._gains(panel)),
            *self._number_errors(panel),
            *uncleared(items, self.problem, self.at, self.readings.wavelength_nm),
        ]
        likely, off = self._log_likelihoods([hypothesis.items for hypothesis in hypotheses])
        gain = likely - likely[0] - np.array([hypothesis.prior_cost for hypothesis in hypotheses])
        gain[0] = _LEAST_GAIN
        best = int(gain.argmax())
        exchanged = self._exchanged(panel, float(likely[0]))
        if exchanged and exchanged[0] > gain[best]:
            other = self.seen.panels[exchanged[1]]
            return Explanation(
                f"and {other} read like each other's", exchanged[0], True, exchanged[1]
            )
        twin = self._twin(panel)
        if off[best] > _FITS:
            rough = [
                i
                for i, hypothesis in enumerate(hypotheses)
                if hypothesis.tolerant and gain[i] > _LEAST_GAIN and off[i] < _ROUGHLY * off[0]
            ]
            if rough:
                likeliest = max(rough, key=lambda i: float(gain[i]))
                return Explanation(hypotheses[likeliest].words, float(gain[likeliest]), True)
        if best and off[best] < _FITS and (hypotheses[best].specific or twin is None):
            return Explanation(hypotheses[best].words, float(gain[best]), hypotheses[best].specific)
        near = f" (nearest: it {hypotheses[best].words})" if best else ""
        words = (twin or "does not fit, and no single slip explains it") + near
        return Explanation(words, _LEAST_GAIN, False)

    def _items(self, number: int) -> tuple[Reading, ...]:
        rows = np.flatnonzero(self.seen.panel == number)
        return tuple(self.seen.readings[row] for row in rows)

    def _panel(self, number: int) -> _Panel:
        items = merge_repeats(self._items(number), _MOST_REPEATS)
        problem, expected = self._expect([items])
        return _Panel(number, items, problem, expected[0])

    def _expect(self, sets: Sequence[tuple[Reading, ...]]) -> tuple[Problem, list[Expectation]]:
        """What the good panels say of sets of readings, each of one panel."""
        items = [
            replace(item, panel=str(n))
            for n, items_of_one in enumerate(sets)
            for item in items_of_one
        ]
        seen = observe_as(self.seen, items, self.readings.wavelength_nm)
        problem = self.problem.over(seen)
        at = replace(
            self.at,
            log_build=np.zeros(seen.segment_coats.size),
            log_gain=np.zeros(len(seen.panels)),
        )
        nobody = np.zeros(len(sets))
        return problem, expectations(problem, at, self.covariance, nobody, self.films)

    def _log_likelihoods(
        self, sets: Sequence[tuple[Reading, ...]]
    ) -> tuple[FloatArray, FloatArray]:
        """Log likelihood of each set of readings, each of one panel, and how far off it is."""
        likely, off = np.zeros(len(sets)), np.zeros(len(sets))
        most = max(len(each) for each in sets)
        rows = most * max(self.seen.wavelength_nm.size if self._is_spectral(sets[0]) else 6, 1)
        block = max(1, _BLOCK // rows**2)
        for start in range(0, len(sets), block):
            part = sets[start : start + block]
            for one in self._expect(part)[1]:
                at_rows = start + one.group.panels
                likely[at_rows] = one.log_likelihood
                width = one.residual.shape[1]
                off[at_rows] = (one.distance - width) / np.sqrt(2.0 * width)
        return likely, off

    @staticmethod
    def _is_spectral(items: Sequence[Reading]) -> bool:
        return any(item.reflectance is not None for item in items)

    def _pasted(self, panel: _Panel) -> Explanation | None:
        """A row whose numbers are those of another panel's row, to the last digit."""
        for item in panel.items:
            for row, other in enumerate(self.seen.readings):
                if other.panel != item.panel and _same_numbers(item, other):
                    number = int(self.seen.panel[row])
                    return Explanation(
                        f"has the same numbers in row {item.row} as {other.panel} has in row "
                        f"{other.row}: one of the two was pasted",
                        np.inf,
                        True,
                        number,
                    )
        return None

    def _exchanged(self, panel: _Panel, as_it_stands: float) -> tuple[float, int] | None:
        """Gain of the best panel that this one may have been exchanged with, and its number."""
        items, sets, tried = panel.items, [], []
        for other in self.doubtful[: _PARTNERS + 1].tolist():
            theirs = merge_repeats(self._items(other), _MOST_REPEATS)
            if (
                other != panel.number
                and _kinds(theirs) == _kinds(items)
                and not _same_label(theirs, items)
            ):
                sets += [as_labelled(theirs, items), as_labelled(items, theirs), theirs]
                tried.append(other)
        if not tried:
            return None
        likely = self._log_likelihoods(sets)[0].reshape(-1, 3)
        gain = likely[:, 0] + likely[:, 1] - likely[:, 2] - as_it_stands - _EXCHANGED
        return float(gain.max()), tried[int(gain.argmax())]

    def _gains(self, panel: _Panel) -> dict[int, float]:
        """By how much each spectrum of a panel is higher than expected."""
        one, gains = panel.expected, {}
        seen, noise = panel.problem.seen, panel.problem.noise
        for k, columns, light in one.blocks():
            if light is None:
                read = seen.spectral[one.group.readings[0, k]]
                fit = np.maximum(read + one.residual[0, columns] * noise.of_reflectance(read), 1e-4)
                gains[k] = float(np.median(np.maximum(read, 1e-4) / fit))
        return gains

    def _number_errors(self, panel: _Panel) -> Iterator[Hypothesis]:
        one, seen, noise = panel.expected, panel.problem.seen, panel.problem.noise
        inverse = np.linalg.inv(one.covariance[0])
        weighted = inverse @ one.residual[0]
        precision = np.maximum(np.diag(inverse), 1e-12)
        worst = np.argsort(-np.abs(weighted) / np.sqrt(precision), kind="stable")[:_WORST_CELLS]
        for row in worst.tolist():
            k, columns, lit = next(
                block for block in one.blocks() if block[1].start <= row < block[1].stop
            )
            node, change = row - columns.start, weighted[row] / precision[row]
            reading = int(one.group.readings[0, k])
            if lit is None:
                sd = noise.of_reflectance(seen.spectral[reading])[node]
                cells = self._bands(panel.items, k, node, change * sd)
            else:
                sd = panel.problem.lab_sd[reading, lit, node]
                cells = iter([self._lab_cell(panel.items, k, lit, node, change * sd)])
            for cell in cells:
                yield from number_errors(panel.items, cell, weighted.size)

    def _bands(self, items: Sequence[Reading], k: int, node: int, change: float) -> Iterator[Cell]:
        """The file's columns that a wavelength of the fit was read in."""
        read, spectrum = self.readings.wavelength_nm, items[k].reflectance
        assert read is not None
        assert spectrum is not None
        scale = 100.0 if self.settings.percent else 1.0
        share = resampling(read)[:, node]
        for band in np.flatnonzero(share > 0.0).tolist():
            value = float(spectrum[band]) + change / share[band]
            decimals = _decimals([float(v) * scale for v in spectrum])
            yield Cell(k, f"{read[band]:g}", band, None, value * scale, decimals, scale)

    def _lab_cell(
        self, items: Sequence[Reading], k: int, lit: int, coordinate: int, change: float
    ) -> Cell:
        light = self.seen.lights[lit]
        values = (items[k].lab or {})[light]
        in_shelf_light = light == self.settings.measurement.light
        column = "Lab"[coordinate] if in_shelf_light else f"{'Lab'[coordinate]} {light}"
        return Cell(
            k, column, coordinate, light, values[coordinate] + change, _decimals(values), 1.0
        )

    def _twin(self, panel: _Panel) -> str | None:
        """What to say of another panel of the same recipe that reads otherwise."""
        items = self._items(panel.number)
        light = self.settings.measurement.light
        for other, name in enumerate(self.seen.panels):
            theirs = self._items(other)
            if (
                other != panel.number
                and _same_label(theirs, items)
                and _kinds(theirs) == _kinds(items)
            ):
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


def _same_numbers(one: Reading, other: Reading) -> bool:
    if one.reflectance is None or other.reflectance is None:
        return one.reflectance is other.reflectance and one.lab == other.lab
    return np.array_equal(one.reflectance, other.reflectance)


def _decimals(values: Sequence[float]) -> int:
    """The most decimals that any of these was written with."""
    return max(len(f"{value:.6f}".rstrip("0").partition(".")[2]) for value in values)
