"""Whole jobs in the spraying booth: panels a job, beside the floor of the same run.

    python tests/benchmarks/bench_jobs.py [--jobs 320] [--seed 201] [--kind Lab] [--asked]
    python tests/benchmarks/bench_jobs.py --seed 205 --jobs 80 --append jobs.jsonl

Each world is a shelf of ten toners over four grounds whose flakes are unlike, learnt from strips of
a 5 % hand, as spectra and as Lab; with `--asked` the five panels that `learn` asks for are sprayed
and learnt too. Its jobs ask for colours of two and three toners, on and off the tool's own grid:
match, spray the pick, read, follow `adjust`, at most six panels, tolerance 1. The floor is someone
who knows the true recipe and fights only their own hand, in the same hand's draws.
`--way closest` sprays the closest instead of the headline, `--way surest` the surest, `--way
respray` adjusts nothing. A long run is cut by `--seed` and `--jobs`: `--append FILE` keeps every
job in a file and prints the figures of all that it then holds.
"""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_name, "1")  # before numpy is loaded
sys.path.insert(0, str(Path(__file__).parents[1]))

from outside.job_figures import Trial, append, figures, report, run_jobs, stored  # noqa: E402
from outside.job_trials import KINDS  # noqa: E402

JOBS_A_WORLD = 20


def main() -> None:
    """Print the figures of both kinds of shelf."""
    parser = argparse.ArgumentParser(description="Whole jobs in the booth: panels a job.")
    parser.add_argument("--jobs", type=int, default=320, help="of each kind of shelf")
    parser.add_argument("--seed", type=int, default=201, help="of the first world")
    parser.add_argument("--kind", choices=[*KINDS], help="one kind alone")
    parser.add_argument("--asked", action="store_true", help="spray what learn asks for, too")
    ways = ("headline", "surest", "closest", "respray")
    parser.add_argument("--way", default="headline", choices=ways)
    parser.add_argument("--append", type=Path, metavar="FILE", help="keep every job there")
    told = parser.parse_args()
    worlds = range(told.seed, told.seed + -(-told.jobs // JOBS_A_WORLD))
    for kind in [told.kind] if told.kind else [*KINDS]:
        trial = Trial(kind, told.asked, told.way)
        records = []
        for record in run_jobs(trial, worlds, JOBS_A_WORLD):
            records.append(record)
            if told.append:
                append(told.append, record)
        print(report(trial, figures(stored(told.append, trial) if told.append else records)))


if __name__ == "__main__":
    main()
