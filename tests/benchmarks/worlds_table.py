"""Prints what worlds less kind than assumed do to predictions and their certainty.

    python tests/benchmarks/worlds_table.py [--mode Lab] [--seeds 3] [--keep FOLDER] [--passes]
        [--processes 2] [--markdown] [--floor] [WORD ...]

Rows are those of tests/outside/unkind_worlds.py; words choose the rows whose names hold one of
them. Each line pools the seeds: ΔE00 median and 90th percentile of predictions of blends that
were never sprayed, the share of Lab coordinates within their 95 % and 68 % intervals, and the share
of blends that are sure and wrong (ΔE00 above 1 and more than three standard deviations off in some
coordinate). With `--markdown` each row of the table has all modes. With `--keep`, readings are
stored in the folder and used again until the booth or the row changes; learning is always done.
With `--floor`, what hand and grounds leave of the same panels to someone who knows all but the
toners' strengths and the grounds as they usually are. With `--passes`, the rows' chances to pass
are compared with fresh panels instead: the share that passed less the chance that was told, in ten
bins of the chance; 20 panels of each of 40 blends over four grounds.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from functools import partial
from pathlib import Path

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_name, "1")  # before numpy is loaded
sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np  # noqa: E402

from fewtone.model.shelf import Mixing  # noqa: E402
from outside.uncertainty_trials import passes_of  # noqa: E402
from outside.unkind_worlds import (  # noqa: E402
    MODES,
    ROWS,
    Outcome,
    Stats,
    booth_of,
    learnt,
    outcome,
    panels_floor,
    pooled,
)

_PASS_BLENDS, _PASS_PANELS = 40, 20
# What the booth's hand and cups do, as the shelf is told.
COAT_CV, POUR_CV = 0.04, 0.02


def main() -> None:
    """Run what was asked for and print it, row by row."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("words", nargs="*", help="rows to print; all without")
    parser.add_argument("--mode", action="append", choices=list(MODES), help="all without")
    parser.add_argument("--seeds", type=int, default=3)
    parser.add_argument("--first-seed", type=int, default=1)
    parser.add_argument("--keep", type=Path, help="where to store what the booth read")
    parser.add_argument("--passes", action="store_true", help="chances to pass instead")
    parser.add_argument("--floor", action="store_true", help="what hand and grounds leave instead")
    parser.add_argument("--processes", type=int, default=1)
    parser.add_argument("--markdown", action="store_true", help="one row for all modes")
    told = parser.parse_args()
    names = [name for name in ROWS if not told.words or any(word in name for word in told.words)]
    modes: list[str] = told.mode or list(MODES)
    seeds = range(told.first_seed, told.first_seed + told.seeds)
    if told.floor:
        for name in names:
            off = np.concatenate([panels_floor(ROWS[name], seed).ravel() for seed in seeds])
            print(f"{name:34s}{np.median(off):5.2f} {np.percentile(off, 90):5.2f}", flush=True)
        return
    if told.passes:
        for name in names:
            for mode in modes:
                _print_passes(name, mode, seeds, told.keep)
        return
    _print_head(modes, told.markdown)
    with _folder(told.keep) as keep, ProcessPoolExecutor(told.processes) as pool:
        tasks = [(name, seed) for name in names for seed in seeds]
        results = pool.map(partial(_outcomes, modes=modes, keep=keep), tasks)
        for name in names:
            by_seed = [next(results) for _ in seeds]
            _print(
                name, modes, [pooled(each) for each in zip(*by_seed, strict=True)], told.markdown
            )


@contextmanager
def _folder(keep: Path | None) -> Iterator[Path]:
    if keep is None:
        with tempfile.TemporaryDirectory() as name:
            yield Path(name)
    else:
        keep.mkdir(parents=True, exist_ok=True)
        yield keep


def _outcomes(task: tuple[str, int], modes: Sequence[str], keep: Path) -> list[Outcome]:
    """Predictions of one world in each mode; all modes read one booth, whose truth is shared."""
    name, seed = task
    return [outcome(ROWS[name], mode, seed, keep) for mode in modes]


def _print_head(modes: Sequence[str], markdown: bool) -> None:
    if markdown:
        shown = " | ".join(f"{mode}: median, 90 % within; covers" for mode in modes)
        print(f"| what reality does | {shown} | sure and wrong |")
        print("|---" * (len(modes) + 2) + "|", flush=True)
    else:
        print(f"{'':34s}{'':11s}  median   p90   95 %  68 %   sure and wrong", flush=True)


def _print(name: str, modes: Sequence[str], stats: Sequence[Stats], markdown: bool) -> None:
    if markdown:
        cells = [
            f"{one.median:.2f}, {one.p90:.2f}; {_share(one.covers_95)}, {_share(one.covers_68)}"
            for one in stats
        ]
        wrong = ", ".join(f"{100 * one.sure_and_wrong:.1f}" for one in stats)
        print(f"| {name} | {' | '.join(cells)} | {wrong} % |", flush=True)
    else:
        for mode, one in zip(modes, stats, strict=True):
            print(f"{name:34s}{mode:11s}  {one}", flush=True)


def _share(value: float) -> str:
    return f"{value:.2f}".removeprefix("0")


def _print_passes(name: str, mode: str, seeds: Sequence[int], keep: Path | None) -> None:
    said, seen, row = [], [], ROWS[name]
    told = row.world.says_panel_cv
    mixing = Mixing(
        panel_cv=row.panel_cv if told is None else told, coat_cv=COAT_CV, pour_cv=POUR_CV
    )
    for seed in seeds:
        shelf, _ = learnt(row, mode, seed, keep)
        one = passes_of(booth_of(row, seed), shelf.curves, seed, _PASS_BLENDS, _PASS_PANELS, mixing)
        said.append(one[0])
        seen.append(one[1])
    chances, shares = np.concatenate(said), np.concatenate(seen)
    bins = np.minimum((10.0 * chances).astype(int), 9)
    gaps = [
        f"{place / 10:.1f}: {shares[here].mean() - chances[here].mean():+.2f} ({here.sum()})"
        for place in range(10)
        if (here := bins == place).any()
    ]
    print(f"{name:34s}{mode:11s}  {', '.join(gaps)}", flush=True)


if __name__ == "__main__":
    main()
