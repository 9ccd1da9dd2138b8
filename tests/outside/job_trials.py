"""Whole jobs sprayed in the booth: match, spray, read, follow `adjust`, until a panel passes.

The hand of a job is drawn beforehand: whoever sprays it, by whatever advice, pours the first cup
with the same errors and sprays the k-th panel as heavily and reads it as far off. So two ways of
working are told apart by far fewer jobs, and the *floor* belongs to the same run: someone who
knows the true recipe, mixes it, and sprays it again until a panel passes.

Source: common practice, no source, for the hand (5 % a panel, 4 % a coat, 2 % a pour) and for what
a cup holds; the booth's own optics and colorimetry for what it does to the colour.
"""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

import fewtone
from booth import Booth, delta_e, lamp_grounds, random_toners
from fewtone import FewtoneError, Recipe, Shelf

__all__ = [
    "KINDS",
    "MOST_PANELS",
    "Job",
    "Outcome",
    "Panel",
    "Way",
    "World",
    "floor",
    "follow",
    "make_jobs",
    "make_world",
]

Array = NDArray[np.float64]
Way = Literal["headline", "surest", "closest", "respray"]

KINDS: dict[str, tuple[str, ...]] = {"spectral": (), "Lab": ("D65/10",)}
"""What is read of a shelf's strips: lights, none for spectra."""

N_TONERS, PANEL_CV, COAT_CV, POUR_CV, READ_SD = 10, 0.05, 0.04, 0.02, 0.1
TOLERANCE, MOST_PANELS, MOST_COATS = 1.0, 6, 12
DARKEST = 10.0  # below, ΔE00 sees little and readings less
MIX_ML, ROOM_ML, PANEL_ML, STEP_ML = 400.0, 600.0, 25.0, 5
# Fresh panels that tell how often a mix truly passes: .04 on one mix.
FRESH = 150
# A change of the true chance by less is within the draws of those panels, which two mixes share.
CLEARLY = 0.05


@dataclass(frozen=True)
class World:
    """A booth and the shelf that was learnt from its strips; `lights` empty for spectra."""

    booth: Booth
    shelf: Shelf
    seed: int


@dataclass(frozen=True, eq=False)
class Job:
    """A colour that is asked for, the recipe that truly gives it, and how the job's hand errs.

    ``fractions`` of the blend ``(n_toners,)``; ``pour`` is a factor on each toner and the medium,
    ``added`` the same of what is added before each panel, ``panel`` and ``coat`` factors of film
    build, ``read`` what the instrument adds to each panel's Lab.
    """

    target: Array
    fractions: Array
    medium_parts: float
    coats: int
    ground: str
    on_grid: bool
    pour: Array
    added: Array
    panel: Array
    coat: Array
    read: Array


@dataclass(frozen=True)
class Panel:
    """One panel: the chance that was said, whether it passed, and what its mix truly does.

    ``true_chance`` is the share of fresh panels of the mix that pass, ``true_de00`` that of a
    panel without any hand; ``advice`` is what led to it, ``match`` for the first.
    """

    said: float
    passed: bool
    true_chance: float
    true_de00: float
    advice: str


@dataclass(frozen=True)
class Outcome:
    """The panels of one job, in order."""

    panels: tuple[Panel, ...]

    @property
    def passed(self) -> bool:
        """Whether the last one passed."""
        return self.panels[-1].passed

    @property
    def adjusted(self) -> bool:
        """Whether anything was changed on the way."""
        return any(panel.advice in ("coats", "add") for panel in self.panels)

    @property
    def made_worse(self) -> bool:
        """Whether some advice led to a mix that passes clearly less often than the one before."""
        return any(
            after.advice in ("coats", "add") and after.true_chance < before.true_chance - CLEARLY
            for before, after in pairwise(self.panels)
        )

    @property
    def ended_worse(self) -> bool:
        """Whether the last mix is truly off by more than the first, by what was advised."""
        return self.adjusted and self.panels[-1].true_de00 > self.panels[0].true_de00


def make_world(seed: int, lights: Sequence[str] = (), *, asked: bool = False) -> World:
    """Spray, read and learn a shelf of ten toners; strips of a 5 % hand, flakes unlike.

    With `asked` the panels that `learn` asks for are sprayed too, and it learns again.
    """
    rng = np.random.default_rng(seed)
    booth = Booth(
        random_toners(rng, N_TONERS),
        lamp_grounds(unlike_flake=True),
        rng,
        panel_cv=PANEL_CV,
        coat_cv=COAT_CV,
        lab_noise=READ_SD,
    )
    text = booth.settings_text().replace("[mixing]", f"[mixing]\ncup_ml = {STEP_ML}")
    text = text.replace("[mixing]", f"[mixing]\npour_cv = {POUR_CV}")
    steps = booth.letdown_set(strips=True)
    with tempfile.TemporaryDirectory() as name:
        place = Path(name)
        booth.write_shelf(place, steps, lights, settings=text)
        found = fewtone.learn(place)
        if asked:
            for panel in found.spray_next:
                recipe = panel.recipe
                blend = {toner: float(part) for toner, part in recipe.blend.items()}
                letdown = float(recipe.medium_parts)
                steps += booth.strip(blend, letdown, panel.coats, recipe.ground)
            booth.write_shelf(place, steps, lights, settings=text)
            fewtone.learn(place)
        return World(booth, fewtone.load(place), seed)


def make_jobs(world: World, count: int) -> list[Job]:
    """Jobs of two and three toners in turn, on and off the tool's own grid in turn."""
    jobs: list[Job] = []
    place = 0
    while len(jobs) < count:
        rng = np.random.default_rng([world.seed, place])
        size, on_grid = 2 + len(jobs) % 2, len(jobs) // 2 % 2 == 0
        job = _job(rng, world.booth, size, on_grid=on_grid)
        place += 1
        if job.target[0] >= DARKEST:
            jobs.append(job)
    return jobs


def _job(rng: Generator, booth: Booth, size: int, *, on_grid: bool) -> Job:
    fractions = np.zeros(N_TONERS)
    chosen = rng.permutation(N_TONERS)[:size]
    if on_grid:
        fractions[chosen] = rng.integers(1, 5, size)
        medium_parts = float(rng.choice([4, 5, 6, 8]))
    else:
        fractions[chosen] = rng.uniform(1.0, 4.0, size)
        medium_parts = float(rng.uniform(4.0, 8.0))
    fractions /= fractions.sum()
    coats, ground = int(rng.integers(2, 7)), str(rng.choice([g.name for g in booth.grounds]))
    return Job(
        target=booth.true_lab(fractions, coats / (1.0 + medium_parts), ground),
        fractions=fractions,
        medium_parts=medium_parts,
        coats=coats,
        ground=ground,
        on_grid=on_grid,
        pour=_factors(rng, POUR_CV, N_TONERS + 1),
        added=_factors(rng, POUR_CV, MOST_PANELS, N_TONERS + 1),
        panel=_factors(rng, PANEL_CV, MOST_PANELS + FRESH),
        coat=_factors(rng, COAT_CV, MOST_PANELS + FRESH, MOST_COATS),
        read=READ_SD * rng.standard_normal((MOST_PANELS + FRESH, 3)),
    )


def _factors(rng: Generator, cv: float, *shape: int) -> Array:
    """Log-normal factors of mean 1."""
    spread = np.sqrt(np.log1p(cv**2))
    return np.asarray(np.exp(spread * rng.standard_normal(shape) - 0.5 * spread**2))


@dataclass
class _Cup:
    """What is truly in the cup [ml], toners then medium, and what it is believed to hold."""

    world: World
    job: Job
    ground: str
    ml: Array
    meant_ml: float

    @classmethod
    def mixed(
        cls, world: World, job: Job, fractions: Array, medium_parts: float, over: str
    ) -> _Cup:
        ml = np.append(fractions, medium_parts) / (1.0 + medium_parts) * MIX_ML
        return cls(world, job, over, ml * job.pour, MIX_ML)

    def add(self, which: int, additions: dict[str, float]) -> None:
        """Pour what was advised before the panel of this number."""
        names = (*self.world.booth.names, "medium")
        added = np.array([additions.get(name, 0.0) for name in names])
        self.ml = self.ml + added * self.job.added[which]
        self.meant_ml += sum(additions.values())

    def spray(self, which: int, coats: int) -> tuple[Array, float, float]:
        """Lab of the panel of this number as it reads, the true chance, the true ΔE00."""
        job, booth = self.job, self.world.booth
        share = self.ml[:-1] / self.ml.sum()
        builds = job.coat[:, :coats].sum(axis=1) * job.panel
        load = np.append(builds, coats) * share.sum()
        lab = booth.true_lab(share / share.sum(), load, self.ground)
        read = lab[:-1] + job.read
        fresh = delta_e(read[MOST_PANELS:], job.target) <= TOLERANCE
        self.ml = self.ml * (1.0 - PANEL_ML / self.meant_ml)
        self.meant_ml -= PANEL_ML
        return read[which], float(fresh.mean()), float(delta_e(lab[-1], job.target))


def floor(world: World, job: Job) -> Outcome:
    """Mix the true recipe, pour it exactly, and spray it until a panel passes."""
    exact = replace(job, pour=np.ones(N_TONERS + 1))
    cup = _Cup.mixed(world, exact, job.fractions, job.medium_parts, job.ground)
    panels: list[Panel] = []
    for which in range(MOST_PANELS):
        read, chance, off = cup.spray(which, job.coats)
        passed = bool(delta_e(read, job.target) <= TOLERANCE)
        panels.append(Panel(chance, passed, chance, off, "stop" if which else "match"))
        if passed:
            break
    return Outcome(tuple(panels))


def follow(world: World, job: Job, way: Way = "headline") -> Outcome:
    """Match, spray the pick, read, and do what `adjust` says until a panel passes."""
    shelf, booth = world.shelf, world.booth
    target = tuple(job.target.tolist())
    found = shelf.match(target)
    chosen = found.surest if way == "surest" else found.simplest
    pick = found.closest if way == "closest" else chosen or found.closest
    recipe, said, advice = pick.recipe, pick.pass_probability or 0.0, "match"
    cup = _Cup.mixed(
        world,
        job,
        booth.fractions({name: float(part) for name, part in recipe.blend.items()}),
        float(recipe.medium_parts),
        recipe.ground,
    )
    panels: list[Panel] = []
    read_before: list[tuple[Recipe, list[tuple[float, ...]]]] = []
    for which in range(MOST_PANELS):
        read, chance, off = cup.spray(which, int(recipe.coats))
        passed = bool(delta_e(read, job.target) <= TOLERANCE)
        panels.append(Panel(said, passed, chance, off, advice))
        if passed:
            break
        if way == "respray":
            advice = "stop"
            continue
        readings = [tuple(read.tolist())]
        try:
            told = shelf.adjust(
                recipe,
                target=target,
                readings=readings,
                earlier=read_before,
                left=f"{cup.meant_ml:g}ml",
                room=f"{ROOM_ML:g}ml",
            )
        except FewtoneError:
            advice = "refused"
            continue
        read_before.append((recipe, readings))
        cup.add(which, {each.component: float(each.ml) for each in told.additions})
        recipe, said, advice = told.after.recipe, told.after.pass_probability or 0.0, told.advice
    return Outcome(tuple(panels))
