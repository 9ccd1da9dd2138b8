"""Times the search against baselines of the same run and says how near each comes to the best.

    python tests/benchmarks/bench_match.py [--exact] [--growth] [--hazy] [--record FILE]
    python tests/benchmarks/bench_match.py --list-part 1/4 --keep FOLDER

Without options: the hard case's 20 targets and four hard spots; the plain batched evaluation and
`numpy.exp` on as many values, both timed on a part and scaled; differential evolution with
integrality, and bounded least squares with rounding, on three planted targets. `--exact` lists
all 98 million colours for all 20 targets, writes the picks to hard_case_picks.json, which a test
holds the search to, and compares (minutes). `--list-part` lists one part of them and keeps it in a
folder; where all parts are kept, it does the rest.
`--growth` times 8, 16, 32 and 64 toners. `--hazy` times the common job with 0, 1 and 3 toners of 12
that scatter, and six targets of the hard case with 3. Times are the processor's; all ratios are
of medians of this run.
"""

from __future__ import annotations

import argparse
import itertools
import json
import os
import resource
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_name, "1")  # before numpy is loaded: every contender has one core
sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np  # noqa: E402
from scipy.optimize import Bounds, differential_evolution, least_squares  # noqa: E402

from benchmarks.hard_case import (  # noqa: E402
    HARD_SPOTS,
    LIGHT,
    LISTED_PICKS,
    SEED,
    Triple,
    hard_picks,
    hard_shelf,
    hard_targets,
    target_evaluator,
)
from fewtone.colorimetry import delta_e_2000, lab_from_xyz, weights, white_point  # noqa: E402
from fewtone.match.picks import Picks  # noqa: E402
from fewtone.match.result import MatchResult  # noqa: E402
from fewtone.match.search import search  # noqa: E402
from fewtone.recipes.evaluate import Evaluator  # noqa: E402
from fewtone.recipes.keys import Candidates  # noqa: E402
from fewtone.recipes.lattice import Lattice  # noqa: E402
from fewtone.recipes.rules import Rules  # noqa: E402
from fewtone.search.bounds.exponentials import _fit  # noqa: E402
from fewtone.search.bounds.haze import _table  # noqa: E402
from fewtone.search.bounds.slices import _slices  # noqa: E402
from fewtone.search.radius import everything  # noqa: E402
from fewtone.typing import FloatArray, IntArray  # noqa: E402
from invented import invented_shelf, lab_target  # noqa: E402

# Colours timed for the plain evaluation: enough for a second of work, spread over the supports.
_SAMPLE = 1_000_000
_REPEATS = 3


def main() -> None:
    """Run what was asked for and print it."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--exact", action="store_true", help="compare with full enumeration")
    parser.add_argument("--growth", action="store_true", help="time 8 to 64 toners")
    parser.add_argument("--record", type=Path, help="write what is printed to a file as well")
    parser.add_argument("--hazy", action="store_true", help="time toners that scatter")
    parser.add_argument("--list-part", metavar="K/N", help="list one part of all colours")
    parser.add_argument("--keep", type=Path, help="the folder where listed parts are kept")
    options = parser.parse_args()
    lines: list[str] = []
    if options.list_part:
        if options.keep is None:
            parser.error("--list-part needs --keep FOLDER")
        part, parts = map(int, options.list_part.split("/"))
        report = _exact_part(part, parts, options.keep)
    else:
        report = _growth() if options.growth else _hazy() if options.hazy else _hard_case()
    for line in itertools.chain(report, _exact() if options.exact else ()):
        print(line, flush=True)
        lines.append(line)
    if options.record:
        options.record.write_text("\n".join(lines) + "\n", encoding="utf-8")


def _hard_case() -> Iterator[str]:
    curves, settings = hard_shelf()
    rules = Rules.of(settings)
    lattice = Lattice.of(rules)
    yield f"Hard case: {lattice.admissible:,} recipes, {lattice.colours:,} colours, one core"
    plain, exponentials = _plain_seconds(), _exponential_seconds(lattice.colours)
    yield f"plain batched evaluation   {plain:8.2f} s (scaled from {_SAMPLE:,} colours)"
    yield (
        f"numpy.exp, as many values  {exponentials:8.2f} s, {plain / exponentials:.1f} times less"
    )
    times = []
    for name, target in hard_targets(curves, settings):
        seconds, found = _timed(target)
        times.append(seconds)
        yield _line(name, target, seconds, plain, found)
    median = float(np.median(times))
    yield f"median of 20               {median:8.3f} s: {plain / median:.0f} times as fast as plain"
    for name, target in HARD_SPOTS.items():
        seconds, found = _timed(target)
        yield _line(name, target, seconds, plain, found) + f"  {seconds / median:.1f} medians"
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    yield f"peak memory so far         {peak:8.0f} MB"
    yield from _others(median)


def _line(name: str, target: Triple, seconds: float, plain: float, found: MatchResult) -> str:
    lab = ", ".join(f"{value:6.1f}" for value in target)
    return (
        f"{name:15} ({lab})  {seconds:7.3f} s  {plain / seconds:6.0f}x  closest "
        f"{found.closest.de00:9.6f}  evaluated {found.proof.evaluated:9,}"
    )


def _timed(target: Triple) -> tuple[float, MatchResult]:
    seconds = []
    for _ in range(_REPEATS):
        _forget()
        curves, settings = hard_shelf()
        start = time.process_time()
        found = search(curves, settings, lab_target(target), Rules.of(settings))
        seconds.append(time.process_time() - start)
    return float(np.median(seconds)), found


def _forget() -> None:
    """Have nothing of an earlier search; what hangs on a shelf is of another one each time."""
    _fit.cache_clear()
    _table.cache_clear()
    _slices.cache_clear()


def _plain_seconds() -> float:
    """Seconds for all colours as plain numpy would have it, from a sample of the supports.

    The leanest plain form: a blend's curve once for all its films, then optics, CIELAB and ΔE00 in
    batches that stay in the cache, and the least of each batch kept. The one exponential of each
    value is a small part of it where numpy's is vectorised: reading the trapped light off its
    table takes a third, ΔE00 a quarter.
    """
    curves, settings = hard_shelf()
    lattice = Lattice.of(Rules.of(settings))
    target = np.array([40.0, 20.0, 10.0])
    supports, ratios = lattice.supports(3), lattice.ratios(3)
    per_support = len(ratios) * len(lattice.loads) * len(curves.grounds)
    few = supports[:: max(1, len(supports) * per_support // _SAMPLE)]
    shares = ratios / ratios.sum(axis=1, keepdims=True)
    weight, white = weights(curves.wavelength_nm, LIGHT), white_point(LIGHT)
    seconds = []
    for _ in range(_REPEATS):
        start = time.process_time()
        least = np.inf
        for support in few:
            curve = shares @ curves.absorption[support]
            for rho, return_ratio in zip(
                curves.ground_reflectance, curves.return_ratio, strict=True
            ):
                for loads in np.array_split(lattice.load_values, 12):
                    tau = (loads[:, np.newaxis, np.newaxis] * curve).reshape(-1, len(rho))
                    xyz = curves.optics.reflectance(tau, rho, return_ratio) @ weight
                    least = min(least, delta_e_2000(lab_from_xyz(xyz, white), target).min())
        seconds.append(time.process_time() - start)
    return float(np.median(seconds)) * lattice.colours / (len(few) * per_support)


def _exponential_seconds(colours: int) -> float:
    curves, _ = hard_shelf()
    values = np.random.default_rng(0).random((2048, len(curves.wavelength_nm)))
    seconds = []
    for _ in range(_REPEATS):
        start = time.process_time()
        for _ in range(_SAMPLE // len(values)):
            np.exp(values)
        seconds.append(time.process_time() - start)
    return float(np.median(seconds)) * colours / _SAMPLE


def _exact() -> Iterator[str]:
    """List all 98 million colours for all targets, record the picks, and compare the search's."""
    start = time.process_time()
    picks = _listed_part(1, 1)
    yield f"full enumeration for 20 targets at once: {time.process_time() - start:.0f} s"
    yield from _compared(picks)


def _exact_part(part: int, parts: int, folder: Path) -> Iterator[str]:
    """List one part of the colours and keep it; with all parts, do what `_exact` does."""
    folder.mkdir(parents=True, exist_ok=True)
    start = time.process_time()
    np.savez(
        folder / f"{part}-of-{parts}.npz",
        **{
            f"{number}-{name}": getattr(picks, name)
            for number, picks in enumerate(_listed_part(part, parts))
            for name in ("least", "ground", "support", "parts")
        },
    )
    yield f"part {part} of {parts} for 20 targets at once: {time.process_time() - start:.0f} s"
    files = [folder / f"{each}-of-{parts}.npz" for each in range(1, parts + 1)]
    if not all(file.exists() for file in files):
        return
    curves, settings = hard_shelf()
    lattice = Lattice.of(Rules.of(settings))
    load_of = {load.simplest: place for place, load in enumerate(lattice.loads)}
    merged = [Picks.empty(lattice) for _ in hard_targets(curves, settings)]
    for file, (number, picks) in itertools.product(files, enumerate(merged)):
        with np.load(file) as kept:
            least, *places = (
                kept[f"{number}-{name}"] for name in ("least", "ground", "support", "parts")
            )
        for rank in np.flatnonzero(np.isfinite(least)).tolist():
            size = picks.ranks.size_of(rank)
            load = np.array([load_of[picks.ranks.way_of(rank)]])
            ground, support, ratio = (place[[rank]] for place in places)
            picks.offer(Candidates(support[:, :size], ratio[:, :size], load, ground, least[[rank]]))
    yield from _compared(merged)


def _listed_part(part: int, parts: int) -> list[Picks]:
    """What is best for each target of one part of the sets of toners, from 1."""
    curves, settings = hard_shelf()
    lattice = Lattice.of(Rules.of(settings))
    targets = hard_targets(curves, settings)
    evaluators = [target_evaluator(curves, settings, target) for _, target in targets]
    picks = [Picks.empty(lattice) for _ in targets]
    for size in lattice.sizes:
        for batch in everything(lattice, lattice.supports(size)[part - 1 :: parts]):
            fractions = evaluators[0].fractions(batch.support, batch.parts)
            lab = evaluators[0].lab(fractions, lattice.load_values[batch.load], batch.ground)
            for evaluator, kept in zip(evaluators, picks, strict=True):
                kept.offer(batch._replace(de00=evaluator.difference(lab)))
    return picks


def _compared(picks: list[Picks]) -> Iterator[str]:
    """Record what listing gave, and compare what the search gives."""
    curves, settings = hard_shelf()
    rules, targets = Rules.of(settings), hard_targets(curves, settings)
    listed = [
        [
            *(recipe and str(recipe) for recipe in (kept.simplest, kept.surest, kept.closest)),
            *(str(recipe) for recipe in kept.trade_off[: rules.top]),
        ]
        for kept in picks
    ]
    LISTED_PICKS.write_text(json.dumps(listed, indent=1) + "\n", encoding="utf-8")
    same = sum(
        hard_picks(search(curves, settings, lab_target(target), rules)) == wanted
        for (_, target), wanted in zip(targets, listed, strict=True)
    )
    yield f"identical picks and trade-off: {same} of {len(targets)} targets"


def _others(median: float) -> Iterator[str]:
    """General-purpose solvers on the same objective, three planted targets."""
    curves, settings = hard_shelf()
    lattice = Lattice.of(Rules.of(settings))
    for _, target in hard_targets(curves, settings)[:3]:
        evaluator = target_evaluator(curves, settings, target)
        best = search(curves, settings, lab_target(target), lattice.rules).recipes[-1].de00
        assert best is not None
        for name, solver in (
            ("differential evolution", _evolve),
            ("least squares, rounded", _least_squares),
        ):
            start = time.process_time()
            reached = solver(evaluator, lattice)
            seconds = time.process_time() - start
            yield (
                f"{name:24} {seconds:7.2f} s  {seconds / median:6.1f} medians of ours, "
                f"{reached - best:7.4f} above the best ({best:.4f})"
            )


def _evolve(evaluator: Evaluator, lattice: Lattice) -> float:
    """Run differential evolution over three toners, their parts, load and ground, integral."""
    toners, parts = len(lattice.rules.toners), lattice.rules.max_part

    def objective(points: FloatArray, /) -> Any:
        columns: IntArray = np.atleast_2d(points.T).astype(np.int64)
        fractions = np.zeros((len(columns), len(evaluator.curves.toners)))
        for toner, part in zip(columns[:, :3].T, columns[:, 3:6].T, strict=True):
            np.add.at(fractions, (np.arange(len(columns)), evaluator.toners[toner]), part)
        fractions /= fractions.sum(axis=1, keepdims=True)
        lab = evaluator.lab(fractions, lattice.load_values[columns[:, 6]], columns[:, 7])
        return evaluator.difference(lab)

    low = [0, 0, 0, 1, 1, 1, 0, 0]
    high = [toners - 1] * 3 + [parts] * 3
    high += [len(lattice.loads) - 1, len(lattice.rules.grounds) - 1]
    found = differential_evolution(
        objective,
        Bounds(low, high),
        integrality=[True] * 8,
        vectorized=True,
        updating="deferred",
        popsize=40,
        maxiter=400,
        polish=False,
        rng=np.random.default_rng(0),
    )
    return float(found.fun)


def _least_squares(evaluator: Evaluator, lattice: Lattice) -> float:
    """Amounts of all toners by bounded least squares in CIELAB, the three largest kept, rounded."""
    toners, least = len(lattice.rules.toners), np.inf
    ratios = lattice.ratios(3) / lattice.ratios(3).sum(axis=1, keepdims=True)
    for ground in range(len(lattice.rules.grounds)):
        place: IntArray = np.array([ground])

        def miss(amounts: FloatArray, place: IntArray = place) -> FloatArray:
            found = evaluator.lab(amounts[np.newaxis], np.ones(1), place)[0]
            return np.asarray(found - evaluator.target_labs[0])

        found = least_squares(miss, np.full(toners, 0.4 / toners), bounds=(0.0, 1.6))
        largest = np.sort(np.argsort(found.x)[-3:])
        shares = found.x[largest] / max(found.x[largest].sum(), 1e-9)
        ratio = int(np.argmin(np.square(ratios - shares).sum(axis=1)))
        fractions = evaluator.fractions(largest[np.newaxis], lattice.ratios(3)[[ratio]])
        rows = np.repeat(fractions, len(lattice.loads), axis=0)
        lab = evaluator.lab(rows, lattice.load_values, np.full(len(rows), ground))
        least = min(least, float(evaluator.difference(lab).min()))
    return least


def _growth() -> Iterator[str]:
    """Median time of five planted targets at 8, 16, 32 and 64 toners, and the exponent."""
    sizes, medians = (8, 16, 32, 64), []
    for n_toners in sizes:
        curves, settings = hard_shelf(n_toners)
        times = []
        for _, target in hard_targets(curves, settings)[:9]:
            _forget()
            start = time.process_time()
            found = search(curves, settings, lab_target(target), Rules.of(settings))
            times.append(time.process_time() - start)
        medians.append(float(np.median(times)))
        yield f"{n_toners:3} toners  {found.proof.admissible:15,} recipes  {medians[-1]:8.3f} s"
    exponent = np.polyfit(np.log(sizes), np.log(medians), 1)[0]
    yield f"time grows as toners to the power {exponent:.2f} (listing: 3)"


def _hazy() -> Iterator[str]:
    """Median times with ever more toners that scatter: the common job, then the hard case."""
    common = {"n_toners": 12, "n_grounds": 4}
    hard = {"n_toners": 24, "n_grounds": 6, "coats": (1, 8), "max_part": 6}
    hard["medium_parts"] = (4, 5, 6, 8, 10, 12)
    for shelf, counts, every in ((common, (0, 1, 3), 4), (hard, (0, 3), 3)):
        clear = 0.0
        for hazy in counts:
            curves, settings = invented_shelf(SEED, hazy=hazy, **shelf)
            rules = Rules.of(settings)
            times = []
            for _, target in hard_targets(curves, settings)[::every]:
                _forget()
                curves, settings = invented_shelf(SEED, hazy=hazy, **shelf)
                start = time.process_time()
                found = search(curves, settings, lab_target(target), rules)
                times.append(time.process_time() - start)
            median = float(np.median(times))
            clear = clear or median
            yield (
                f"{hazy} hazy of {shelf['n_toners']} toners  {found.proof.colours:10,} colours, "
                f"worked out {found.proof.evaluated:7,}  median {median:6.3f} s, most "
                f"{max(times):6.3f} s  {median / clear:5.1f} times clear"
            )


if __name__ == "__main__":
    main()
