"""A blind set: 68 single slips, each in a shelf of its own.

Run as a script for the figures: ``python -m outside.blind_suspects SEED [KIND ...]`` from tests/. A
seed that nobody has looked at yet is a blind one. Lines tell each shelf; the totals stand at the
end.

How a strip reads before it is cleared is common practice, no source: its dull surface adds white
light, and it holds light that comes from below less well than a smooth clear does.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.random import Generator

from booth import Booth, Step, TrueGround
from booth.optics import reflectance
from outside.suspect_trials import (
    D65,
    SLIPS,
    Cells,
    Slip,
    Told,
    Verdict,
    planted_set,
)

__all__ = ["BLIND", "KINDS", "Kind", "planted"]

MODES: tuple[tuple[str, ...], ...] = ((), (D65,), (D65, "A/10"))


class UnkindBooth(Booth):
    """A booth where some panels are read uncleared."""

    def __init__(self, *told: Any, **more: Any) -> None:
        super().__init__(*told, **more)
        self.uncleared: dict[str, tuple[float, float]] = {}

    def true_spectra(self, steps: Sequence[Step]) -> np.ndarray[Any, np.dtype[np.float64]]:
        """What is read: under clear, or under a dull surface."""
        read = super().true_spectra(steps)
        for row, step in enumerate(steps):
            if step.panel in self.uncleared:
                index, sheen = self.uncleared[step.panel]
                read[row] = (1.0 - sheen) * self._bare_film(step, index) + sheen
        return read

    def _bare_film(self, step: Step, index: float) -> np.ndarray[Any, np.dtype[np.float64]]:
        dose = self.fractions(step.blend) * step.build / (1.0 + (step.medium_parts or 0.0))
        ground = next(ground for ground in self.grounds if ground.name == step.ground)
        assert isinstance(ground, TrueGround)
        read = reflectance(
            (dose @ np.stack([toner.absorption for toner in self.toners]))[np.newaxis],
            ground.reflectance,
            ground.lobe,
            geometry=self.geometry,
            index=index,
            scattering=(dose @ np.stack([toner.scattering for toner in self.toners]))[np.newaxis],
        )
        return np.asarray(read[0])


def _other_letdown(booth: Booth, steps: Sequence[Step]) -> Told:
    """Spray a whole strip at 8:1 and write the 6:1 of all others."""
    panel = str(booth.rng.choice(sorted({step.panel for step in steps if step.coats == 6})))
    sprayed = [
        replace(step, build=step.build * 7 / 9) if step.panel == panel else step for step in steps
    ]
    return sprayed, steps, (panel,)


def _uncleared(booth: Booth, steps: Sequence[Step]) -> Told:
    """Read a whole strip before it is cleared."""
    assert isinstance(booth, UnkindBooth)
    panel = str(booth.rng.choice(sorted({step.panel for step in steps if step.coats == 6})))
    bare = booth.rng.uniform() < 0.5
    booth.uncleared[panel] = (
        (1.0, float(booth.rng.uniform(0.0, 0.02)))
        if bare
        else (booth.film_index, float(booth.rng.uniform(0.01, 0.03)))
    )
    return steps, steps, (panel,)


def _pasted(booth: Booth, rows: list[Cells], steps: Sequence[Step]) -> tuple[str, ...]:
    """Paste the numbers of one film's row onto another's that reads otherwise."""
    film = [i for i, step in enumerate(steps) if step.blend]
    while True:
        one, other = (int(i) for i in booth.rng.choice(film, 2, replace=False))
        numbers = [np.array([float(text) for text in rows[i]]) for i in (one, other)]
        apart = float(np.abs(numbers[0] - numbers[1]).max())
        if steps[one].panel != steps[other].panel and apart > (4.0 if len(rows[0]) <= 6 else 0.04):
            rows[other] = rows[one]
            return (steps[other].panel,)


def _percent(_rng: Generator, cells: Cells) -> Cells:
    """Write one row as factors where all others are percent: the same as a hundredth of it."""
    return [f"{float(text) / 100.0:.6f}" for text in cells]


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of slip, what its name is in the explanation, and how it is planted."""

    slip: Slip
    named: tuple[str, ...]
    count: int
    strips: bool | None = None
    modes: tuple[tuple[str, ...], ...] = MODES


KINDS = {
    "swapped names": Kind(SLIPS["exchanged panels"], ("each other's",), 4, strips=False),
    "another name": Kind(SLIPS["toner of another name"], (", not t", ", not 2 t"), 4, strips=False),
    "wrong ground": Kind(SLIPS["wrong ground"], ("as if over",), 8),
    "coats off by one": Kind(SLIPS["miscounted coat"], ("coat",), 8),
    "digits": Kind(SLIPS["digits exchanged"], ("digits exchanged", "one digit"), 8),
    "sign": Kind(SLIPS["lost sign"], ("the sign",), 6, modes=MODES[1:]),
    "percent": Kind(Slip(number=_percent), ("too low", "percent"), 6, modes=MODES[:1]),
    "another letdown": Kind(Slip(_other_letdown), ("8:1",), 8, strips=True),
    "pasted row": Kind(Slip(rows=_pasted), ("same numbers", "read like", "reads like the"), 8),
    "uncleared": Kind(Slip(_uncleared), ("before it was cleared",), 8, strips=True),
}
BLIND = [(name, n) for name, kind in KINDS.items() for n in range(kind.count)]


def planted(name: str, n: int, seed: int) -> Verdict:
    """Learn the n-th set with a slip of a kind."""
    kind = KINDS[name]
    return planted_set(
        kind.slip,
        kind.modes[n % len(kind.modes)],
        seed + 97 * sorted(KINDS).index(name) + n,
        hazy=3 * (n // 2 % 2),
        strips=bool(n % 2) if kind.strips is None else kind.strips,
        booth=UnkindBooth,
    )


def main(seed: int, only: Sequence[str]) -> None:
    """Print what was found of the blind set."""
    found: dict[str, list[int]] = {}
    false, good, drifts = 0, 0, 0
    for name, n in BLIND:
        if only and name not in only:
            continue
        verdict = planted(name, n, seed)
        said = next((s.explanation for s in verdict.suspects if s.panel in verdict.bad), "")
        named = any(word in said.partition("(nearest")[0] for word in KINDS[name].named)
        figures = found.setdefault(name, [0, 0, 0, 0])
        for i, yes in enumerate((True, bool(said), verdict.found, named)):
            figures[i] += yes
        false += len(verdict.false_alarms)
        good += verdict.panels - len(verdict.bad)
        drifts += bool(verdict.notes)
        shown = [f"{s.explanation} ({s.neg_log10_p:.0f})" for s in verdict.suspects[:4]]
        print(
            name,
            n,
            verdict.bad,
            bool(said),
            verdict.found,
            named,
            shown,
            *verdict.notes,
            flush=True,
        )
    for name, figures in found.items():
        print(f"{name}: of {figures[0]} {figures[1]} found, {figures[2]} first, {figures[3]} named")
    total = np.sum(list(found.values()), axis=0)
    if found:
        print(f"of {total[0]}: {total[1]} found, {total[2]} first, {total[3]} named")
        print(f"false alarms: {false} of {good}, {1000 * false / good:.1f} in 1,000")
        print(f"instruments said to drift: {drifts} of {total[0]}")


if __name__ == "__main__":
    main(int(sys.argv[1]), sys.argv[2:])
