"""What all tests share.

Figures that trials measure stand below their results. Property tests try the same examples in every
run; ``pytest tests/property --hypothesis-profile explore`` looks for new ones.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

import shared

# A process a core is busy as it is: threads of linear algebra beside them would only wait.
# Set before numpy is imported, here and in the processes that are started from here.
for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):
    os.environ.setdefault(name, "1")

settings.register_profile("same", derandomize=True, deadline=None)
settings.register_profile("explore", derandomize=False, deadline=None)
settings.load_profile("same")


@pytest.fixture
def report_figure(request: pytest.FixtureRequest) -> Callable[[str], None]:
    """Give a function whose text stands at the end of the run, from whichever process."""

    def report(text: str) -> None:
        request.node.user_properties.append(("figure", text.strip()))

    return report


_PLACE = pytest.StashKey[Path]()


def pytest_configure(config: pytest.Config) -> None:
    """Give the run's processes one folder for what they share."""
    told: dict[str, str] | None = getattr(config, "workerinput", None)
    if told is None:
        config.stash[_PLACE] = Path(tempfile.mkdtemp(prefix="shared-"))
    shared.use(Path(told["shared"]) if told else config.stash[_PLACE])


@pytest.hookimpl(optionalhook=True)
def pytest_configure_node(node: Any) -> None:
    """Tell a process of pytest-xdist where that is."""
    node.workerinput["shared"] = str(node.config.stash[_PLACE])


def pytest_unconfigure(config: pytest.Config) -> None:
    """Remove it when the run has ended."""
    if _PLACE in config.stash:
        shutil.rmtree(config.stash[_PLACE], ignore_errors=True)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Print the figures that were measured, in the order of the tests' names."""
    ended = (*terminalreporter.stats.get("passed", ()), *terminalreporter.stats.get("failed", ()))
    figures = [
        (each.nodeid, text)
        for each in ended
        if each.when == "call"
        for name, text in each.user_properties
        if name == "figure"
    ]
    if figures:
        terminalreporter.section("figures")
    for _, text in sorted(figures):
        terminalreporter.write_line(text)
