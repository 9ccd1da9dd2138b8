"""Prints what worlds less kind than assumed do to predictions and their certainty.

    python tests/benchmarks/worlds_table.py [--mode Lab] [--seeds 3] [--keep FOLDER] [--passes]
        [WORD ...]

Rows are those of tests/outside/unkind_worlds.py; words choose the rows whose names hold one of
them. Each line pools the seeds: ΔE00 median and 90th percentile of predictions of blends that
were never sprayed, the share of Lab coordinates within their 95 % and 68 % intervals, the share of
blends that are sure and wrong (ΔE00 above 1 and more than three standard deviations off in some
coordinate), and the median seconds that learning and predicting took. With `--keep`, readings are
stored in the folder and used again until the booth or the row changes; learning is always done.
With `--passes`, the rows' chances to pass are compared with fresh panels instead: the share that
passed less the chance that was told, in ten bins of the chance; 20 panels of each of 40 blends over
four grounds.
"""

from __future__ import annotations

import argparse
import os
import statistics
import sys
import time
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
    Row,
    booth_of,
    learnt,
    outcome,
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
    parser.add_argument("--keep", type=Path, help="where to store what the booth read")
    parser.add_argument("--passes", action="store_true", help="chances to pass instead")
    chosen = parser.parse_args()
    if chosen.keep:
        chosen.keep.mkdir(parents=True, exist_ok=True)
    if not chosen.passes:
        print(f"{'':34s}{'':11s}  median   p90   95 %  68 %   sure and wrong, seconds")
    show = _print_passes if chosen.passes else _print
    for name, row in ROWS.items():
        if not chosen.words or any(word in name for word in chosen.words):
            for mode in chosen.mode or MODES:
                show(name, row, mode, chosen.seeds, chosen.keep)


def _print(name: str, row: Row, mode: str, seeds: int, keep: Path | None) -> None:
    outcomes: list[Outcome] = []
    seconds: list[float] = []
    for seed in range(1, seeds + 1):
        start = time.perf_counter()
        outcomes.append(outcome(row, mode, seed, keep))
        seconds.append(time.perf_counter() - start)
    print(
        f"{name:34s}{mode:11s}  {pooled(outcomes)}  {statistics.median(seconds):5.1f} s",
        flush=True,
    )


def _print_passes(name: str, row: Row, mode: str, seeds: int, keep: Path | None) -> None:
    said, seen = [], []
    told = row.world.says_panel_cv
    mixing = Mixing(
        panel_cv=row.panel_cv if told is None else told, coat_cv=COAT_CV, pour_cv=POUR_CV
    )
    for seed in range(1, seeds + 1):
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
