"""Instruments whose white or black moves through a session, and steady ones.

Run as a script for the figures: ``python -m outside.drift_trials SEED COUNT`` from tests/; COUNT
shelves of each kind are learnt, and what each foretells of unseen blends is held against the truth.
How much an instrument drifts is common practice, no source.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from booth import Booth, Step, delta_e, lab, random_blends
from fewtone.colorimetry import Light
from fewtone.io.readings import load_readings
from fewtone.io.settings import load_settings
from fewtone.learning import Learnt, estimate
from fewtone.model.recipe import parse
from fewtone.prediction.recipes import predict
from outside.suspect_trials import D65, spray

__all__ = ["KINDS", "DriftingBooth", "drifting_shelf", "names"]

KINDS = ("white", "black", "white at once", "black at once", "steady")
MODES: tuple[tuple[str, ...], ...] = ((), (D65,), (D65, "A/10"))
# How far white moves through a session, as a share, up or down; and black, as reflectance, up: an
# instrument prints nothing below black.
WHITE, BLACK = (0.005, 0.02), (0.002, 0.008)
N_BLENDS = 100


class DriftingBooth(Booth):
    """A booth whose instrument drifts along the rows."""

    def __init__(self, *told: Any, **more: Any) -> None:
        super().__init__(*told, **more)
        self.white, self.black, self.at_once = 0.0, 0.0, False

    def true_spectra(self, steps: Sequence[Step]) -> np.ndarray[Any, np.dtype[np.float64]]:
        """What is read: of late rows by a scale that has moved."""
        read = super().true_spectra(steps)
        along = np.linspace(0.0, 1.0, len(steps))[:, np.newaxis]
        if self.at_once:
            along = (along > self.rng.uniform(0.25, 0.75)).astype(np.float64)
        return np.asarray(read * (1.0 + self.white * along) + self.black * along)


def drifting_shelf(kind: str, n: int, seed: int) -> tuple[DriftingBooth, Learnt]:
    """Learn the n-th shelf of a kind: clear and hazy, panels and strips, spectra and Labs."""
    hazy, strips = 3 * (n // 6 % 2), bool(n % 2)
    booth, steps = spray(seed + 97 * KINDS.index(kind) + n, hazy, strips, DriftingBooth)
    assert isinstance(booth, DriftingBooth)
    sign = float(booth.rng.choice([-1.0, 1.0]))
    if "white" in kind:
        booth.white = sign * float(booth.rng.uniform(*WHITE))
    elif "black" in kind:
        booth.black = float(booth.rng.uniform(*BLACK))
    booth.at_once = "at once" in kind
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        booth.write_shelf(folder, steps, MODES[n % 3])
        settings = load_settings(folder)
        return booth, estimate(settings, load_readings(folder, settings))


def names(kind: str, notes: Sequence[str]) -> bool:
    """Whether one of the notes says that white, or black, moved."""
    return any(f"instrument's {kind.partition(' ')[0]} " in note for note in notes)


def foretold(booth: Booth, shelf: Learnt, seed: int) -> np.ndarray[Any, np.dtype[np.float64]]:
    """ΔE00 of unseen blends over every ground to what the steady instrument would read."""
    blends = random_blends(np.random.default_rng(seed), len(booth.toners), N_BLENDS)
    off = []
    for place, ground in enumerate(booth.grounds):
        read = booth.true_reflectance(
            blends.fractions, booth.true_load(blends), np.full(N_BLENDS, place)
        )
        lines = [parse(blends.line(i, booth.names, ground.name)) for i in range(N_BLENDS)]
        found = predict(shelf.curves, lines, Light("D65", 10))
        off.append(delta_e(found.lab, lab(read, booth.wavelength_nm, D65)))
    return np.concatenate(off)


def main(seed: int, count: int) -> None:
    """Print how many drifts are called by their name, and how often a steady one is accused."""
    for kind in KINDS:
        named, told, off = 0, 0, []
        for n in range(count):
            booth, shelf = drifting_shelf(kind, n, seed)
            notes = [note for note in shelf.report.cautions if "The instrument's " in note]
            named += names(kind, notes)
            told += bool(notes)
            off.append(foretold(booth, shelf, seed + n))
            suspects = [suspect.explanation for suspect in shelf.report.suspects]
            figures = "{:.2f} {:.2f}".format(*np.percentile(off[-1], [50, 90]))
            print(kind, n, booth.white, booth.black, notes, suspects, figures, flush=True)
        median, p90 = np.percentile(np.concatenate(off), [50, 90])
        print(
            f"{kind}: of {count} {told} told, {named} by the right name; unseen blends are off by "
            f"ΔE00 {median:.2f} in the median, {p90:.2f} at 90 %",
            flush=True,
        )


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]))
