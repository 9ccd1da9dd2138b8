"""Instruments whose white or black moves through a session, and steady ones.

Run as a script for the figures: ``python -m outside.drift_trials SEED COUNT`` from tests/; COUNT
shelves of each kind are learnt. How much an instrument drifts is common practice, no source.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import Any

import numpy as np

from booth import Booth, Step
from outside.suspect_trials import D65, Verdict, learn_set, spray

__all__ = ["KINDS", "DriftingBooth", "drifting_set", "names"]

KINDS = ("white", "black", "white at once", "black at once", "steady")
MODES: tuple[tuple[str, ...], ...] = ((), (D65,), (D65, "A/10"))
# How far white moves through a session, as a share, and black, as reflectance.
WHITE, BLACK = (0.005, 0.02), (0.002, 0.008)


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


def drifting_set(kind: str, n: int, seed: int) -> Verdict:
    """Learn the n-th set of a kind: clear and hazy, panels and strips, spectra and Labs."""
    hazy, strips = 3 * (n // 6 % 2), bool(n % 2)
    booth, steps = spray(seed + 97 * KINDS.index(kind) + n, hazy, strips, DriftingBooth)
    assert isinstance(booth, DriftingBooth)
    sign = float(booth.rng.choice([-1.0, 1.0]))
    if "white" in kind:
        booth.white = sign * float(booth.rng.uniform(*WHITE))
    elif "black" in kind:
        booth.black = sign * float(booth.rng.uniform(*BLACK))
    booth.at_once = "at once" in kind
    return learn_set(booth, steps, steps, MODES[n % 3], ())


def names(kind: str, notes: Sequence[str]) -> bool:
    """Whether one of the notes says that white, or black, moved."""
    return any(f"instrument's {kind.partition(' ')[0]} " in note for note in notes)


def main(seed: int, count: int) -> None:
    """Print how many drifts are called by their name, and how often a steady one is accused."""
    for kind in KINDS:
        named, told = 0, 0
        for n in range(count):
            verdict = drifting_set(kind, n, seed)
            named += names(kind, verdict.notes)
            told += bool(verdict.notes)
            print(kind, n, verdict.notes, [s.explanation for s in verdict.suspects], flush=True)
        print(f"{kind}: of {count} {told} told, {named} by the right name", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]))
