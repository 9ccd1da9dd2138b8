"""Adjusting after a panel, judged in the independent booth.

Source: common practice, no source, for what goes wrong (bottles some 15 % off strength, a gun that
lays 10 % heavy or light, coats that vary by 4 %); the booth's own optics and colorimetry for what
it does to the colour. The panel that is read has its hand's noise and the instrument's; the fresh
panel that is scored has neither, but the gun is as it is from now on.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
from numpy.random import Generator

from booth import Booth, delta_e, lamp_grounds, random_toners
from fewtone.io.readings import load_readings
from fewtone.io.settings import load_settings
from fewtone.learning import estimate
from fewtone.model.curves import Curves
from fewtone.model.recipe import Recipe
from fewtone.model.shelf import ShelfSettings
from fewtone.model.target import Target
from fewtone.typing import FloatArray
from fewtone.workshop.panel.adjust import Adjustment, adjust
from shared import sized

pytestmark = pytest.mark.trial

SEEDS = sized((501, 502), (501, 502, 503, 504))
HEAVY_HAND_SEEDS, HEAVY_HAND = (501, 502), 0.05
JOBS_A_SEED = 50
# So many of these are adjusted where the bar is far away; after a heavy hand all are.
ADJUSTED = sized(25, JOBS_A_SEED)
LEFT_ML, ROOM_ML = 400, 600
BOTTLE_OFF, GUN_OFF = 0.15, 0.10
# What the bench promises.
MOST_RATIO, WITHIN, SHARE_WITHIN, MOST_RETINTED = 0.4, 1.2, 0.90, 0.05
# Only panels that failed are counted: with a heavy hand those are the farthest off.
MOST_RATIO_HEAVY = 0.45


@dataclass(frozen=True)
class Job:
    """One mix: what is written on the cup, and what is really in it and in the gun."""

    recipe: Recipe
    fractions: FloatArray
    strength: FloatArray
    gun: float
    film: float


@dataclass(frozen=True)
class Round:
    """A shelf, its jobs, what they read and what was advised."""

    booth: Booth
    jobs: list[Job]
    target: FloatArray
    before: FloatArray
    advice: list[Adjustment]

    @property
    def after(self) -> FloatArray:
        """True ΔE00 of fresh panels once the advice was followed."""
        doses, grounds = [], []
        for job, advice in zip(self.jobs, self.advice, strict=True):
            medium_parts = float(job.recipe.medium_parts)
            added = {a.component: float(a.ml) for a in advice.additions}
            toners = job.fractions / (1.0 + medium_parts) * LEFT_ML
            toners = toners + np.array([added.get(name, 0.0) for name in self.booth.names])
            whole = LEFT_ML + sum(added.values())
            coats = float(advice.after.recipe.coats)
            doses.append(toners / whole * job.strength * coats * job.gun)
            grounds.append(job.recipe.ground)
        return delta_e(
            self.booth.true_lab(np.array(doses), np.ones(len(doses)), grounds), self.target
        )

    @property
    def retinted(self) -> FloatArray:
        """Whether each job was told to add toner."""
        return np.array(
            [any(a.component != "medium" for a in advice.additions) for advice in self.advice]
        )


def spray(rng: Generator, booth: Booth, *, wrong: bool) -> Job:
    """Mix and spray one job of two or three toners; with `wrong`, bottles and gun are off."""
    size = int(rng.integers(2, 4))
    places = rng.permutation(len(booth.names))[:size]
    parts = rng.integers(1, 5, size)
    coats = int(rng.integers(2, 6))
    recipe = Recipe(
        {booth.names[place]: int(part) for place, part in zip(places, parts, strict=True)},
        int(rng.choice([4, 5, 6, 8])),
        coats,
        str(rng.choice([ground.name for ground in booth.grounds])),
    )
    strength, gun = np.ones(len(booth.names)), 1.0
    if wrong:
        for place in places[: rng.integers(1, 3)]:
            strength[place] = 1.0 + BOTTLE_OFF * float(rng.choice([-1, 1]))
        gun = 1.0 + GUN_OFF * float(rng.choice([-1, 1]))
    blend = {name: float(part) for name, part in recipe.blend.items()}
    hand = booth.single(blend, float(recipe.medium_parts), coats, recipe.ground)
    fractions = booth.fractions(blend)
    return Job(recipe, fractions, strength, gun, hand.build / coats)


def play(
    booth: Booth,
    curves: Curves,
    settings: ShelfSettings,
    rng: Generator,
    *,
    wrong: bool,
    adjusted: int,
) -> Round:
    """Spray the jobs, read one panel of each, and ask what to do with the first ones."""
    jobs = [spray(rng, booth, wrong=wrong) for _ in range(JOBS_A_SEED)]
    fractions = np.array([job.fractions for job in jobs])
    strength = np.array([job.strength for job in jobs])
    load = np.array([float(job.recipe.load) for job in jobs])
    gun = np.array([job.gun for job in jobs])
    film = np.array([job.film for job in jobs])
    grounds = [job.recipe.ground for job in jobs]
    target = booth.true_lab(fractions, load, grounds)
    fresh = booth.true_lab(fractions * strength, load * gun, grounds)
    read = booth.true_lab(fractions * strength, load * gun * film, grounds)
    read = read + booth.lab_noise * rng.standard_normal(read.shape)
    jobs = jobs[:adjusted]
    target, fresh, read = target[:adjusted], fresh[:adjusted], read[:adjusted]
    light, geometry = settings.measurement.light, settings.measurement.geometry
    advice = [
        adjust(
            curves,
            settings,
            job.recipe,
            Target((lab[0], lab[1], lab[2]), light, geometry, "planted"),
            [tuple(panel)],
            left=LEFT_ML,
            room=ROOM_ML,
        )
        for job, lab, panel in zip(jobs, target.tolist(), read.tolist(), strict=True)
    ]
    return Round(booth, jobs, target, delta_e(fresh, target), advice)


@pytest.fixture(scope="module")
def rounds(tmp_path_factory: pytest.TempPathFactory) -> dict[str, list[Round]]:
    """Shelves learnt from spectral readings, then jobs with and without something wrong."""
    found: dict[str, list[Round]] = {"wrong": [], "hand alone": [], "wrong, heavy hand": []}
    for seed in SEEDS:
        rng = np.random.default_rng(seed)
        booth = Booth(random_toners(rng, 10), lamp_grounds(), rng)
        folder: Path = tmp_path_factory.mktemp("booth")
        text = booth.settings_text().replace("[mixing]", "[mixing]\ncup_ml = 5")
        booth.write_shelf(folder, booth.letdown_set(), settings=text)
        settings = load_settings(folder)
        curves = estimate(settings, load_readings(folder, settings)).curves
        found["wrong"].append(play(booth, curves, settings, rng, wrong=True, adjusted=ADJUSTED))
        found["hand alone"].append(
            play(booth, curves, settings, rng, wrong=False, adjusted=ADJUSTED)
        )
        if seed in HEAVY_HAND_SEEDS:
            booth.panel_cv = HEAVY_HAND
            mixing = replace(settings.mixing, panel_cv=HEAVY_HAND)
            heavy = replace(settings, mixing=mixing)
            found["wrong, heavy hand"].append(
                play(booth, curves, heavy, rng, wrong=True, adjusted=JOBS_A_SEED)
            )
    return found


def outcome(rounds: list[Round]) -> tuple[float, float, str]:
    """Ratio of the medians after and before, of jobs worse than 1; share within; in words.

    Of jobs whose panel did not pass: one that did is what was asked for, and nothing is changed.
    """
    failed = np.array([not advice.passes for played in rounds for advice in played.advice])
    before = np.concatenate([played.before for played in rounds])[failed]
    after = np.concatenate([played.after for played in rounds])[failed]
    worse = before > 1.0
    ratio = float(np.median(after[worse]) / np.median(before[worse]))
    within = float(np.mean(after <= WITHIN))
    words = (
        f"{len(before)} jobs whose panel failed, {worse.sum()} of them worse than 1: median "
        f"{np.median(before[worse]):.2f} -> {np.median(after[worse]):.2f} (ratio {ratio:.2f}); "
        f"{within:.1%} of all within {WITHIN}"
    )
    return ratio, within, words


def test_what_is_wrong_is_put_right(
    rounds: dict[str, list[Round]], report_figure: Callable[[str], None]
) -> None:
    """Jobs that start worse than ΔE00 1 end at most 0.4 of that; nine of ten of all within 1.2."""
    ratio, within, words = outcome(rounds["wrong"])
    report_figure(f"adjust, 4 % a coat: {words}")
    assert sum(len(played.jobs) for played in rounds["wrong"]) == ADJUSTED * len(SEEDS)
    assert ratio <= MOST_RATIO
    assert within >= SHARE_WITHIN


def test_a_heavy_hand_hides_much_and_still_helps(
    rounds: dict[str, list[Round]], report_figure: Callable[[str], None]
) -> None:
    """With 5 % a panel on top, which no single panel tells from the gun, the ratio still holds."""
    ratio, _, words = outcome(rounds["wrong, heavy hand"])
    report_figure(f"adjust, 5 % a panel and 4 % a coat: {words}")
    assert ratio <= MOST_RATIO_HEAVY


def test_a_heavy_hand_is_not_tinted_away(
    rounds: dict[str, list[Round]], report_figure: Callable[[str], None]
) -> None:
    """Of jobs with nothing wrong but the hand, at most one in twenty is told to add toner."""
    retinted = np.concatenate([played.retinted for played in rounds["hand alone"]])
    after = np.concatenate([played.after for played in rounds["hand alone"]])
    report_figure(
        f"adjust, nothing wrong: {retinted.mean():.1%} of {len(retinted)} told to add toner, "
        f"{np.mean(after <= WITHIN):.1%} end within {WITHIN}"
    )
    assert len(retinted) == ADJUSTED * len(SEEDS)
    assert retinted.mean() <= MOST_RETINTED


def test_additions_fit_the_cup(rounds: dict[str, list[Round]]) -> None:
    """Additions are whole cup steps, never negative, and never fill the cup over its room."""
    for played in (played for group in rounds.values() for played in group):
        for advice in played.advice:
            assert all(a.ml > 0 and a.ml % 5 == 0 for a in advice.additions)
            assert LEFT_ML + sum(a.ml for a in advice.additions) <= ROOM_ML
            assert (advice.advice == "add") == bool(advice.additions)
