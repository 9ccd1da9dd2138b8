"""Answering on a Dask cluster, with ``fewtone[cluster]``.

The shelf travels to the scheduler once, as the result of a task: the scheduler can have that done
again, so that a worker that is lost takes nothing along. A swatch that a lost worker was at is
given to another. Cluster and client trust each other with any code: use only one of your own.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import Any

from fewtone.decks.run import Runner, flow
from fewtone.decks.swatch import Answer, Question, answer_packed
from fewtone.errors import Fault, FewtoneError, UsageError
from fewtone.model.target import Target

__all__ = ["on_cluster"]

_PATIENCE_S = 15
_AHEAD = 4  # swatches under way for each thread of the cluster
_RETRIES = 10  # of a swatch whose workers are lost


@contextmanager
def on_cluster(scheduler: str) -> Iterator[Runner]:
    """Answer on the workers of a Dask scheduler.

    Parameters
    ----------
    scheduler
        Its address, such as ``tcp://127.0.0.1:8786``.

    Raises
    ------
    FewtoneError
        ``distributed`` is not there, or nothing answers at that address.
    """
    try:
        from distributed import Client
    except ImportError as error:
        raise FewtoneError(
            Fault(
                f"A cluster needs Dask's distributed, which is not ready here ({error}).",
                fix="Run: pip install 'fewtone[cluster]'.",
            )
        ) from error

    class Connected(Client):
        """A client that is closed below, and not when it is forgotten.

        One that could not connect would wait half a minute there, and print a traceback.
        """

        def __del__(self) -> None:
            """Nothing."""

    try:
        client: Any = Connected(  # type: ignore[no-untyped-call]
            scheduler, timeout=_PATIENCE_S, set_as_default=False
        )
    except (OSError, ValueError, TypeError) as error:
        raise UsageError(
            Fault(
                f"No Dask scheduler answers at this address: {error or 'no answer'}.",
                fix="Give it as tcp://HOST:PORT, as the scheduler says when it starts.",
                value=scheduler,
            )
        ) from error
    with client:
        yield _runner(client)


def _runner(client: Any) -> Runner:
    from concurrent.futures import CancelledError

    from distributed import KilledWorker
    from distributed.comm.core import CommClosedError

    def run(
        question: Question, targets: Iterable[tuple[int, Target]]
    ) -> Iterator[tuple[int, Answer]]:
        threads = sum(client.nthreads().values())
        if not threads:
            raise FewtoneError(
                Fault("This cluster has no workers.", fix="Start some, then run it again.")
            )
        shelf = client.submit(bytes, question.packed(), retries=_RETRIES)
        executor = client.get_executor(pure=False, retries=_RETRIES)
        try:
            yield from flow(
                lambda target: executor.submit(answer_packed, shelf, target),
                targets,
                _AHEAD * threads,
            )
        except (KilledWorker, CommClosedError, CancelledError) as error:
            raise FewtoneError(
                Fault(
                    f"The cluster gave up: {str(error)[:300] or type(error).__name__}.",
                    fix="See to it that its workers have enough memory and the scheduler runs; "
                    "the same command then goes on where it stopped.",
                )
            ) from error

    return run
