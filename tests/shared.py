"""What several tests need is made once a run, by whichever process comes to it first.

Without a run of pytest, as in a script, it is made each time that it is asked for.
"""

from __future__ import annotations

import copyreg
import hashlib
import io
import os
import pickle
from collections.abc import Callable, Collection
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, TypeVar

from filelock import FileLock

if TYPE_CHECKING:
    from fewtone.learning import Learnt
    from fewtone.model.readings import Readings
    from fewtone.model.shelf import ShelfSettings

__all__ = ["learnt", "learnt_demo", "shared", "shared_folder", "sized", "use"]

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
            path.write_bytes(_pickled(make()))
    found: T = pickle.loads(path.read_bytes())
    return found


def _read_only(items: dict[object, object]) -> MappingProxyType[object, object]:
    return MappingProxyType(items)


def _pickled(value: object) -> bytes:
    """Its bytes; those of mappings that may only be read, too."""
    out = io.BytesIO()
    pickler = pickle.Pickler(out)
    pickler.dispatch_table = {
        **copyreg.dispatch_table,
        MappingProxyType: lambda mapping: (_read_only, (dict(mapping),)),
    }
    pickler.dump(value)
    return out.getvalue()


def learnt(
    settings: ShelfSettings,
    readings: Readings,
    *,
    leave_out: Collection[str] = (),
    progress: Callable[[int, int], None] | None = None,
) -> Learnt:
    """What `fewtone.learning.estimate` gives; the same question is learnt once a run."""
    from fewtone.learning.estimate import estimate

    asked = hashlib.sha256(_pickled((settings, readings, list(leave_out)))).hexdigest()
    return shared(
        f"learnt-{asked}",
        lambda: estimate(settings, readings, leave_out=leave_out, progress=progress),
    )


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
