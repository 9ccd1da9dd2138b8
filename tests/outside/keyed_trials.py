"""Trials of keyed grounds in the booth: predicted from their parents, read, then sprayed over.

Run as a script for the table: ``python -m outside.keyed_trials 6`` from tests/, the number being
how many seeds are pooled; ``--lab`` for readings of Lab alone, ``--from`` for the first seed. Seeds
100 to 123 set the constants of `fewtone.prediction.keyed`, 901 to 905 those of learning, 2001 to
2024 and 2101 to 2124 those of `fewtone.optics.opaque`, 1401 to 1412 what was chosen between:
quote others.
"""

from __future__ import annotations

import argparse
import itertools
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2

from booth import Booth, PaintGround, Step, delta_e, keyed, random_blends, random_paints
from booth.dyes import random_toners
from fewtone.colorimetry import Light
from fewtone.io.readings import load_readings
from fewtone.io.settings import load_settings
from fewtone.learning import estimate
from fewtone.model.curves import Curves
from fewtone.prediction.forward import lab_of, reflectance, reflectance_derivatives
from fewtone.prediction.keyed import with_keyed
from fewtone.prediction.uncertainty import lab_deviations, reflectance_deviations

__all__ = ["Bare", "KeyedTrial", "run"]

Array = NDArray[np.float64]

D65 = Light("D65", 10)
N_TONERS, N_BLENDS, READ = 6, 60, 3
COATS = (1, 2, 3, 4)
PARTS = ((1, 1), (2, 1), (1, 2), (3, 1), (1, 3), (3, 2), (2, 3))


@dataclass(frozen=True, slots=True)
class Bare:
    """Bare mixes against what is predicted: ΔE00, and whether they lie in the 95 % region."""

    off: Array
    inside: NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class KeyedTrial:
    """One booth, three states of knowledge.

    `unread` is of all mixes with only their parents learnt; `read` of some once they were read
    bare, `others` of those still unread then. `blends` holds ΔE00 of unseen blends over the mixes
    that were read bare, `sprayed` after one strip over each, `ordinary` over the parents.
    """

    unread: Bare
    read: Bare
    others: Bare
    blends: Array
    sprayed: Array
    ordinary: Array


def run(seed: int, lights: Sequence[str] = (), *, strips: bool = True) -> KeyedTrial:
    """Spray, read and learn a shelf of four parents; then three of its mixes, with `strips` too."""
    rng = np.random.default_rng(seed)
    paints = random_paints(rng)
    names = [paint.name for paint in paints]
    mixes = [
        keyed({a: p, b: q}, paints) for a, b in itertools.combinations(names, 2) for p, q in PARTS
    ]
    parents = [keyed({name: 1}, paints) for name in names]
    booth = Booth(random_toners(rng, N_TONERS), [*parents, *mixes], rng)
    steps = _shelf(booth, names)
    curves = _learnt(booth, steps, lights, seed)
    unread = _bare(booth, curves, mixes)
    # Mixes with flake in them, of different parents: those that are keyed in earnest.
    order = rng.permutation(len(mixes))
    flaked = [mixes[i] for i in order if mixes[i].kind == "metallic"]
    chosen: list[PaintGround] = []
    for mix in flaked:
        if all({p.name for p, _ in mix.of} != {p.name for p, _ in c.of} for c in chosen):
            chosen.append(mix)
    chosen = chosen[:READ]
    steps += [step for mix in chosen for step in booth.bare(mix.name)]
    curves = _learnt(booth, steps, lights, seed)
    read = _bare(booth, curves, chosen)
    others = _bare(booth, curves, [mix for mix in mixes if mix not in chosen])
    blends = _blends(booth, curves, chosen)
    if not strips:
        parents_blends = _blends(booth, curves, parents)
        return KeyedTrial(unread, read, others, blends, np.empty(0), parents_blends)
    for toner, mix in zip(rng.permutation(booth.names), chosen, strict=False):
        steps += booth.strip({str(toner): 1}, 6, COATS, mix.name)
    curves = _learnt(booth, steps, lights, seed)
    sprayed, ordinary = _blends(booth, curves, chosen), _blends(booth, curves, parents)
    return KeyedTrial(unread, read, others, blends, sprayed, ordinary)


def _shelf(booth: Booth, parents: Sequence[str]) -> list[Step]:
    steps = [step for name in parents for step in booth.bare(name)]
    for toner in booth.names:
        for ground in ("silver", "neutral"):
            steps += [booth.single({toner: 1}, 6, coats, ground) for coats in COATS]
    # Every parent is a ground in use: a blend was sprayed over each.
    for ground in parents:
        steps += booth.strip({booth.names[0]: 1, booth.names[-1]: 1}, 6, COATS, ground)
    return steps


def _learnt(booth: Booth, steps: Sequence[Step], lights: Sequence[str], seed: int) -> Curves:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        # The same readings each time: what is added is read after them.
        kept, booth.rng = booth.rng, np.random.default_rng([seed, 7])
        booth.write_shelf(folder, steps, lights)
        booth.rng = kept
        settings = load_settings(folder)
        return estimate(settings, load_readings(folder, settings)).curves


def _bare(booth: Booth, curves: Curves, mixes: Sequence[PaintGround]) -> Bare:
    names = [mix.name for mix in mixes]
    truth = booth.true_lab(np.zeros(N_TONERS), 0.0, names)
    wide = with_keyed(curves, names)
    ground = np.array([wide.grounds.index(name) for name in names])
    doses = np.zeros((len(names), len(wide.toners)))
    film = reflectance_derivatives(wide, doses, ground)
    off = reflectance_deviations(wide, film, doses, ground)
    assert off is not None
    bent = lab_deviations(wide, film.reflectance, off, D65)
    lab = lab_of(wide, film.reflectance, D65)
    covariance = bent.swapaxes(1, 2) @ bent
    miss = truth - lab
    square = np.einsum("ni,nij,nj->n", miss, np.linalg.inv(covariance), miss)
    return Bare(delta_e(lab, truth), square <= chi2.ppf(0.95, 3))


def _blends(booth: Booth, curves: Curves, grounds: Sequence[PaintGround]) -> Array:
    blends = random_blends(np.random.default_rng(17), N_TONERS, N_BLENDS)
    fractions = np.zeros_like(blends.fractions)
    fractions[:, [curves.toners.index(name) for name in booth.names]] = blends.fractions
    doses, off = fractions * blends.load[:, None], []
    for ground in grounds:
        film = reflectance(curves, doses, np.full(N_BLENDS, curves.grounds.index(ground.name)))
        truth = booth.true_lab(blends.fractions, blends.load, ground.name)
        off.append(delta_e(lab_of(curves, film, D65), truth))
    return np.concatenate(off)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("seeds", type=int)
    parser.add_argument("--lab", action="store_true")
    parser.add_argument("--from", type=int, default=1, dest="first")
    asked = parser.parse_args()
    lights = ("D65/10",) if asked.lab else ()
    trials = []
    for seed in range(asked.first, asked.first + asked.seeds):
        trials.append(run(seed, lights))
        print(f"seed {seed}: {_line(trials[-1:])}", flush=True)
    print(f"pooled: {_line(trials)}")


def _line(trials: Sequence[KeyedTrial]) -> str:
    words = []
    for what in ("unread", "read", "others"):
        found = [getattr(trial, what) for trial in trials]
        off = np.concatenate([bare.off for bare in found])
        inside = np.concatenate([bare.inside for bare in found]).mean()
        words.append(
            "{} {:.2f}/{:.2f} in {:.2f}".format(what, *np.percentile(off, [50, 90]), inside)
        )
    for what in ("blends", "sprayed", "ordinary"):
        off = np.concatenate([getattr(trial, what) for trial in trials])
        words.append("{} {:.2f}/{:.2f}".format(what, *np.percentile(off, [50, 90])))
    return "  ".join(words)


if __name__ == "__main__":
    main()
