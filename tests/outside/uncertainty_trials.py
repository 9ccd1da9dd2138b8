"""Trials of certainty in the booth: intervals that should cover, panels that should pass."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from booth import Booth, delta_e, random_blends
from fewtone.colorimetry import Light
from fewtone.model.curves import Curves
from fewtone.model.recipe import parse
from fewtone.model.shelf import Measurement, Mixing, ShelfSettings
from fewtone.prediction.pass_probability import pass_probability
from fewtone.prediction.recipes import predict
from invented import lab_target
from outside.learning_trials import TrialSet, run

__all__ = ["Array", "misses", "passes", "passes_of"]

Array = NDArray[np.float64]

D65 = Light("D65", 10)
N_BLENDS, FRESH_BLENDS = 100, 70
MIXING = Mixing(panel_cv=0.05, coat_cv=0.04, pour_cv=0.02)
TOLERANCE = 1.0


def misses(which: TrialSet, seeds: Sequence[int]) -> Array:
    """Misses of predicted Labs in their standard deviations, ``(n_seeds, n_values)``."""
    rows = []
    for seed in seeds:
        trial = run(which, seed)
        booth = trial.booth
        blends = random_blends(np.random.default_rng(1000 + seed), 10, N_BLENDS)
        off = []
        for place, ground in enumerate(booth.grounds):
            lines = [blends.line(i, booth.names, ground.name) for i in range(N_BLENDS)]
            recipes = [parse(line) for line in lines]
            found = predict(trial.learnt.curves, recipes, D65, deviations=True)
            assert found.lab_sd is not None
            truth = booth.true_lab(blends.fractions, blends.load, np.full(N_BLENDS, place))
            off.append((found.lab - truth) / found.lab_sd)
        rows.append(np.concatenate(off).ravel())
    return np.array(rows)


def passes(which: TrialSet, seeds: Sequence[int], times: int = 60) -> tuple[Array, Array]:
    """What was said and what was seen: chances to pass and shares of fresh panels that did."""
    said, seen = [], []
    for seed in seeds:
        trial = run(replace(which, strips=True), seed)
        one = passes_of(trial.booth, trial.learnt.curves, seed, FRESH_BLENDS, times)
        said.append(one[0])
        seen.append(one[1])
    return np.concatenate(said), np.concatenate(seen)


def passes_of(
    booth: Booth, curves: Curves, seed: int, n_blends: int, times: int, mixing: Mixing = MIXING
) -> tuple[Array, Array]:
    """Chances to pass and shares of `times` fresh panels that did, of blends over each ground."""
    said, seen = [], []
    rng = np.random.default_rng(2000 + seed)
    blends = random_blends(rng, 10, n_blends)
    measurement = Measurement(repeat_sd=booth.lab_noise)
    settings = ShelfSettings("booth", measurement, mixing, {}, {}).with_hand(curves.hand)
    for place, ground in enumerate(booth.grounds):
        recipes = [parse(blends.line(i, booth.names, ground.name)) for i in range(n_blends)]
        lab = predict(curves, recipes, D65).lab
        # Targets around what is predicted, near and far.
        away = rng.normal(0.0, 1.0, lab.shape) * rng.uniform(0.0, 1.0, (n_blends, 1))
        fresh = booth.fresh_labs(
            blends, np.full(n_blends, place), times=times, pour_cv=mixing.pour_cv
        )
        for i, recipe in enumerate(recipes):
            chance = pass_probability(
                curves,
                settings,
                [recipe],
                lab_target(lab[i] + away[i], D65),
                TOLERANCE,
            )
            assert chance is not None
            said.append(float(chance[0]))
            seen.append(float((delta_e(fresh[:, i], lab[i] + away[i]) <= TOLERANCE).mean()))
    return np.array(said), np.array(seen)
