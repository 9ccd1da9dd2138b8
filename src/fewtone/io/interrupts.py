"""SIGINT: it stops a command anywhere, but never between what is written and its being noted.

Python raises `KeyboardInterrupt` wherever it happens to be. Imports of some libraries turn it into
another exception, and destructors swallow it; so it is remembered here as well.
"""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from types import FrameType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from sys import UnraisableHookArgs

__all__ = ["held", "interrupted", "note_unraisable", "on_interrupt", "raise_if_waiting"]


@dataclass(slots=True)
class _State:
    came: bool = False
    waits: bool = False
    holds: int = 0


_state = _State()


def on_interrupt(number: int, frame: FrameType | None) -> None:  # noqa: ARG001
    """Handle SIGINT.

    Parameters
    ----------
    number, frame
        What Python says to a handler; neither is used.

    Raises
    ------
    KeyboardInterrupt
        Now, or inside `held` at its end.
    """
    _state.came = True
    if _state.holds:
        _state.waits = True
    else:
        raise KeyboardInterrupt


def interrupted() -> bool:
    """Whether an interrupt came, whatever became of its exception."""
    return _state.came


def raise_if_waiting() -> None:
    """Take up an interrupt that came where it could not be raised.

    Raises
    ------
    KeyboardInterrupt
        There is one.
    """
    if _state.waits and not _state.holds:
        _state.waits = False
        raise KeyboardInterrupt


@contextlib.contextmanager
def held() -> Iterator[None]:
    """Keep an interrupt waiting: what is done here is done whole."""
    _state.holds += 1
    try:
        yield
    finally:
        _state.holds -= 1
    raise_if_waiting()


def note_unraisable(what: UnraisableHookArgs) -> None:
    """Note an interrupt that came inside a destructor, where none can be raised.

    Parameters
    ----------
    what
        As `sys.unraisablehook` is given it.
    """
    if issubclass(what.exc_type, KeyboardInterrupt):
        _state.came = _state.waits = True
    else:
        sys.__unraisablehook__(what)
