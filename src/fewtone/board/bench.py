"""What the board works on: the shelves it may open, what was learnt of them, and the job book.

Files are the truth: a shelf is loaded anew as soon as its files change, whoever changed them. Only
shelves that were found when a request came can be named, each by a key that stands in addresses; no
part of a request is ever a path.
"""

from __future__ import annotations

import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Hashable, Mapping
from pathlib import Path
from typing import Any, TypeVar

from fewtone.api import learn, load
from fewtone.errors import Fault, FewtoneError, UsageError
from fewtone.io.curves import CURVES_FILE
from fewtone.io.files import real_path
from fewtone.io.learnt import LEARNT_FILE, load_learnt
from fewtone.io.readings import READINGS_FILE
from fewtone.io.settings import SETTINGS_FILE, load_settings
from fewtone.io.typed_rows import TypedRows, read_rows
from fewtone.jobs import Book
from fewtone.model.names import slug
from fewtone.model.shelf import ShelfSettings
from fewtone.shelf import Shelf

__all__ = ["Bench", "Learning", "OpenShelf"]

_MOST_ANSWERS = 64
_FILES = (SETTINGS_FILE, READINGS_FILE, CURVES_FILE)

T = TypeVar("T")
Stamp = tuple[tuple[int, int, int] | None, ...]


class Learning:
    """Learning that goes on beside the pages.

    Parameters
    ----------
    work
        What is done; it says how many of how many steps are done.
    """

    def __init__(self, work: Callable[[Callable[[int, int], None]], object]) -> None:
        self.done, self.steps = 0, 0
        self.error: Exception | None = None
        self._work, self._began = work, time.monotonic()
        self._took: float | None = None
        self._thread = threading.Thread(target=self._run, name="learning", daemon=True)
        self._thread.start()

    @property
    def is_running(self) -> bool:
        """Whether it has not ended yet."""
        return self._took is None

    @property
    def seconds(self) -> float:
        """How long it has taken so far, or took."""
        return time.monotonic() - self._began if self._took is None else self._took

    def wait(self, seconds: float) -> None:
        """Wait for its end, but not longer than this."""
        self._thread.join(seconds)

    def _step(self, done: int, steps: int) -> None:
        self.done, self.steps = done, steps

    def _run(self) -> None:
        try:
            self._work(self._step)
        except Exception as error:  # told on the page that asks how it went
            self.error = error
        finally:
            self._took = time.monotonic() - self._began


class OpenShelf:
    """One shelf's folder.

    Parameters
    ----------
    key
        What it goes by in addresses.
    folder
        Where it stands.
    deck
        A deck that holds in place of the one that shelf.toml names; None without one.
    """

    def __init__(self, key: str, folder: Path, deck: Path | None = None) -> None:
        self.key, self.folder, self.deck = key, folder, deck
        self.learning: Learning | None = None
        self._lock = threading.RLock()
        self._loaded: tuple[Stamp, Shelf] | None = None
        self._settings: tuple[Stamp, ShelfSettings] | None = None
        self._learnt_document: tuple[Stamp, dict[str, Any] | None] | None = None
        self._answers: OrderedDict[Hashable, Any] = OrderedDict()

    @property
    def is_learnt(self) -> bool:
        """Whether it has curves."""
        return (self.folder / CURVES_FILE).exists()

    def settings(self) -> ShelfSettings:
        """What its shelf.toml says.

        Raises
        ------
        FewtoneError
            All that is wrong with it.
        """
        stamp = self._stamp()
        with self._lock:
            if self._settings is None or self._settings[0][0] != stamp[0]:
                self._settings = stamp, load_settings(self.folder)
            return self._settings[1]

    def rows(self) -> TypedRows:
        """The rows of its readings.csv, read anew when a file changes.

        Raises
        ------
        FewtoneError
            The file cannot be read as rows.
        """
        return self.answer("rows", lambda: read_rows(self.folder, self.settings()))

    def shelf(self) -> Shelf:
        """The learnt shelf as its files now are.

        Raises
        ------
        FewtoneError
            It is not learnt, or a file is wrong.
        """
        stamp = self._stamp()
        with self._lock:
            if self._loaded is None or self._loaded[0] != stamp:
                self._loaded = stamp, load(self.folder)
            return self._loaded[1]

    @property
    def learnt_document(self) -> Mapping[str, Any] | None:
        """What `learn` told of the curves that hold, as ``--json`` has it; None if not known."""
        stamp = (*self._stamp(), _stamp(self.folder / LEARNT_FILE))
        with self._lock:
            if self._learnt_document is None or self._learnt_document[0] != stamp:
                self._learnt_document = stamp, load_learnt(self.folder, self.folder / CURVES_FILE)
            return self._learnt_document[1]

    def start_learning(
        self, leave_out: tuple[str, ...], *, add_rows: bool, rows_for: str | None = None
    ) -> Learning:
        """Begin to learn, unless that is going on already; the arguments are those of `learn`."""
        with self._lock:
            if self.learning is None or not self.learning.is_running:
                self.learning = Learning(
                    lambda progress: learn(
                        self.folder,
                        leave_out=leave_out,
                        add_rows=add_rows,
                        rows_for=rows_for,
                        progress=progress,
                    )
                )
            return self.learning

    def answer(self, asked: Hashable, work: Callable[[], T]) -> T:
        """What `work` gives for what is asked, remembered as long as no file changes."""
        key = (self._stamp(), asked)
        with self._lock:
            if key in self._answers:
                self._answers.move_to_end(key)
                answer: T = self._answers[key]
                return answer
            answer = work()
            self._answers[key] = answer
            while len(self._answers) > _MOST_ANSWERS:
                self._answers.popitem(last=False)
            return answer

    def _stamp(self) -> Stamp:
        """What tells one state of its files from another."""
        return tuple(_stamp(self.folder / name) for name in _FILES)


class Bench:
    """The shelves under a folder, and the job book.

    Parameters
    ----------
    home
        The folder under which shelves stand, each in a folder of its own; new ones are made there.
    folder
        One shelf that is meant; None for all that stand under `home`.
    book
        The job book; the user's if None.
    deck
        A deck for all shelves; None for each shelf's own.
    """

    def __init__(
        self,
        home: Path,
        *,
        folder: Path | None = None,
        book: Path | None = None,
        deck: Path | None = None,
    ) -> None:
        self.home, self.book = home, Book(book)
        self._only, self._deck = folder, deck
        self._open: dict[Path, OpenShelf] = {}
        self.writing = threading.Lock()

    @property
    def may_add(self) -> bool:
        """Whether a new shelf can be made here."""
        return self._only is None or not (self._only / SETTINGS_FILE).exists()

    def open_shelves(self) -> dict[str, OpenShelf]:
        """The shelves that there are, by their keys."""
        if self._only is not None:
            folders = [self._only] if (self._only / SETTINGS_FILE).exists() else []
        else:
            folders = sorted(file.parent for file in self.home.glob(f"*/{SETTINGS_FILE}"))
        shelves: dict[str, OpenShelf] = {}
        for folder in folders:
            base = slug(real_path(folder).name) or "shelf"
            key = next(
                k for n in range(1, len(folders) + 2) if (k := _numbered(base, n)) not in shelves
            )
            shelf = self._open.setdefault(folder, OpenShelf(key, folder, self._deck))
            shelf.key = key
            shelves[key] = shelf
        return shelves

    def new_folder(self, name: str) -> Path:
        """Where a new shelf of this name is to stand: in a folder made from its letters alone.

        Raises
        ------
        UsageError
            No letter or digit of the name can be used, or there is such a folder.
        """
        if self._only is not None:
            return self._only
        plain = slug(name)[:60].strip("-")
        if not plain:
            raise UsageError(
                Fault("A shelf needs a name.", "Write one with letters or digits.", value=name)
            )
        folder = self.home / plain
        if folder.exists():
            raise FewtoneError(
                Fault(
                    f"There is a shelf '{plain}' already.",
                    "Give this one another name.",
                    value=name,
                )
            )
        return folder


def _numbered(base: str, number: int) -> str:
    return base if number == 1 else f"{base}-{number}"


def _stamp(file: Path) -> tuple[int, int, int] | None:
    try:
        status = file.stat()
    except OSError:
        return None
    return status.st_mtime_ns, status.st_size, status.st_ino
