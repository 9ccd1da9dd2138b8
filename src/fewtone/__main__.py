"""``fewtone`` and ``python -m fewtone``: the command line, interrupted quietly from the start."""

from __future__ import annotations

import os
import signal
import sys
from types import FrameType


def main() -> None:
    """Run a command and exit with its code."""
    signal.signal(signal.SIGINT, _leave)
    from fewtone.cli.main import main as run
    from fewtone.io.interrupts import note_unraisable, on_interrupt

    sys.unraisablehook = note_unraisable
    try:
        signal.signal(signal.SIGINT, on_interrupt)
        run()
    except KeyboardInterrupt:
        _leave()
    finally:
        signal.signal(signal.SIGINT, signal.SIG_IGN)


def _leave(_: int = 0, __: FrameType | None = None) -> None:
    # Imports may turn an exception into another one: leave at once, nothing is open.
    os.write(2, b"Interrupted.\n")
    os._exit(130)


if __name__ == "__main__":
    main()
