"""Panels a job, in the booth: the figure that the project lives by.

A lean run of `tests/benchmarks/bench_jobs.py`, which sprays hundreds of jobs and prints the same
figures; with so few jobs the bars only catch what has gone clearly wrong.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest

from outside.job_figures import Trial, figures, report, run_jobs
from outside.job_trials import KINDS

pytestmark = pytest.mark.trial

WORLDS, JOBS_A_WORLD = (301,), 16
# Over the floor of the same run; sixteen jobs leave .3 on a difference.
MOST_EXTRA = {"spectral": 1.0, "Lab": 1.1}
MOST_MADE_WORSE = 0.13  # two of sixteen


@pytest.mark.parametrize("kind", KINDS)
def test_a_job_takes_few_panels(kind: str, report_figure: Callable[[str], None]) -> None:
    """Following match and adjust costs little more than knowing the true recipe."""
    trial = Trial(kind)
    found = figures([*run_jobs(trial, WORLDS, JOBS_A_WORLD)])
    report_figure(f"whole jobs, {report(trial, found)}")
    assert found.jobs == JOBS_A_WORLD
    assert found.panels <= found.floor + MOST_EXTRA[kind]
    assert found.made_worse <= MOST_MADE_WORSE
