"""What all tests share.

Figures that trials measure stand below their results. Property tests try the same examples in every
run; ``pytest tests/property --hypothesis-profile explore`` looks for new ones.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest
from hypothesis import settings

settings.register_profile("same", derandomize=True, deadline=None)
settings.register_profile("explore", derandomize=False, deadline=None)
settings.load_profile("same")


@pytest.fixture
def report_figure(request: pytest.FixtureRequest) -> Callable[[str], None]:
    """Give a function whose text stands at the end of the run, from whichever process."""

    def report(text: str) -> None:
        request.node.user_properties.append(("figure", text.strip()))

    return report


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
