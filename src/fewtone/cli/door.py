"""What leaves the process: the one place that writes to standard output and standard error.

Nothing that a file or an argument holds reaches a terminal as a control sequence:
`fewtone.errors.printable` puts such characters into words. Writing cannot fail in a way that is not
told: a reader that went away is no fault, a full disk or a closed stream is one, and is told where
it still can be.
"""

from __future__ import annotations

import contextlib
import errno
import os
import sys
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, TextIO

from fewtone.errors import UNPRINTABLE, Fault, FewtoneError
from fewtone.io.interrupts import raise_if_waiting

__all__ = [
    "OutputError",
    "changes",
    "document_is_out",
    "hold_streams",
    "opened",
    "to_stderr",
    "to_stdout",
    "write_document",
]


class OutputError(FewtoneError):
    """The answer could not be written to standard output."""


@dataclass(slots=True)
class _State:
    """What became of standard output in this run of a command."""

    lost: bool = False
    document: bool = False


_state = _State()


@contextlib.contextmanager
def opened() -> Iterator[None]:
    """One run of a command, from its first word out to its last."""
    from fewtone.io.atomic import record_writes

    _state.lost = _state.document = False
    with record_writes():
        yield


def to_stdout(text: str) -> None:
    """Write to standard output at once; nothing more once its reader is gone.

    Raises
    ------
    OutputError
        It is closed, or its disk is full.
    """
    raise_if_waiting()
    if _state.lost:
        return
    try:
        if sys.stdout is None:
            raise OSError(errno.EBADF, os.strerror(errno.EBADF))
        sys.stdout.write(_encodable(text, sys.stdout))
        sys.stdout.flush()
    except BrokenPipeError:
        _lose_stdout()
    except (OSError, ValueError) as error:
        _lose_stdout()
        raise OutputError(
            Fault(
                "The answer could not be written to standard output: "
                f"{getattr(error, 'strerror', None) or error}.",
                fix="Send it to where there is room, or leave it in the terminal.",
            )
        ) from error


def to_stderr(text: str) -> None:
    """Write to standard error; there is nowhere to tell that it failed."""
    with contextlib.suppress(OSError, ValueError):
        if sys.stderr is not None:
            sys.stderr.write(_encodable(text, sys.stderr))
            sys.stderr.flush()


def write_document(document: Mapping[str, Any], *, ascii_only: bool) -> None:
    """Write the run's one JSON document; a second one is not written."""
    import json

    if _state.document:
        return
    text = json.dumps(document, ensure_ascii=ascii_only, indent=1)
    _state.document = True
    to_stdout(UNPRINTABLE.sub(lambda match: f"\\u{ord(match[0]):04x}", text) + "\n")


def document_is_out() -> bool:
    """Whether the run's JSON document was written, or standard output lost."""
    return _state.document or _state.lost


def changes() -> str:
    """What this run wrote, in a sentence that is true."""
    from fewtone.io.atomic import files_written

    files = files_written()
    if not files:
        return "No file of yours was changed."
    names = ", ".join(str(file) for file in files)
    return f"Written all the same, and not to be done again: {names}."


def hold_streams() -> None:
    """Put the null device where a standard stream is closed, lest a file take its number."""
    for number in range(3):
        try:
            os.fstat(number)
        except OSError:
            with contextlib.suppress(OSError):
                os.open(os.devnull, os.O_RDWR)


def _lose_stdout() -> None:
    """Give up standard output, so that nothing is said of it at the end either."""
    _state.lost = True
    with contextlib.suppress(OSError, ValueError, AttributeError):
        if sys.stdout is sys.__stdout__ and sys.__stdout__ is not None:
            null = os.open(os.devnull, os.O_WRONLY)
            os.dup2(null, sys.__stdout__.fileno())
            os.close(null)


def _encodable(text: str, stream: TextIO) -> str:
    encoding = getattr(stream, "encoding", None) or "utf-8"
    return text.encode(encoding, "backslashreplace").decode(encoding)
