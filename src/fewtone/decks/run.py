"""Answering many swatches: in this process, in one process a core, or on any executor.

A fixed number of swatches is under way at a time, whatever the deck's length, so that memory stays
flat. Answers come as they are ready, each with its place in the deck.

Processes are started anew, not forked: a fork copies threads' locks without their threads. Each
unpacks the shelf once, leaves Ctrl-C to the one that started it, and ends when that one is gone.
What one of them lists for many swatches (`fewtone.search.listed`) all of them use, by a folder that
goes with them.
If a process is ended from outside, its swatch is asked again of a fresh set of processes.
"""

from __future__ import annotations

import itertools
import os
import signal
import threading
from collections.abc import Callable, Generator, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, Executor, Future, wait
from contextlib import contextmanager
from pathlib import Path
from typing import TypeAlias

from fewtone.decks.swatch import Answer, Question, answer, answer_packed
from fewtone.errors import Fault, FewtoneError
from fewtone.model.target import Target
from fewtone.search.listed import Lists

__all__ = ["Runner", "Submit", "cores", "here", "on_executor", "on_processes"]

Runner: TypeAlias = Callable[[Question, Iterable[tuple[int, Target]]], Iterator[tuple[int, Answer]]]
"""Answers a question for targets, each with its place in the deck, in any order."""

Submit: TypeAlias = Callable[[Target], "Future[Answer]"]

# Swatches under way at once for each process; of an executor, whose size is not known.
_AHEAD, _AHEAD_OF_EXECUTOR = 4, 64
_MOST_RESTARTS = 5


def cores() -> int:
    """How many cores this process may use."""
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:  # not on every system
        return os.cpu_count() or 1


def here(question: Question, targets: Iterable[tuple[int, Target]]) -> Iterator[tuple[int, Answer]]:
    """Answer one swatch after the other in this process.

    Parameters
    ----------
    question
        What is asked for every swatch.
    targets
        The swatches, each with its row in the deck.
    """
    lists = Lists()
    for row, target in targets:
        yield row, answer(question, target, lists)


def on_executor(executor: Executor, ahead: int = _AHEAD_OF_EXECUTOR) -> Runner:
    """Answer on an executor, which is left running.

    Parameters
    ----------
    executor
        Any `concurrent.futures.Executor`. The shelf goes along with each swatch, and is unpacked
        once in each of its processes.
    ahead
        How many swatches are under way at once.

    Raises
    ------
    FewtoneError
        By the runner that it returns: the executor's workers broke down.
    """

    def run(
        question: Question, targets: Iterable[tuple[int, Target]]
    ) -> Iterator[tuple[int, Answer]]:
        packed = question.packed()
        try:
            yield from flow(
                lambda target: executor.submit(answer_packed, packed, target), targets, ahead
            )
        except BrokenExecutor as error:
            raise FewtoneError(
                Fault(
                    f"The executor broke down: {error}",
                    fix="Run it again on a fresh one; with an output file it goes on where it "
                    "stopped.",
                )
            ) from error

    return run


def on_processes(workers: int) -> Runner:
    """Answer in processes of this machine.

    Parameters
    ----------
    workers
        How many processes.

    Raises
    ------
    FewtoneError
        By the runner that it returns: a process ended before its time.
    """

    def run(
        question: Question, targets: Iterable[tuple[int, Target]]
    ) -> Iterator[tuple[int, Answer]]:
        packed, left = question.packed(), _Left(targets)
        for restart in itertools.count():
            answered = False
            try:
                with _pool(workers, packed) as pool:
                    for row, answer in flow(
                        lambda target, pool=pool: pool.submit(_answer, target),  # type: ignore[misc]
                        left,
                        _AHEAD * workers,
                    ):
                        answered = True
                        left.settle(row)
                        yield row, answer
                return
            except BrokenExecutor as error:
                if restart >= _MOST_RESTARTS and not answered:
                    raise FewtoneError(
                        Fault(
                            "The processes that answer end as soon as they are started: they are "
                            "short of memory, or a script of yours starts them where it is "
                            "imported.",
                            fix="Ask for fewer (`workers`); in a script, call this below "
                            "`if __name__ == '__main__':`.",
                        )
                    ) from error

    return run


def flow(
    submit: Submit, targets: Iterable[tuple[int, Target]], ahead: int
) -> Generator[tuple[int, Answer]]:
    """Keep so many swatches under way, and yield what is ready; in the end call off the rest.

    Parameters
    ----------
    submit
        Sends one swatch on its way.
    targets
        The swatches, each with its row in the deck.
    ahead
        How many are under way at once.
    """
    under_way: dict[Future[Answer], int] = {}
    waiting = iter(targets)
    try:
        while True:
            for row, target in itertools.islice(waiting, ahead - len(under_way)):
                under_way[submit(target)] = row
            if not under_way:
                return
            for future in wait(under_way, return_when=FIRST_COMPLETED).done:
                row = under_way.pop(future)
                yield row, future.result()
    finally:
        for future in under_way:
            future.cancel()


class _Left:
    """Targets that are not answered yet: those under way first, when asked for again."""

    def __init__(self, targets: Iterable[tuple[int, Target]]) -> None:
        self._waiting = iter(targets)
        self._under_way: dict[int, Target] = {}

    def __iter__(self) -> Iterator[tuple[int, Target]]:
        yield from list(self._under_way.items())
        for row, target in self._waiting:
            self._under_way[row] = target
            yield row, target

    def settle(self, row: int) -> None:
        """One is answered."""
        del self._under_way[row]


@contextmanager
def _pool(workers: int, packed: bytes) -> Iterator[Executor]:
    from concurrent.futures import ProcessPoolExecutor
    from multiprocessing import get_context

    with _shared_folder() as shared:
        pool = ProcessPoolExecutor(workers, get_context("spawn"), _begin, (packed, shared))
        try:
            with _one_thread_each():
                yield pool
        finally:
            # Those under way are few; waiting for them leaves no process behind.
            pool.shutdown(wait=True, cancel_futures=True)


@contextmanager
def _shared_folder() -> Iterator[Path | None]:
    """A folder for what the processes of a pool share; None if none can be made."""
    import tempfile

    try:
        folder = tempfile.TemporaryDirectory(prefix="fewtone-deck-", ignore_cleanup_errors=True)
    except OSError:  # they do without
        yield None
        return
    with folder as path:
        yield Path(path)


@contextmanager
def _one_thread_each() -> Iterator[None]:
    """Processes that are started in here do their linear algebra on one thread each."""
    names = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")
    before = {name: os.environ.get(name) for name in names}
    os.environ.update(dict.fromkeys(names, "1"))
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value


_packed = b""
_shared: Path | None = None


def _begin(packed: bytes, shared: Path | None) -> None:
    """Begin a process of the pool."""
    global _packed, _shared
    _packed, _shared = packed, shared
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    from multiprocessing import parent_process
    from multiprocessing.connection import wait as wait_for

    parent = parent_process()
    if parent is not None:
        wait_for([parent.sentinel])
        if _shared is not None:
            import shutil

            shutil.rmtree(_shared, ignore_errors=True)
        os._exit(1)


def _answer(target: Target) -> Answer:
    return answer_packed(_packed, target, _shared)
