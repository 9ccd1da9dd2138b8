"""What whole jobs in the booth came to: one record a job, kept in a file, pooled into figures."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np

from outside.job_trials import KINDS, MOST_PANELS, Way, floor, follow, make_jobs, make_world

__all__ = ["Figures", "Record", "Trial", "append", "figures", "report", "run_jobs", "stored"]

FIFTHS = 5


@dataclass(frozen=True)
class Trial:
    """How jobs are done: the kind of shelf, whether it holds what `learn` asked for, the way."""

    kind: str
    asked: bool = False
    way: Way = "headline"


@dataclass(frozen=True)
class Record:
    """One job and its floor.

    ``said`` and ``seen`` are, for each panel, the chance that was said and the share of fresh
    panels of its mix that pass.
    """

    kind: str
    asked: bool
    way: str
    seed: int
    job: int
    said: tuple[float, ...]
    seen: tuple[float, ...]
    passed: bool
    first_passes: bool
    floor: int
    floor_first: float
    floor_first_passes: bool
    adjusted: bool
    made_worse: bool
    ended_worse: bool


def run_jobs(trial: Trial, worlds: Iterable[int], jobs_a_world: int) -> Iterator[Record]:
    """Spray jobs on the shelves of these seeds, and the floor beside them."""
    for seed in worlds:
        world = make_world(seed, KINDS[trial.kind], asked=trial.asked)
        for number, job in enumerate(make_jobs(world, jobs_a_world)):
            outcome, least = follow(world, job, trial.way), floor(world, job)
            yield Record(
                **asdict(trial),
                seed=seed,
                job=number,
                said=tuple(panel.said for panel in outcome.panels),
                seen=tuple(panel.true_chance for panel in outcome.panels),
                passed=outcome.passed,
                first_passes=outcome.panels[0].passed,
                floor=len(least.panels),
                floor_first=least.panels[0].true_chance,
                floor_first_passes=least.panels[0].passed,
                adjusted=outcome.adjusted,
                made_worse=outcome.made_worse,
                ended_worse=outcome.ended_worse,
            )


def append(file: Path, record: Record) -> None:
    """Add a job to a file, one JSON object a line."""
    with file.open("a", encoding="utf-8") as opened:
        opened.write(json.dumps(asdict(record)) + "\n")


def stored(file: Path, trial: Trial) -> list[Record]:
    """The jobs of a file that were done so; the last record of each."""
    found: dict[tuple[int, int], Record] = {}
    for line in file.read_text(encoding="utf-8").splitlines() if file.exists() else ():
        record = Record(**json.loads(line))
        if Trial(record.kind, record.asked, record.way) == trial:  # type: ignore[arg-type]
            found[record.seed, record.job] = record
    return [*found.values()]


@dataclass(frozen=True)
class Figures:
    """What jobs came to.

    ``panels`` and ``floor`` are panels a job, ``extra_se`` the standard error of their difference;
    ``first`` and ``floor_first`` the share of fresh panels of the first mix that pass; ``said`` and
    ``seen`` the mean chance that was said and the share of fresh panels that passed, in fifths of
    the chance that was said, with ``sprayed`` mixes in each.
    """

    jobs: int
    panels: float
    floor: float
    extra_se: float
    first: float
    floor_first: float
    first_passes: float
    floor_first_passes: float
    unfinished: float
    adjusted: float
    made_worse: float
    ended_worse: float
    said: tuple[float, ...]
    seen: tuple[float, ...]
    sprayed: tuple[int, ...]


def figures(records: Sequence[Record]) -> Figures:
    """Pool jobs."""
    count = np.array([len(record.said) for record in records])
    least = np.array([record.floor for record in records])
    said = np.array([chance for record in records for chance in record.said])
    seen = np.array([chance for record in records for chance in record.seen])
    fifth = np.minimum((FIFTHS * said + 1e-9).astype(int), FIFTHS - 1)
    places = [np.flatnonzero(fifth == place) for place in range(FIFTHS)]
    return Figures(
        jobs=len(records),
        panels=float(count.mean()),
        floor=float(least.mean()),
        extra_se=float((count - least).std(ddof=1) / np.sqrt(len(count))),
        first=float(np.mean([record.seen[0] for record in records])),
        floor_first=float(np.mean([record.floor_first for record in records])),
        first_passes=float(np.mean([record.first_passes for record in records])),
        floor_first_passes=float(np.mean([record.floor_first_passes for record in records])),
        unfinished=float(np.mean([not record.passed for record in records])),
        adjusted=float(np.mean([record.adjusted for record in records])),
        made_worse=float(np.mean([record.made_worse for record in records])),
        ended_worse=float(np.mean([record.ended_worse for record in records])),
        said=tuple(float(said[here].mean()) if here.size else np.nan for here in places),
        seen=tuple(float(seen[here].mean()) if here.size else np.nan for here in places),
        sprayed=tuple(int(here.size) for here in places),
    )


def report(trial: Trial, found: Figures) -> str:
    """The figures in words."""
    bins = ", ".join(
        f"{said:.2f}/{seen:.2f} ({count})"
        for said, seen, count in zip(found.said, found.seen, found.sprayed, strict=True)
        if count
    )
    shelf = "with the panels that learn asks for" if trial.asked else "from strips alone"
    return (
        f"{trial.kind}, {shelf}, {found.jobs} jobs: {found.panels:.2f} panels a job, floor "
        f"{found.floor:.2f} (+{found.panels - found.floor:.2f} ± {found.extra_se:.2f}); the first "
        f"panel passes {found.first_passes:.0%}, fresh ones of its mix {found.first:.0%} (floor "
        f"{found.floor_first_passes:.0%}, {found.floor_first:.0%}); not done after {MOST_PANELS} "
        f"panels {found.unfinished:.1%}; adjusted {found.adjusted:.0%}, a step made worse "
        f"{found.made_worse:.1%}, ended worse {found.ended_worse:.1%}; said/seen {bins}"
    )
