"""Worlds less kind than the package assumes: what each does to predictions and their certainty.

One thing at a time is made unkind in the booth, then a mild mix of all. Ten toners are sprayed
alone at 1, 2, 3, 4 and 6 coats at 6:1 over white and silver and every ground is read bare; 150
unseen blends of one to three toners are predicted over all four grounds. The truth is what the
same instrument would read, without noise, of a blend sprayed with a careful hand over a usual
panel. tests/benchmarks/worlds_table.py prints the table.
"""

from __future__ import annotations

import hashlib
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from booth import (
    Booth,
    Lobe,
    Step,
    TrueToner,
    World,
    delta_e,
    lab,
    lamp_grounds,
    random_blends,
    random_toners,
)
from fewtone.colorimetry import Light
from fewtone.io.readings import load_readings
from fewtone.io.settings import load_settings
from fewtone.learning import Learnt, estimate
from fewtone.model.curves import Curves
from fewtone.model.recipe import parse
from fewtone.prediction.recipes import predict
from fewtone.prediction.uncertainty import interval_half_width

__all__ = [
    "MODES",
    "ROWS",
    "Outcome",
    "Row",
    "Stats",
    "booth_of",
    "learnt",
    "outcome",
    "panels_floor",
    "pooled",
]

Array = NDArray[np.float64]

N_TONERS, N_BLENDS = 10, 150
D65 = Light("D65", 10)
MODES: dict[str, tuple[str, ...]] = {
    "spectral": (),
    "Lab": ("D65/10",),
    "two lights": ("D65/10", "A/10"),
}
# Lobes of silver, brass and graphite.
GAUSSIAN = (Lobe(0.35, 0.15), Lobe(0.15, 0.15), Lobe(0.6, 0.15))
CORE_AND_SKIRT = (
    Lobe(0.30, 0.10, skirt_slope=0.6, skirt=0.3),
    Lobe(0.15, 0.10, skirt_slope=0.45, skirt=0.4),
    Lobe(0.40, 0.10, skirt_slope=0.7, skirt=0.5),
)
LONG_TAILED = (
    Lobe(0.30, 0.10, long_tailed=True),
    Lobe(0.18, 0.10, long_tailed=True),
    Lobe(0.45, 0.10, long_tailed=True),
)
SHARP = (Lobe(0.15, 0.10),) * 3
MILD = (Lobe(0.36, 0.20), Lobe(0.28, 0.12, skirt_slope=0.5, skirt=0.3), Lobe(0.44, 0.20))


@dataclass(frozen=True, slots=True)
class Row:
    """One kind of world; by default all is as assumed.

    `hazy` of the ten toners scatter, `haze` times as much as a hazy toner does, with `asymmetry`.
    Panels of a toner over a ground are one strip if `strips`. `lobes` are those of the three
    metallics. `also` adds to what is read: one strip of a toner over each ground that has none,
    or every toner's first and third coat at 4:1 and at 8:1 over white. `letdowns` are those of the
    panels over white and over silver.
    """

    world: World = field(default_factory=World)
    hazy: int = 0
    haze: float = 1.0
    asymmetry: float = 0.0
    strips: bool = False
    panel_cv: float = 0.0
    film_index: float = 1.5
    geometry: str = "45:0"
    lobes: tuple[Lobe, Lobe, Lobe] | None = None
    also: tuple[str, ...] = ()
    letdowns: tuple[int, int] = (6, 6)


EACH_GROUND, LETDOWNS = "a strip over each ground", "other letdowns"
# As many panels as all at 6:1, and the letdown no longer in doubt.
TWO_LETDOWNS = (4, 8)
# At two letdowns and with a strip over each ground, readings tell all that some world below does
# and another does not; what none of them tells must be doubted in both.
TOLD = Row(letdowns=TWO_LETDOWNS, also=(EACH_GROUND,))

ROWS: dict[str, Row] = {
    "as assumed": Row(),
    "as assumed, at 4:1 and 8:1": Row(letdowns=TWO_LETDOWNS),
    "as assumed, all told": TOLD,
    "hazy toners": Row(hazy=3),
    "hazy toners, at 4:1 and 8:1": Row(hazy=3, letdowns=TWO_LETDOWNS),
    "hazy toners, all told": replace(TOLD, hazy=3),
    "hand 10 % a strip, said 5": Row(World(says_panel_cv=0.05), strips=True, panel_cv=0.10),
    "own flake, read over one": Row(lobes=GAUSSIAN),
    "own flake, a strip over each": Row(lobes=GAUSSIAN, also=(EACH_GROUND,)),
    "core and skirt, read over one": Row(lobes=CORE_AND_SKIRT),
    "core and skirt, a strip over each": Row(lobes=CORE_AND_SKIRT, also=(EACH_GROUND,)),
    "long-tailed flake, read over one": Row(lobes=LONG_TAILED),
    "all flakes sharp": Row(lobes=SHARP),
    "film index 1.45, said 1.5": Row(World(says_film_index=1.5), film_index=1.45),
    "film index 1.55, said 1.5": Row(World(says_film_index=1.5), film_index=1.55),
    "8 % stronger at 8:1 than 4:1": Row(World(per_doubling=0.08)),
    "the same, read at 4:1 and 8:1 too": Row(World(per_doubling=0.08), also=(LETDOWNS,)),
    "the same, all at 4:1 or 8:1": Row(World(per_doubling=0.08), letdowns=TWO_LETDOWNS),
    "later coats 5 % thinner": Row(World(later_coats=0.95)),
    "later coats 15 % thinner": Row(World(later_coats=0.85)),
    "black off by .003": Row(World(black=0.003)),
    "black off by .008": Row(World(black=0.008)),
    "edge loss, small": Row(World(edge=0.01)),
    "edge loss, large": Row(World(edge=0.035)),
    "read in di:8, said 45:0": Row(World(says_geometry="45:0"), geometry="di:8"),
    "ground differs by 3 %": Row(World(ground_cv=0.03)),
    "flake differs by 10 %": Row(World(flake_cv=0.10)),
    "forward-scattering pearl": Row(hazy=3, haze=1.5, asymmetry=0.8),
    "strong haze": Row(hazy=3, haze=3.0),
    "a mild mix of all": Row(
        World(
            says_panel_cv=0.05,
            says_film_index=1.5,
            per_doubling=0.03,
            later_coats=0.96,
            black=0.001,
            edge=0.005,
            ground_cv=0.01,
            flake_cv=0.04,
        ),
        hazy=3,
        haze=1.5,
        asymmetry=0.4,
        strips=True,
        panel_cv=0.07,
        film_index=1.52,
        lobes=MILD,
    ),
}


@dataclass(frozen=True, slots=True)
class Outcome:
    """Predictions of one shelf: ΔE00 to the truth `(n,)`, misses in their own sd `(n, 3)`."""

    off: Array
    misses: Array


@dataclass(frozen=True, slots=True)
class Stats:
    """Of predictions: ΔE00, shares of coordinates within 68 and 95 % intervals, sure and wrong."""

    median: float
    p90: float
    covers_95: float
    covers_68: float
    sure_and_wrong: float

    def __str__(self) -> str:
        """Five figures, as a row of the table."""
        return (
            f"{self.median:5.2f} {self.p90:5.2f}  {self.covers_95:.3f} {self.covers_68:.3f}"
            f"  {100 * self.sure_and_wrong:4.1f} %"
        )


def booth_of(row: Row, seed: int) -> Booth:
    """Set up the row's booth."""
    rng = np.random.default_rng(seed)
    toners = [_pearl(toner, row) for toner in random_toners(rng, N_TONERS, hazy=row.hazy)]
    grounds = lamp_grounds()
    if row.lobes:
        changed = [replace(g, lobe=at) for g, at in zip(grounds[1:], row.lobes, strict=True)]
        grounds = (grounds[0], *changed)
    return Booth(
        toners,
        grounds,
        rng,
        panel_cv=row.panel_cv,
        film_index=row.film_index,
        geometry=row.geometry,
        world=replace(row.world, dark_noise=True),
    )


def learnt(row: Row, mode: str, seed: int, keep: Path | None = None) -> tuple[Learnt, Array]:
    """Spray, read and learn one shelf; return it and the true Lab `(n_grounds, n_blends, 3)`.

    With `keep`, what the booth sprayed and read is stored there and found again as long as neither
    the row nor any source of the booth has changed; learning is always done anew.
    """
    with _readings(row, mode, seed, keep) as folder:
        settings = load_settings(folder)
        return estimate(settings, load_readings(folder, settings)), np.load(folder / "truth.npy")


def outcome(row: Row, mode: str, seed: int, keep: Path | None = None) -> Outcome:
    """Predict blends that were never sprayed from a shelf `learnt`."""
    shelf, truth = learnt(row, mode, seed, keep)
    return _compared(shelf.curves, booth_of(row, seed), truth, seed)


def panels_floor(row: Row, seed: int) -> Array:
    """ΔE00 `(n_grounds, n_blends)` that hand and grounds leave, whatever is made of the readings.

    It is what is left to someone who knows the optics, the curves, the film and the ground under
    each reading and how both vary: all but each toner's strength, which no reading tells from a
    heavy hand, and each ground as it usually is, which nobody has seen but in these panels. The
    last step of a panel holds all that it tells of a strength: log film less log strength varies
    by panel_cv² + coat_cv²/n for n coats, and the panels' mean so weighed is the best there is. Of
    a ground it is the mean of all its panels.
    """
    booth = booth_of(row, seed)
    steps = _sprayed(booth, row)
    last = {step.panel: step for step in steps if step.blend}
    total, weight = np.zeros(N_TONERS), np.zeros(N_TONERS)
    for step in last.values():
        (name,) = step.blend
        coats = int(step.coats)
        variance = booth.panel_cv**2 + booth.coat_cv**2 / coats
        meant = float(booth.world.film_build(np.array([coats]))[0])
        toner = booth.names.index(name)
        # Factors have mean 1, so that their logarithms' is half the variance below 0.
        total[toner] += (np.log(step.build / meant) + 0.5 * variance) / variance
        weight[toner] += 1.0 / variance
    blends = random_blends(np.random.default_rng(1000 + seed), N_TONERS, N_BLENDS)
    places, load = np.arange(len(booth.grounds))[:, None], booth.true_load(blends)
    truth, found = (
        lab(
            booth.true_reflectance(mix, load, places, level=level),
            booth.wavelength_nm,
            "D65/10",
        )
        for mix, level in (
            (blends.fractions, 1.0),
            (blends.fractions * np.exp(total / weight), _seen_levels(booth, steps)[:, None]),
        )
    )
    return delta_e(found, truth)


def _seen_levels(booth: Booth, steps: Sequence[Step]) -> Array:
    """Reflectance of each ground as its panels are on average, of the usual one [1].

    Flake that is turned counts by what it does to the bare reading, shape `(n_grounds,)`.
    """
    levels = []
    for ground in booth.grounds:
        panels = {
            step.panel: (step.level, step.turn) for step in steps if step.ground == ground.name
        }
        level, turn = np.array([(1.0, 1.0), (np.exp(0.01), 1.0), *panels.values()]).T
        none = np.zeros((level.size, N_TONERS))
        bare = booth.true_reflectance(none, none[:, 0], ground.name, level=level, turn=turn)
        change = np.log(bare[1:] / bare[0]).mean(axis=1)
        levels.append(np.exp(0.01 * (change[1:] / change[0]).mean()))
    return np.array(levels)


def pooled(outcomes: Sequence[Outcome]) -> Stats:
    """Pool several shelves' predictions."""
    off = np.concatenate([one.off for one in outcomes])
    misses = np.abs(np.concatenate([one.misses for one in outcomes]))
    wrong = (off > 1.0) & (misses > 3.0).any(axis=1)
    median, p90 = np.percentile(off, [50, 90])
    covers_95, covers_68 = (misses < interval_half_width(share) for share in (0.95, 0.68))
    return Stats(
        float(median),
        float(p90),
        float(covers_95.mean()),
        float(covers_68.mean()),
        float(wrong.mean()),
    )


def _pearl(toner: TrueToner, row: Row) -> TrueToner:
    asymmetry = row.asymmetry if toner.scattering.any() else 0.0
    return replace(toner, scattering=toner.scattering * row.haze, asymmetry=asymmetry)


@contextmanager
def _readings(row: Row, mode: str, seed: int, keep: Path | None) -> Iterator[Path]:
    """Give a shelf with truth.npy, `(n_grounds, n_blends, 3)`, beside its files."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) if keep is None else keep / _key(row, mode, seed)
        if not (folder / "truth.npy").exists():
            booth = booth_of(row, seed)
            booth.write_shelf(folder, _sprayed(booth, row), MODES[mode])
            np.save(folder / "truth.npy", _truth(booth, row, seed, keep))
        yield folder


def _key(row: Row, mode: str, seed: int) -> str:
    """Name what a shelf depends on."""
    sources = sorted((Path(__file__).parents[1] / "booth").glob("*.py"))
    digest = hashlib.sha256(f"{row} {mode} {seed} {N_BLENDS}".encode())
    for source in (*sources, Path(__file__)):
        digest.update(source.read_bytes())
    return digest.hexdigest()[:20]


def _sprayed(booth: Booth, row: Row) -> list[Step]:
    steps = booth.letdown_set(strips=row.strips, medium_parts=row.letdowns)
    if EACH_GROUND in row.also:
        for ground, toner in (("brass", booth.names[2]), ("graphite", booth.names[5])):
            steps += booth.strip({toner: 1}, 6, (1, 2, 3, 4, 6), ground)
    if LETDOWNS in row.also:
        for toner in booth.names:
            for medium_parts in (4, 8):
                steps += [booth.single({toner: 1}, medium_parts, c, "white") for c in (1, 3)]
    return steps


def _truth(booth: Booth, row: Row, seed: int, keep: Path | None) -> Array:
    """Return the blends' true Lab; the modes of a row and seed share it."""
    shared = keep / f"{_key(row, 'truth', seed)}.npy" if keep else None
    if shared is not None and shared.exists():
        return np.asarray(np.load(shared))
    blends = random_blends(np.random.default_rng(1000 + seed), N_TONERS, N_BLENDS)
    places = np.arange(len(booth.grounds))[:, None]
    spectra = booth.true_reflectance(blends.fractions, booth.true_load(blends), places)
    truth = lab(spectra, booth.wavelength_nm, "D65/10")
    if shared is not None:
        np.save(shared, truth)
    return truth


def _compared(curves: Curves, booth: Booth, truth: Array, seed: int) -> Outcome:
    blends = random_blends(np.random.default_rng(1000 + seed), N_TONERS, N_BLENDS)
    off, misses = [], []
    for ground, true in zip(booth.grounds, truth, strict=True):
        lines = [blends.line(i, booth.names, ground.name) for i in range(N_BLENDS)]
        found = predict(curves, [parse(line) for line in lines], D65, deviations=True)
        assert found.lab_sd is not None
        off.append(delta_e(found.lab, true))
        misses.append((found.lab - true) / found.lab_sd)
    return Outcome(np.concatenate(off), np.concatenate(misses))
