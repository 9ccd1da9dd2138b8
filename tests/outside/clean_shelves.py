"""Clean shelves of every kind: nobody is suspected, and no advice breaks one.

Run as a script for the figures: ``python -m outside.clean_shelves 40 [N ...]`` from tests/, the
first number being how many shelves of each kind are learnt, the others which of the eight kinds.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from booth import Booth, Step
from outside.suspect_trials import D65, Verdict, learn_set, spray

__all__ = ["KINDS", "breaks", "clean_shelf"]

LIGHTS: dict[str, tuple[str, ...]] = {"spectral": (), "Lab": (D65,)}
# How each toner's steps over a ground are sprayed, and how many of ten toners scatter.
KINDS = [
    (lights, how, hazy) for lights in LIGHTS for how in ("strip", "separate") for hazy in (0, 3)
]


def clean_shelf(lights: str, how: str, hazy: int, seed: int) -> Verdict:
    """Learn a shelf without any error, whose panels come out 5 % heavy or light, as it is told."""
    booth, steps = spray(seed, hazy, strips=True)
    if how == "separate":
        steps = _afresh(booth, steps)
    return learn_set(booth, steps, steps, LIGHTS[lights], ())


def _afresh(booth: Booth, steps: Sequence[Step]) -> list[Step]:
    """The steps of each panel id as panels of their own: one hand, and every coat drawn afresh."""
    hands: dict[str, float] = {}
    again = []
    for step in steps:
        hand = hands.setdefault(step.panel, float(np.exp(booth.panel_cv * booth.rng.normal())))
        coats = np.exp(booth.coat_cv * booth.rng.normal(size=int(step.coats)))
        again.append(replace(step, build=hand * float(coats.sum())))
    return again


def breaks(verdict: Verdict) -> bool:
    """Whether the panels that may be left out, all of them together, take a toner's readings away.

    Counted here by the booth's own book: a toner must keep one of its two strips.
    """
    out = {suspect.panel for suspect in verdict.suspects if suspect.removable}
    return any(strips <= out for strips in verdict.strips.values())


def main(count: int, only: Sequence[int]) -> None:
    """Print false alarms, broken shelves and steady instruments that are accused, of each kind."""
    for n in only or range(len(KINDS)):
        lights, how, hazy = KINDS[n]
        alarms, panels, broken, drifts = 0, 0, 0, 0
        for seed in range(count):
            verdict = clean_shelf(lights, how, hazy, 60_000 + 1000 * n + seed)
            alarms += len(verdict.suspects)
            panels += verdict.panels
            broken += breaks(verdict)
            drifts += bool(verdict.notes)
            for note in verdict.notes:
                print(f"  {note}", flush=True)
            for suspect in verdict.suspects:
                print(f"  {suspect.explanation} ({suspect.neg_log10_p:.1f})", flush=True)
        print(
            f"{lights}, {how}, {hazy} hazy: {alarms} false alarms of {panels} panels, "
            f"{1000 * alarms / panels:.1f} in 1,000; {broken} of {count} broken, "
            f"{drifts} said to drift",
            flush=True,
        )


if __name__ == "__main__":
    main(int(sys.argv[1]), [int(text) for text in sys.argv[2:]])
