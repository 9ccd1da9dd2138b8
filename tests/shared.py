"""What several tests need is made once a run, by whichever process comes to it first.

Without a run of pytest, as in a script, it is made each time that it is asked for.
"""

from __future__ import annotations

import os
import pickle
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

from filelock import FileLock

__all__ = ["learnt_demo", "shared", "shared_folder", "sized", "use"]

T = TypeVar("T")
_WHOLE = os.environ.get("TRIALS") == "whole"
_places: list[Path] = []


def sized(short: T, whole: T) -> T:
    """How long a trial is: short, or whole under ``TRIALS=whole python -m pytest -m trial``."""
    return whole if _WHOLE else short


def use(place: Path) -> None:
    """Keep what is shared in this folder, which the run's processes share and remove."""
    _places[:] = [place]


def shared(name: str, make: Callable[[], T]) -> T:
    """What `make` gives, a copy for each who asks; `name` says all that it depends on."""
    if not _places:
        return make()
    path = _places[0] / f"{name}.pickle"
    with FileLock(f"{path}.lock"):
        if not path.exists():
            made = pickle.dumps(make())
            path.write_bytes(made)
    found: T = pickle.loads(path.read_bytes())
    return found


def learnt_demo() -> Path:
    """A learnt copy of the demo shelf that no test may change."""
    import fewtone

    def fill(place: Path) -> None:
        fewtone.new(place, demo=True)
        fewtone.learn(place)

    return shared_folder("lamp-bench", fill)


def shared_folder(name: str, fill: Callable[[Path], object]) -> Path:
    """A folder that `fill` has filled, and that no test may change."""
    if not _places:
        raise RuntimeError("a folder is shared within a run of pytest only")
    path = _places[0] / name
    with FileLock(f"{path}.lock"):
        if not path.exists():
            unfinished = path.with_name(f"{name}-unfinished")
            fill(unfinished)
            unfinished.rename(path)
    return path
