"""Readings as arrays: what was sprayed, what was read, and which of it shares what.

A panel is what was sprayed in one go. Its film grows in *segments*: the coats between two steps
that were read. Every later step contains the earlier segments, so one hand's mistake in a coat is
seen in all the steps above it. Where the steps are told to be separate panels of one session, each
has a segment of its own: they share one heavy or light hand, and no coat.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np

from fewtone.colorimetry import Light
from fewtone.errors import Fault, FewtoneError
from fewtone.learning.repeats import merge_repeats
from fewtone.model.readings import Reading, Readings
from fewtone.model.shelf import ShelfSettings
from fewtone.spectra import STANDARD_GRID_NM, learning_grid, resampling
from fewtone.typing import BoolArray, FloatArray, IntArray

__all__ = ["Observations", "narrow", "observe", "observe_as"]

_FILE = "readings.csv"
# Fewer different doses than this leave strength, film build and ground in one pot.
_LEAST_DOSES = 2
# Of one place read more often than this, some readings are averaged: they tell next to nothing
# more, and memory must not grow with them.
_MOST_REPEATS = 4


@dataclass(frozen=True, slots=True, eq=False)
class Observations:
    """All that learning is told.

    Parameters
    ----------
    wavelength_nm
        Wavelengths that curves are learnt at [nm], shape ``(n_wavelengths,)``.
    toners, grounds
        Names of what can be learnt: what was read at all.
    metallic
        Whether each ground is metallic, shape ``(n_grounds,)``.
    readings
        The readings that count; every array below has a row for each.
    fractions
        Volume fractions of the blend [1], shape ``(n_readings, n_toners)``; zero over bare ground.
    rate
        Dose of blend per standard coat, thinning/(1 + letdown) [1], shape ``(n_readings,)``.
    ground
        Row of the ground in `grounds`, shape ``(n_readings,)``.
    panel
        Number of the panel, shape ``(n_readings,)``.
    panels
        Panel names in the order of their numbers.
    first_segment, end_segment
        The segments ``first:end`` of `segment_coats` that lie under each reading.
    segment_coats
        Standard coats in each segment, shape ``(n_segments,)``.
    segment_panel
        Panel of each segment, shape ``(n_segments,)``, ascending.
    spectral
        Reflectance factor at `wavelength_nm` [1], shape ``(n_readings, n_wavelengths)``; NaN
        without a spectrum.
    lights
        The lights under which Lab was read.
    lab
        CIELAB under each light, shape ``(n_readings, n_lights, 3)``; NaN where not read, and where
        a spectrum says the same in full.
    """

    wavelength_nm: FloatArray
    toners: tuple[str, ...]
    grounds: tuple[str, ...]
    metallic: BoolArray
    readings: tuple[Reading, ...]
    fractions: FloatArray
    rate: FloatArray
    ground: IntArray
    panel: IntArray
    panels: tuple[str, ...]
    first_segment: IntArray
    end_segment: IntArray
    segment_coats: FloatArray
    segment_panel: IntArray
    spectral: FloatArray
    lights: tuple[Light, ...]
    lab: FloatArray

    @property
    def has_spectrum(self) -> BoolArray:
        """Which readings are spectra, shape ``(n_readings,)``."""
        return ~np.isnan(self.spectral[:, 0])

    @property
    def is_film(self) -> BoolArray:
        """Which readings have a toner in their film, shape ``(n_readings,)``."""
        return np.asarray(self.fractions.any(axis=1))

    @property
    def filmed_grounds(self) -> frozenset[int]:
        """Positions of the grounds that films were read over."""
        return frozenset(self.ground[self.is_film].tolist())

    @property
    def middle_letdown(self) -> float:
        """The middle of the letdowns that films were read at, parts of medium to one of blend."""
        read = [float(self.readings[i].medium_parts or 0) for i in np.flatnonzero(self.is_film)]
        return float(2.0 ** np.mean(np.log2(1.0 + np.array(read))) - 1.0) if read else 0.0

    @property
    def most_dose(self) -> FloatArray:
        """Each toner in the film that holds most of it, in standard coats ``(n_toners,)``."""
        film = self.rate * self.films(np.zeros(self.segment_coats.size))
        return np.asarray((self.fractions * film[:, np.newaxis]).max(axis=0))

    @property
    def lab_lights(self) -> tuple[Light, ...]:
        """The lights that this shop reads Lab in; none where it reads spectra."""
        return () if self.has_spectrum.any() else self.lights

    def films(self, log_build: FloatArray) -> FloatArray:
        """Film under each reading in standard coats, from the log build of each segment.

        Parameters
        ----------
        log_build
            Logarithm of each segment's film build [1], shape ``(n_segments,)``.

        Returns
        -------
        [standard coats], shape ``(n_readings,)``.
        """
        grown = np.concatenate([[0.0], np.cumsum(self.segment_coats * np.exp(log_build))])
        return np.asarray(grown[self.end_segment] - grown[self.first_segment])


def observe(
    settings: ShelfSettings, readings: Readings, leave_out: Collection[str] = ()
) -> Observations:
    """Bring readings into arrays.

    Parameters
    ----------
    settings
        Names, kinds of ground.
    readings
        What was read.
    leave_out
        Panels that are not to count.

    Raises
    ------
    FewtoneError
        An unknown panel to leave out; nothing left to learn from; a ground never read bare; a
        toner read too seldom or at one dose only.
    """
    _check_left_out(readings, leave_out)
    items = merge_repeats(
        [item for item in readings.items if item.panel not in leave_out], _MOST_REPEATS
    )
    used = {name for item in items if not item.is_bare for name in item.blend}
    toners = tuple(name for name in settings.toners if name in used)
    seen = dict.fromkeys(item.ground for item in items)
    keyed = [name for name in seen if name not in settings.grounds]
    grounds = (*(name for name in settings.grounds if name in seen), *keyed)
    _check_enough(items, toners, grounds)

    grid, spectral = _spectra(items, readings)
    lights = tuple(sorted({light for item in items for light in item.lab or {}}))
    lab = _labs(items, lights)
    metallic = np.array([settings.is_metallic(name) for name in grounds])
    return _arrange(items, toners, grounds, metallic, grid, spectral, lights, lab)


def observe_as(
    seen: Observations, items: Sequence[Reading], wavelength_nm: FloatArray | None
) -> Observations:
    """Bring other readings into arrays that can stand beside those of a shelf.

    Parameters
    ----------
    seen
        The shelf's observations: their toners, grounds, lights and wavelengths are kept.
    items
        Readings of these toners and grounds in these lights.
    wavelength_nm
        Wavelengths of their spectra [nm], shape ``(n_read,)``; None if there are none.
    """
    blank = np.full(seen.wavelength_nm.size, np.nan)
    onto = None if wavelength_nm is None else resampling(wavelength_nm)
    spectra = [
        blank if item.reflectance is None or onto is None else item.reflectance @ onto
        for item in items
    ]
    return _arrange(
        tuple(items),
        seen.toners,
        seen.grounds,
        seen.metallic,
        seen.wavelength_nm,
        np.stack(spectra),
        seen.lights,
        _labs(items, seen.lights),
    )


def narrow(seen: Observations, rows: IntArray, toners: tuple[int, ...]) -> Observations:
    """Keep some readings, some toners, and the grounds that those readings are over.

    Parameters
    ----------
    seen
        All observations.
    rows
        The readings to keep, ascending, shape ``(n_kept,)``.
    toners
        The toners to keep; no other may have a part in those readings.
    """
    grounds = sorted({int(i) for i in seen.ground[rows]})
    return _arrange(
        tuple(seen.readings[row] for row in rows),
        tuple(seen.toners[i] for i in toners),
        tuple(seen.grounds[i] for i in grounds),
        seen.metallic[grounds],
        seen.wavelength_nm,
        seen.spectral[rows],
        seen.lights,
        seen.lab[rows],
    )


def _arrange(
    items: tuple[Reading, ...],
    toners: tuple[str, ...],
    grounds: tuple[str, ...],
    metallic: BoolArray,
    grid: FloatArray,
    spectral: FloatArray,
    lights: tuple[Light, ...],
    lab: FloatArray,
) -> Observations:
    fractions = np.zeros((len(items), len(toners)))
    for row, item in enumerate(items):
        if not item.is_bare:
            for name, share in item.blend.fractions.items():
                fractions[row, toners.index(name)] = float(share)
    panels = tuple(dict.fromkeys(item.panel for item in items))
    number = {panel: i for i, panel in enumerate(panels)}
    first, end, coats, owner = _segments(items, number)
    return Observations(
        wavelength_nm=grid,
        toners=toners,
        grounds=grounds,
        metallic=metallic,
        readings=items,
        fractions=fractions,
        rate=np.array([_rate(item) for item in items]),
        ground=np.array([grounds.index(item.ground) for item in items], dtype=np.int64),
        panel=np.array([number[item.panel] for item in items], dtype=np.int64),
        panels=panels,
        first_segment=first,
        end_segment=end,
        segment_coats=coats,
        segment_panel=owner,
        spectral=spectral,
        lights=lights,
        lab=lab,
    )


def _rate(item: Reading) -> float:
    return 0.0 if item.is_bare else float(item.load / Fraction(item.coats))


def _labs(items: Sequence[Reading], lights: tuple[Light, ...]) -> FloatArray:
    lab = np.full((len(items), len(lights), 3), np.nan)
    for row, item in enumerate(items):
        if item.reflectance is None:
            for light, values in (item.lab or {}).items():
                lab[row, lights.index(light)] = values
    return lab


def _spectra(items: tuple[Reading, ...], readings: Readings) -> tuple[FloatArray, FloatArray]:
    if readings.wavelength_nm is None or all(item.reflectance is None for item in items):
        return STANDARD_GRID_NM, np.full((len(items), STANDARD_GRID_NM.size), np.nan)
    grid, onto = learning_grid(readings.wavelength_nm), resampling(readings.wavelength_nm)
    blank = np.full(grid.size, np.nan)
    rows = [blank if item.reflectance is None else item.reflectance @ onto for item in items]
    return grid, np.stack(rows)


def _segments(
    items: tuple[Reading, ...], number: dict[str, int]
) -> tuple[IntArray, IntArray, FloatArray, IntArray]:
    """First and end segment of each reading; coats and panel of each segment."""
    steps: list[set[float]] = [set() for _ in number]
    separate = [False] * len(number)
    for item in items:
        if not item.is_bare:
            steps[number[item.panel]].add(float(item.coats))
            separate[number[item.panel]] |= item.separate
    start = np.concatenate([[0], np.cumsum([len(s) for s in steps])]).astype(np.int64)
    first, end = [], []
    for item in items:
        panel = number[item.panel]
        at = int(start[panel])
        below = sum(1 for step in steps[panel] if step <= float(item.coats))
        bare, alone = item.is_bare, separate[panel]
        first.append(at + below - 1 if alone and not bare else at)
        end.append(at if bare else at + below)
    coats = [
        np.array(sorted(each)) if alone else np.diff([0.0, *sorted(each)])
        for each, alone in zip(steps, separate, strict=True)
    ]
    return (
        np.array(first, dtype=np.int64),
        np.array(end, dtype=np.int64),
        np.concatenate(coats),
        np.repeat(np.arange(len(steps)), np.diff(start)),
    )


def _check_left_out(readings: Readings, leave_out: Collection[str]) -> None:
    known = readings.panels
    fix = "To leave a panel out, use the id that stands in the column panel."
    faults = [
        replace(known.fault(name, fix=fix), file=_FILE, column="panel")
        for name in leave_out
        if name not in known
    ]
    if faults:
        raise FewtoneError(*faults)


def _check_enough(
    items: tuple[Reading, ...], toners: tuple[str, ...], grounds: tuple[str, ...]
) -> None:
    if not toners:
        raise FewtoneError(
            Fault(
                "No reading has a toner in it, so there is nothing to learn.",
                fix="Spray one toner at 1, 2, 3 and 4 coats over a ground that is read bare too.",
                file=_FILE,
            )
        )
    faults = []
    for name in grounds:
        over = [item for item in items if item.ground == name]
        if not any(item.is_bare for item in over):
            faults.append(
                Fault(
                    f"The ground {name} was never read bare.",
                    fix=f"Clear a panel of {name} without colour, read it, and add it with blank "
                    "blend and 0 coats.",
                    file=_FILE,
                    row=over[0].row,
                    column="ground",
                    value=name,
                )
            )
    for name in toners:
        with_it = [item for item in items if not item.is_bare and name in item.blend]
        doses = {item.load * item.blend.fractions[name] for item in with_it}
        if len(doses) < _LEAST_DOSES:
            ground, letdown = with_it[0].ground, with_it[0].medium_parts
            count = "once" if len(with_it) == 1 else f"{len(with_it)} times, always at one dose"
            faults.append(
                Fault(
                    f"{name} was read only {count}: its strength cannot be told from the film "
                    "build.",
                    fix=f"Spray {name} at {letdown}:1 over {ground} at another number of coats "
                    "(1, 2, 3 and 4 are best) and add the readings.",
                    file=_FILE,
                    row=with_it[0].row,
                    column="coats",
                    value=str(with_it[0].coats),
                )
            )
    if faults:
        raise FewtoneError(*faults)
