"""Trials of doubt in the booth: readings with one slip planted in them, and readings without.

Run as a script for the figures: ``python -m outside.suspect_trials 3`` from tests/, the number
being how many rounds of planted sets are learnt.
"""

from __future__ import annotations

import csv
import sys
import tempfile
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from numpy.random import Generator
from threadpoolctl import threadpool_limits

from booth import Booth, Step, delta_e, lab, lamp_grounds, random_toners
from fewtone.io.readings import load_readings
from fewtone.io.settings import load_settings
from fewtone.learning import Suspect
from fewtone.learning.estimate import judge
from fewtone.learning.observations import observe

__all__ = [
    "D65",
    "IN_STRIPS",
    "SLIPS",
    "Slip",
    "Verdict",
    "clean_set",
    "learn_set",
    "planted_set",
    "spray",
]

D65 = "D65/10"
# A slip is planted where it shows: it changes what the panel should read by at least this [ΔE00].
# One that changes less than a loose tolerance harms no curve.
SHOWS = 2.0
# A slip in one number shows if it is off by this: of a Lab coordinate, of a factor.
LAB_SHOWS, FACTOR_SHOWS = 2.0, 0.02
N_COLUMNS = 5
Cells = list[str]
# Spoils rows of numbers in place; returns the panels that are bad then.
Edit = Callable[[Booth, list[Cells], Sequence[Step]], tuple[str, ...]]


@dataclass(frozen=True, slots=True)
class Verdict:
    """What was planted in a set, and what learning said of it."""

    bad: tuple[str, ...]
    panels: int
    suspects: tuple[Suspect, ...]
    notes: tuple[str, ...] = ()
    # The panels that each toner stands on alone.
    strips: Mapping[str, set[str]] = field(default_factory=dict)

    @property
    def found(self) -> bool:
        """Whether the worst suspect is a bad panel."""
        return bool(self.suspects) and self.suspects[0].panel in self.bad

    @property
    def false_alarms(self) -> list[str]:
        """Good panels that are suspected."""
        return [s.panel for s in self.suspects if s.panel not in self.bad]


def clean_set(lights: Sequence[str], seed: int, *, hazy: int = 0, strips: bool = False) -> Verdict:
    """Learn a set without a slip."""
    booth, steps = spray(seed, hazy, strips)
    return learn_set(booth, steps, steps, lights, ())


def planted_set(
    slip: Slip,
    lights: Sequence[str],
    seed: int,
    *,
    hazy: int = 0,
    strips: bool = False,
    booth: type[Booth] = Booth,
) -> Verdict:
    """Learn a set with one slip."""
    own, steps = spray(seed, hazy, strips, booth)
    if slip.label:
        sprayed, told, bad = slip.label(own, steps)
        return learn_set(own, sprayed, told, lights, bad)
    if slip.rows:
        return learn_set(own, steps, steps, lights, (), slip.rows)
    edit = slip.number
    assert edit is not None

    def spoil(booth: Booth, rows: list[Cells], steps: Sequence[Step]) -> tuple[str, ...]:
        place = int(booth.rng.choice([i for i, step in enumerate(steps) if step.blend]))
        rows[place] = edit(booth.rng, rows[place])
        return (steps[place].panel,)

    return learn_set(own, steps, steps, lights, (), spoil)


def spray(
    seed: int, hazy: int, strips: bool, kind: type[Booth] = Booth
) -> tuple[Booth, list[Step]]:
    """Spray ten toners alone, as strips of one hand or as panels, and ten blends."""
    rng = np.random.default_rng(seed)
    booth = kind(
        random_toners(rng, 10, hazy=hazy), lamp_grounds(), rng, panel_cv=0.05 if strips else 0.0
    )
    steps = booth.letdown_set(strips=strips)
    for i in range(0, 10, 2):
        blend = {f"t{i}": 2, f"t{(i + 3) % 10}": 1}
        steps += [booth.single(blend, 6, 3, ground) for ground in ("brass", "graphite")]
    return booth, steps


def learn_set(
    booth: Booth,
    sprayed: Sequence[Step],
    told: Sequence[Step],
    lights: Sequence[str],
    bad: tuple[str, ...],
    edit: Edit | None = None,
) -> Verdict:
    """Write a set down, spoil some rows of its numbers, and learn it."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        booth.write_shelf(folder, sprayed, lights, told=told)
        if edit:
            file = folder / "readings.csv"
            with file.open(encoding="utf-8", newline="") as opened:
                rows = list(csv.reader(opened))
            numbers = [row[N_COLUMNS:] for row in rows[1:]]
            bad = edit(booth, numbers, sprayed)
            rows[1:] = [
                [*row[:N_COLUMNS], *own] for row, own in zip(rows[1:], numbers, strict=True)
            ]
            with file.open("w", encoding="utf-8", newline="") as opened:
                csv.writer(opened, lineterminator="\n").writerows(rows)
        settings = load_settings(folder)
        readings = load_readings(folder, settings)
    # As `estimate` does it, without what it suggests to spray next.
    with threadpool_limits(limits=1, user_api="blas"):
        judged = judge(settings, readings, observe(settings, readings))
    found = judged.diagnosis
    notes = () if found.drift is None else (str(found.drift),)
    strips: dict[str, set[str]] = {}
    for step in told:
        if len(step.blend) == 1:
            strips.setdefault(next(iter(step.blend)), set()).add(step.panel)
    return Verdict(bad, len(judged.problem.seen.panels), found.suspects, notes, strips)


# ---- slips of the label

Told = tuple[Sequence[Step], Sequence[Step], tuple[str, ...]]


def _one(booth: Booth, steps: Sequence[Step], wrong: Callable[[Generator, Step], Step]) -> Told:
    """Mislabel one film so that it shows."""
    film = [i for i, step in enumerate(steps) if step.blend]
    while True:
        place = int(booth.rng.choice(film))
        told = wrong(booth.rng, steps[place])
        if _apart(booth, steps[place], told) >= SHOWS:
            return steps, [*steps[:place], told, *steps[place + 1 :]], (told.panel,)


def _apart(booth: Booth, one: Step, other: Step) -> float:
    """ΔE00 between what two labels stand for."""
    pair = [replace(step, build=float(step.coats)) for step in (one, other)]
    colours = lab(booth.true_spectra(pair), booth.wavelength_nm, D65)
    return float(delta_e(colours[0], colours[1]))


def _miscounted(booth: Booth, steps: Sequence[Step]) -> Told:
    return _one(
        booth,
        steps,
        lambda rng, step: replace(step, coats=max(step.coats + int(rng.choice([-1, 1])), 1)),
    )


def _wrong_ground(booth: Booth, steps: Sequence[Step]) -> Told:
    names = [ground.name for ground in booth.grounds]

    def wrong(rng: Generator, step: Step) -> Step:
        return replace(step, ground=str(rng.choice([n for n in names if n != step.ground])))

    return _one(booth, steps, wrong)


def _misnamed(booth: Booth, steps: Sequence[Step]) -> Told:
    def wrong(rng: Generator, step: Step) -> Step:
        gone = str(rng.choice(list(step.blend)))
        other = str(rng.choice([name for name in booth.names if name not in step.blend]))
        blend = {other if name == gone else name: part for name, part in step.blend.items()}
        return replace(step, blend=blend)

    return _one(booth, steps, wrong)


def _exchanged(booth: Booth, steps: Sequence[Step]) -> Told:
    film = [i for i, step in enumerate(steps) if step.blend]
    while True:
        one, other = (int(i) for i in booth.rng.choice(film, 2, replace=False))
        if _apart(booth, steps[one], steps[other]) >= SHOWS:
            break
    told = list(steps)
    told[one] = replace(steps[other], panel=steps[one].panel)
    told[other] = replace(steps[one], panel=steps[other].panel)
    return steps, told, (steps[one].panel, steps[other].panel)


def _contradictory(booth: Booth, steps: Sequence[Step]) -> Told:
    """Spray one recipe again, a third too heavy or too light, and call it the same."""
    film = [step for step in steps if step.blend]
    while True:
        twin = film[int(booth.rng.integers(len(film)))]
        again = booth.single(twin.blend, 6, int(twin.coats), twin.ground)
        off = float(booth.rng.choice([0.67, 1.5]))
        heavy = replace(again, build=again.build * off)
        if _apart(booth, twin, replace(twin, coats=twin.coats * off)) >= SHOWS:
            both = [*steps, heavy]
            return both, both, (again.panel,)


def _wrong_step(booth: Booth, steps: Sequence[Step]) -> Told:
    """Exchange two steps of one strip."""
    strips = [step for step in steps if step.blend and step.coats in (1, 2, 3)]
    while True:
        first = strips[int(booth.rng.integers(len(strips)))]
        own = [i for i, step in enumerate(steps) if step.panel == first.panel]
        if len(own) < 2:
            continue
        one, other = (int(i) for i in booth.rng.choice(own, 2, replace=False))
        if _apart(booth, steps[one], steps[other]) >= SHOWS:
            told = list(steps)
            told[one] = replace(steps[one], coats=steps[other].coats)
            told[other] = replace(steps[other], coats=steps[one].coats)
            return steps, told, (first.panel,)


def _shifted_strip(booth: Booth, steps: Sequence[Step]) -> Told:
    """Forget the first coat of a strip in counting."""
    panels = [step.panel for step in steps if step.blend and step.coats == 6]
    panel = str(booth.rng.choice(panels))
    told = [replace(s, coats=s.coats + 1) if s.panel == panel else s for s in steps]
    return steps, told, (panel,)


# ---- slips of the number


def _some(
    rng: Generator, cells: Cells, ways: Callable[[str], Iterable[str]], from_: int = 0
) -> Cells:
    """Spoil one number in one of the ways, so that it shows."""
    shows = LAB_SHOWS if len(cells) <= 6 else FACTOR_SHOWS
    found = [
        (i, way)
        for i, text in enumerate(cells)
        for way in ways(text)
        if i % 3 >= from_ and abs(float(way) - float(text)) >= shows
    ]
    if not found:
        return _some(rng, cells, _one_digit)
    i, way = found[int(rng.integers(len(found)))]
    return [*cells[:i], way, *cells[i + 1 :]]


def _turned(text: str) -> list[str]:
    return [
        text[:i] + text[i + 1] + text[i] + text[i + 2 :]
        for i in range(len(text) - 1)
        if text[i].isdigit() and text[i + 1].isdigit()
    ]


def _one_digit(text: str) -> list[str]:
    # A Lab is printed with two decimals, a factor with more.
    largest = 100.0 if len(text.partition(".")[2]) == 2 else 2.4
    return [
        text[:i] + digit + text[i + 1 :]
        for i, character in enumerate(text)
        if character.isdigit()
        for digit in "0123456789"
        if abs(float(text[:i] + digit + text[i + 1 :])) < largest
    ]


def _transposed(rng: Generator, cells: Cells) -> Cells:
    return _some(rng, cells, _turned)


def _lost_sign(rng: Generator, cells: Cells) -> Cells:
    """Turn the sign of an a or b; a spectrum has none to lose: a digit goes wrong."""
    if len(cells) > 6:
        return _some(rng, cells, _one_digit)
    return _some(rng, cells, lambda text: [text[1:] if text[0] == "-" else "-" + text], from_=1)


def _point(rng: Generator, cells: Cells) -> Cells:
    def ways(text: str) -> list[str]:
        moved = [float(text) * 10.0, float(text) / 10.0]
        largest = 100.0 if len(cells) <= 6 else 2.4
        return [f"{value:.5f}".rstrip("0") for value in moved if abs(value) < largest]

    return _some(rng, cells, ways)


def _rescaled(rng: Generator, cells: Cells) -> Cells:
    """Write a whole row on another scale; one that reads like percent is refused on reading."""
    values = np.array([float(text) for text in cells])
    factors = [0.01, 0.1, 1.15, 10.0, 100.0]
    fitting = [f for f in factors if np.abs(values * f).max() < (100 if len(cells) <= 6 else 2.4)]
    factor = float(rng.choice([f for f in fitting if f != 1.15] if len(cells) <= 6 else fitting))
    return [f"{value:.6f}" for value in values * factor]


@dataclass(frozen=True, slots=True)
class Slip:
    """A slip of the label, of a row's numbers, or of several rows."""

    label: Callable[[Booth, Sequence[Step]], Told] | None = None
    number: Callable[[Generator, Cells], Cells] | None = None
    rows: Edit | None = None


SLIPS = {
    "miscounted coat": Slip(_miscounted),
    "wrong ground": Slip(_wrong_ground),
    "toner of another name": Slip(_misnamed),
    "exchanged panels": Slip(_exchanged),
    "contradictory duplicate": Slip(_contradictory),
    "exchanged steps": Slip(_wrong_step),
    "miscounted strip": Slip(_shifted_strip),
    "digits exchanged": Slip(number=_transposed),
    "lost sign": Slip(number=_lost_sign),
    "decimal point": Slip(number=_point),
    "row on another scale": Slip(number=_rescaled),
}
IN_STRIPS = ("exchanged steps", "miscounted strip")


def main() -> None:
    """Print what was found."""
    for lights in ((), (D65,), (D65, "A/10")):
        found, false, good = 0, 0, 0
        for seed in range(int(sys.argv[1])):
            for n, kind in enumerate(SLIPS):
                verdict = planted_set(
                    SLIPS[kind],
                    lights,
                    100 * seed + n,
                    hazy=3 * (seed % 2),
                    strips=kind in IN_STRIPS,
                )
                found += verdict.found
                false += len(verdict.false_alarms)
                good += verdict.panels - len(verdict.bad)
                said = [
                    f"{s.explanation} ({s.neg_log10_p:.0f}, {s.de00:.1f})" for s in verdict.suspects
                ]
                print(kind, verdict.bad, verdict.found, said[:4], flush=True)
            for strips in (False, True):
                verdict = clean_set(lights, 100 * seed + 50, hazy=3 * (seed % 2), strips=strips)
                false += len(verdict.false_alarms)
                good += verdict.panels
                print("clean", [s.explanation for s in verdict.suspects], flush=True)
        print(f"{lights or 'spectral'}: {found} found; {false} false alarms of {good}", flush=True)


if __name__ == "__main__":
    main()
