"""Whole jobs in the spraying booth: panels a job, beside the floor of the same run.

    python tests/benchmarks/bench_jobs.py [--jobs 320] [--seed 201] [--way headline]

Each world is a shelf of ten toners over four grounds whose flakes are unlike, learnt from strips of
a 5 % hand, as spectra and as Lab. Its jobs ask for colours of two and three toners, on and off the
tool's own grid: match, spray the pick, read, follow `adjust`, at most six panels, tolerance 1. The
floor is someone who knows the true recipe and fights only their own hand, in the same hand's draws.
`--way closest` sprays the closest instead of the headline, `--way respray` adjusts nothing.
"""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_name, "1")  # before numpy is loaded
sys.path.insert(0, str(Path(__file__).parents[1]))

from outside.job_trials import KINDS, report, run_jobs  # noqa: E402

JOBS_A_WORLD = 20


def main() -> None:
    """Print the figures of both kinds of shelf."""
    parser = argparse.ArgumentParser(description="Whole jobs in the booth: panels a job.")
    parser.add_argument("--jobs", type=int, default=320, help="of each kind of shelf")
    parser.add_argument("--seed", type=int, default=201, help="of the first world")
    parser.add_argument("--kind", choices=[*KINDS], help="one kind alone")
    parser.add_argument("--way", default="headline", choices=("headline", "closest", "respray"))
    asked = parser.parse_args()
    worlds = range(asked.seed, asked.seed + -(-asked.jobs // JOBS_A_WORLD))
    for kind in [asked.kind] if asked.kind else [*KINDS]:
        print(report(kind, run_jobs(kind, worlds, JOBS_A_WORLD, asked.way)), flush=True)


if __name__ == "__main__":
    main()
