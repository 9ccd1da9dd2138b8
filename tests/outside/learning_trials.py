"""Trials of learning in the booth: learn a shelf, predict blends that were never sprayed.

Run as a script for the full table: ``python -m outside.learning_trials 6`` from tests/, the number
being how many seeds are pooled.
"""

from __future__ import annotations

import hashlib
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from booth import Booth, delta_e, lamp_grounds, other_toners, random_blends, random_toners
from fewtone.colorimetry import Light
from fewtone.io.readings import load_readings
from fewtone.io.settings import load_settings
from fewtone.learning import Learnt, estimate
from fewtone.model.recipe import parse
from fewtone.prediction.forward import lab_of, reflectance
from shared import shared

__all__ = ["SETS", "Trial", "TrialSet", "pooled", "run", "strip_floor"]

N_BLENDS = 300
D65 = "D65/10"
# How much heavier or lighter than usual a whole strip is sprayed, and how many a toner is read on.
PANEL_CV, STRIPS_PER_TONER = 0.05, 2


@dataclass(frozen=True, slots=True)
class TrialSet:
    """One kind of shelf: what is read, how many of ten toners scatter, what absorbers, what hand.

    `letdowns` are those of the panels over white and over silver. `more` are five panels sprayed
    after a first learning, and learnt with the rest: those that it suggested, or random blends.
    `must` are the bars for the pooled ΔE00, median and 90th percentile.
    """

    lights: tuple[str, ...] = ()
    hazy: int = 0
    other: bool = False
    strips: bool = False
    more: Literal["suggested", "random"] | None = None
    letdowns: tuple[int, int] = (6, 6)
    must: tuple[float, float] = (0.0, 0.0)


SETS = {
    "spectral": TrialSet(must=(0.13, 0.30)),
    "spectral, three hazy": TrialSet(hazy=3, must=(0.17, 0.40)),
    "Lab": TrialSet((D65,), must=(0.26, 0.78)),
    "Lab and five random panels": TrialSet((D65,), more="random", must=(0.23, 0.68)),
    "Lab and the five suggested": TrialSet((D65,), more="suggested", must=(0.21, 0.54)),
    "Lab, three hazy": TrialSet((D65,), hazy=3, must=(0.28, 0.78)),
    "Lab under D65 and A": TrialSet((D65, "A/10"), must=(0.18, 0.42)),
    "spectral, other absorbers": TrialSet(other=True, must=(0.12, 0.30)),
    "Lab, other absorbers": TrialSet((D65,), other=True, must=(0.31, 1.00)),
    "spectral, strips of a 5 % hand": TrialSet(strips=True, must=(0.50, 1.30)),
}


@dataclass(frozen=True, slots=True)
class Trial:
    """A learnt booth and ΔE00 of its predictions to the truth ``(n_grounds, n_blends)``."""

    booth: Booth
    learnt: Learnt
    off: NDArray[np.float64]


def run(which: TrialSet, seed: int) -> Trial:
    """Spray, read and learn one shelf; predict blends of one to three toners over all grounds."""
    told = hashlib.sha256(repr(which).encode()).hexdigest()[:16]
    return shared(f"learning-{told}-{seed}", lambda: _run(which, seed))


def _run(which: TrialSet, seed: int) -> Trial:
    rng = np.random.default_rng(seed)
    make = other_toners if which.other else random_toners
    booth = Booth(
        make(rng, 10, hazy=which.hazy),
        lamp_grounds(),
        rng,
        panel_cv=PANEL_CV if which.strips else 0.0,
    )
    steps = booth.letdown_set(strips=which.strips, medium_parts=which.letdowns)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        booth.write_shelf(folder, steps, which.lights)
        learnt = _learn(folder)
        blends = random_blends(rng, 10, N_BLENDS)
        if which.more:
            _spray_more(booth, folder, which, learnt)
            learnt = _learn(folder)
    grounds = [ground.name for ground in booth.grounds]
    truth = booth.true_lab(blends.fractions[:, None], blends.load[:, None], np.arange(len(grounds)))
    curves = learnt.curves
    fractions = np.zeros_like(blends.fractions)
    fractions[:, [curves.toners.index(toner) for toner in booth.names]] = blends.fractions
    off = []
    for place, ground in enumerate(grounds):
        over = np.full(N_BLENDS, curves.grounds.index(ground))
        film = reflectance(curves, fractions * blends.load[:, None], over)
        off.append(delta_e(lab_of(curves, film, Light("D65", 10)), truth[:, place]))
    return Trial(booth, learnt, np.array(off))


def _learn(folder: Path) -> Learnt:
    settings = load_settings(folder)
    return estimate(settings, load_readings(folder, settings))


def _spray_more(booth: Booth, folder: Path, which: TrialSet, learnt: Learnt) -> None:
    """Spray and read five more panels, and add their rows to the readings that are there."""
    told = learnt.report.spray_next
    lines, coats = [str(panel.recipe) for panel in told], [panel.coats for panel in told]
    if which.more == "random":
        rng, names = booth.rng, [ground.name for ground in booth.grounds]
        blends = random_blends(rng, len(booth.names), len(lines))
        lines = [blends.line(i, booth.names, rng.choice(names)) for i in range(len(lines))]
        coats = [(int(parse(line).coats),) for line in lines]
    panels = [
        step
        for recipe, read in zip(map(parse, lines), coats, strict=True)
        for step in booth.strip(
            {name: int(part) for name, part in recipe.blend.items()},
            int(recipe.medium_parts),
            read,
            recipe.ground,
        )
    ]
    booth.write_readings(folder / "more.csv", panels, which.lights)
    with (folder / "readings.csv").open("a", encoding="utf-8") as file:
        file.writelines((folder / "more.csv").read_text(encoding="utf-8").splitlines(True)[1:])


def pooled(which: TrialSet, seeds: Sequence[int]) -> tuple[float, float]:
    """Median and 90th percentile of ΔE00 over several seeds."""
    off = np.concatenate([run(which, seed).off for seed in seeds], axis=1)
    median, p90 = np.percentile(off, [50, 90])
    return float(median), float(p90)


def strip_floor(seeds: Sequence[int]) -> tuple[float, float]:
    """Median and 90th percentile of ΔE00 that strips leave, whatever is made of their readings.

    All steps of a strip share its hand, so no reading tells a strong toner from a heavy hand: even
    of perfect curves each toner's strength stays off by the mean of its strips' factors.
    """
    off = []
    for seed in seeds:
        rng = np.random.default_rng(seed)
        booth = Booth(random_toners(rng, 10), lamp_grounds(), rng)
        blends = random_blends(rng, 10, N_BLENDS)
        hands = rng.normal(0.0, PANEL_CV, (STRIPS_PER_TONER, 10))
        grounds = np.arange(len(booth.grounds))
        truth, found = (
            booth.true_lab(mix[:, None], blends.load[:, None], grounds)
            for mix in (blends.fractions, blends.fractions * np.exp(hands).mean(axis=0))
        )
        off.append(delta_e(truth, found))
    median, p90 = np.percentile(off, [50, 90])
    return float(median), float(p90)


def main() -> None:
    """Print the table."""
    seeds = range(1, 1 + int(sys.argv[1]))
    for name, which in SETS.items():
        median, p90 = pooled(which, seeds)
        print(f"{name:32s} {median:.3f} / {p90:.3f}", flush=True)
    print("floor of two strips a toner: {:.3f} / {:.3f}".format(*strip_floor(seeds)))


if __name__ == "__main__":
    main()
