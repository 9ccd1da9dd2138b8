"""Where a deck is answered: here, in processes of this machine, on an executor or on a cluster."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import Executor
from contextlib import contextmanager

from fewtone.decks.run import Runner, cores, here, on_executor, on_processes
from fewtone.errors import Fault, UsageError

__all__ = ["opened_runner"]

# Fewer swatches for each process are answered sooner than the processes have started.
_WORTH_A_PROCESS = 16
_MOST_WORKERS = 1000


@contextmanager
def opened_runner(
    swatches: int,
    *,
    workers: int | None = None,
    executor: Executor | None = None,
    scheduler: str | None = None,
) -> Iterator[Runner]:
    """Open what is to answer.

    Parameters
    ----------
    swatches
        How many swatches there are.
    workers
        Processes of this machine; as many as there are cores to use if None. One process is this
        one, and few swatches need no more.
    executor
        Any `concurrent.futures.Executor`, in place of processes.
    scheduler
        The address of a Dask scheduler, in place of processes.

    Raises
    ------
    FewtoneError
        Two of these are asked for at once, or the scheduler does not answer.
    """
    if sum(asked is not None for asked in (workers, executor, scheduler)) > 1:
        raise UsageError(
            Fault(
                "A deck is answered by processes of this machine, by an executor or by a cluster.",
                fix="Say one of `workers`, `executor` and `scheduler`.",
            )
        )
    if scheduler is not None:
        from fewtone.decks.cluster import on_cluster

        with on_cluster(scheduler) as runner:
            yield runner
        return
    if executor is not None:
        yield on_executor(executor)
        return
    if workers is not None and not 1 <= workers <= _MOST_WORKERS:
        raise UsageError(
            Fault(
                f"`workers` must be a whole number from 1 to {_MOST_WORKERS}.", value=f"{workers}"
            )
        )
    count = min(workers or cores(), -(-swatches // _WORTH_A_PROCESS))
    yield here if count <= 1 else on_processes(count)
