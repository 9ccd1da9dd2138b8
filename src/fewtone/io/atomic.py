"""Writing a file whole or not at all."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterable
from pathlib import Path

from fewtone.errors import Fault, FewtoneError, UsageError

__all__ = ["refuse_to_overwrite", "write_atomic"]


def write_atomic(path: Path, content: str | bytes) -> None:
    """Write a file so that a crash or a full disk leaves the old one whole.

    The content goes to a temporary file beside it, is forced to the disk, and takes the name in
    one step. Text is written as UTF-8 with plain newlines.

    Raises
    ------
    FewtoneError
        The folder cannot be written to; nothing has changed.
    """
    data = content.encode() if isinstance(content, str) else content
    temporary: Path | None = None
    try:
        handle, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
        temporary = Path(name)
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        temporary.chmod(_usual_mode())
        temporary.replace(path)
    except OSError as error:
        if temporary is not None:
            temporary.unlink(missing_ok=True)
        raise FewtoneError(
            Fault(
                f"This file cannot be written: {error.strerror or error}. Nothing was changed.",
                fix="Make the folder writable or free some space, then run the command again.",
                file=str(path),
            )
        ) from error


def refuse_to_overwrite(files: Iterable[Path]) -> None:
    """Refuse to write over what is there.

    Raises
    ------
    UsageError
        Every file that exists already.
    """
    faults = [
        Fault(
            "There is something of this name already; nothing was written.",
            fix="Write to another name, or say --force to overwrite it.",
            file=str(file),
        )
        for file in files
        if file.exists()
    ]
    if faults:
        raise UsageError(*faults)


def _usual_mode() -> int:
    # mkstemp makes files private; a new file should be as open as the user's mask allows.
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask
