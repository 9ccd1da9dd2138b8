"""What is kept of a fault of our own: a report in the folder for temporary files."""

from __future__ import annotations

import platform
import tempfile
from collections.abc import Iterable

from fewtone.version import __version__

__all__ = ["write_fault_report"]


def write_fault_report(doing: str, trace: Iterable[str]) -> str | None:
    """Write a report.

    Parameters
    ----------
    doing
        What was done, such as the words of the command.
    trace
        The lines of the traceback.

    Returns
    -------
    The file; None where there was no room for one.
    """
    report = [f"fewtone {__version__}, Python {platform.python_version()}", doing, *trace]
    try:
        with tempfile.NamedTemporaryFile(
            "w",
            prefix="fewtone-fault-",
            suffix=".txt",
            delete=False,
            encoding="utf-8",
            errors="backslashreplace",
        ) as file:
            file.write("\n".join(report))
            return file.name
    except OSError:
        return None
