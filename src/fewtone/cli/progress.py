"""How far a long run is, and how long it will take: on standard error."""

from __future__ import annotations

import sys
import time
from pathlib import Path
from types import TracebackType
from typing import Any

from fewtone.cli.door import to_stderr
from fewtone.errors import printable

__all__ = ["Countdown", "time_left"]

_FIRST_S, _EVERY_S = 2.0, 30.0  # where standard error is no terminal
_ON_TERMINAL_S = 0.2


class Countdown:
    """Says how many are done and how long the rest will take; a bar where there is a terminal.

    Parameters
    ----------
    what
        What is counted, such as ``swatches``.
    out
        The file that the run writes, which an interruption speaks of.
    """

    def __init__(self, what: str, out: Path) -> None:
        self.what, self.out = what, out
        self._begun = self._reported = 0.0
        self._before: int | None = None
        self._done = self._total = 0
        self._bar: Any = None

    def __enter__(self) -> Countdown:
        """Begin to count time."""
        self._begun = self._reported = time.monotonic()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Take the bar away; of an interruption, say what is kept."""
        if self._bar is not None:
            self._bar.stop()
        if kind is not None and self._done and self._done > 0:
            to_stderr(
                printable(
                    f"{self._done:,} of {self._total:,} {self.what} are kept beside {self.out}: "
                    "the same command goes on from there."
                )
                + "\n"
            )

    def report(self, done: int, total: int) -> None:
        """So many of so many are done."""
        now = time.monotonic()
        if self._before is None:
            self._before, self._begun = done, now
        self._done, self._total = done, total
        terminal = sys.stderr is not None and not sys.stderr.closed and sys.stderr.isatty()
        every = _ON_TERMINAL_S if terminal else _EVERY_S
        first = now - self._begun >= _FIRST_S and self._reported <= self._begun
        if done >= total or not (first or now - self._reported >= every):
            return
        self._reported = now
        left = time_left(now - self._begun, done - self._before, total - done)
        if terminal:
            self._draw(left)
        else:
            to_stderr(f"{done:,} of {total:,} {self.what}, {left}\n")

    def _draw(self, left: str) -> None:
        if self._bar is None:
            from rich.console import Console
            from rich.progress import BarColumn, Progress, TextColumn

            columns = (TextColumn("{task.description}"), BarColumn())
            self._bar = Progress(*columns, console=Console(stderr=True), transient=True)
            self._bar.add_task("", total=self._total)
            self._bar.start()
        words = f"{self._done:,} of {self._total:,} {self.what}, {left}"
        self._bar.update(self._bar.task_ids[0], completed=self._done, description=words)


def time_left(spent_s: float, done: int, left: int) -> str:
    """How long `left` more take where `done` took so many seconds, in words."""
    if done <= 0 or spent_s <= 0.0:
        return "time left not known yet"
    seconds = spent_s / done * left
    if seconds < 90.0:
        return f"about {max(1, round(seconds))} s left"
    if seconds < 90.0 * 60.0:
        return f"about {round(seconds / 60.0)} min left"
    return f"about {seconds / 3600.0:.1f} h left"
