"""What is answered of a deck so far, kept beside the file that is to be written.

``OUT.csv.unfinished`` is an SQLite file: each answer is committed as it comes, so that a process
may be killed at any instant and the next run goes on behind the last answer. (Its log is not forced
to the disk at each of them: the power going may cost the last seconds, and no more.) It is held for
writing while a run lasts, so that two runs cannot write one file. It says which deck, shelf, rules
and version it is of; a run of anything else leaves it alone. Once OUT.csv is written it is removed.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import sqlite3
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import fields, is_dataclass
from pathlib import Path

import numpy as np

from fewtone.decks.swatch import Answer, Question
from fewtone.errors import Fault, FewtoneError, UsageError
from fewtone.model.target import Target
from fewtone.version import __version__

__all__ = ["ENDING", "Unfinished", "fingerprint"]

ENDING = ".unfinished"

# "fwtd": says of a SQLite file that it holds answers to a deck.
_APPLICATION = 0x66777464
_CACHE_KIB = 128


def fingerprint(question: Question, targets: Sequence[Target]) -> str:
    """SHA-256 of all that answers hang on: deck, shelf, rules and version."""
    digest = hashlib.sha256(__version__.encode())
    _take_in(digest, question)
    for target in targets:
        _take_in(digest, target)
    return digest.hexdigest()


def _take_in(digest: hashlib._Hash, value: object) -> None:
    """Take a value into a hash by what it says, whatever objects say it."""
    parts: Iterable[object] = ()
    if isinstance(value, np.ndarray):
        digest.update(f"{value.dtype}{value.shape}".encode() + value.tobytes())
    elif is_dataclass(value):
        parts = [item for each in fields(value) for item in (each.name, getattr(value, each.name))]
    elif isinstance(value, Mapping):
        parts = [item for pair in value.items() for item in pair]
    elif isinstance(value, tuple | list):
        parts = value
    else:
        digest.update(repr(value).encode("utf-8", "backslashreplace"))
    digest.update(type(value).__name__.encode() + b"(")
    for part in parts:
        _take_in(digest, part)
    digest.update(b")")


class Unfinished:
    """The answers so far; a context that holds its file for writing.

    Parameters
    ----------
    out
        The file that is to be written in the end.
    mark
        What `fingerprint` says of this run.
    fresh
        Whether to throw away what is there of another run.
    """

    def __init__(self, out: Path, mark: str, *, fresh: bool = False) -> None:
        self.path = out.with_name(out.name + ENDING)
        self._mark, self._fresh = mark, fresh
        self._connection: sqlite3.Connection | None = None

    def __enter__(self) -> Unfinished:
        """Open the file, or make it.

        Raises
        ------
        FewtoneError
            Another run holds it, it is of another run or no such file, or it cannot be written.
        """
        with self._faults():
            if self.path.exists() and not self.path.is_file():
                raise FewtoneError(self._foreign())
            is_new = not self.path.exists()
            self._connection = sqlite3.connect(self.path, timeout=0.5, isolation_level=None)
            try:
                self._take_hold(self._connection)
            except BaseException:
                self._connection.close()
                if is_new and self.path.is_file() and not self.path.stat().st_size:
                    self.path.unlink()  # made just now, and there was no room for more
                raise
        return self

    def __exit__(self, *_: object) -> None:
        """Let go of it; what was not committed is undone. It goes if nothing is answered."""
        if self._connection is None:
            return
        empty = False
        with contextlib.suppress(sqlite3.Error):
            empty = not self._book.execute("SELECT 1 FROM answers LIMIT 1").fetchone()
        if empty:
            self.remove()
        else:
            self._close()

    def done(self) -> set[int]:
        """Places in the deck that are answered."""
        with self._faults():
            return {row for (row,) in self._book.execute("SELECT place FROM answers")}

    def add(self, answers: Iterable[tuple[int, Answer]]) -> None:
        """Keep answers, each with its place in the deck, all or none.

        Parameters
        ----------
        answers
            Each with its row in the deck.

        Raises
        ------
        FewtoneError
            The disk is full, or the file cannot be written to; what was kept before is whole.
        """
        rows = [(row, json.dumps(answer, ensure_ascii=False)) for row, answer in answers]
        with self._faults():
            self._book.execute("BEGIN IMMEDIATE")
            try:
                self._book.executemany("INSERT OR REPLACE INTO answers VALUES (?, ?)", rows)
                self._book.execute("COMMIT")
            except BaseException:
                with contextlib.suppress(sqlite3.Error):
                    self._book.execute("ROLLBACK")
                raise

    def answers(self) -> Iterator[Answer]:
        """The answers in the order of the deck, one after the other."""
        with self._faults():
            for (text,) in self._book.execute("SELECT answer FROM answers ORDER BY place"):
                yield json.loads(text)

    def remove(self) -> None:
        """Let go of the file and remove it."""
        self._close()
        for ending in ("-wal", ""):
            with contextlib.suppress(OSError):
                self.path.with_name(self.path.name + ending).unlink(missing_ok=True)

    def _close(self) -> None:
        with contextlib.suppress(sqlite3.Error):
            self._book.close()
        self._connection = None

    @property
    def _book(self) -> sqlite3.Connection:
        assert self._connection is not None, "the file is open only inside its context"
        return self._connection

    def _take_hold(self, book: sqlite3.Connection) -> None:
        # Held from here to the end: a second run finds it locked.
        book.execute("PRAGMA locking_mode = EXCLUSIVE")
        (application,) = book.execute("PRAGMA application_id").fetchone()
        (tables,) = book.execute("SELECT count(*) FROM sqlite_master").fetchone()
        if application != _APPLICATION and (application or tables):
            raise FewtoneError(self._foreign())
        book.execute("PRAGMA journal_mode = WAL")
        book.execute("PRAGMA synchronous = NORMAL")
        # Each answer is written once and read once: a cache would only grow with the deck.
        book.execute(f"PRAGMA cache_size = -{_CACHE_KIB}")
        book.execute("BEGIN EXCLUSIVE")
        if application == _APPLICATION:
            (mark,) = book.execute("SELECT mark FROM run").fetchone()
            if mark == self._mark:
                book.execute("COMMIT")
                return
            if not self._fresh:
                raise UsageError(
                    Fault(
                        "A run that was not finished stands here, of another deck, shelf, rules "
                        "or version of fewtone; it was left as it is.",
                        fix="Finish it as it was begun, write to another name, or say `force` to "
                        "begin anew.",
                        file=str(self.path),
                    )
                )
            book.execute("DROP TABLE run")
            book.execute("DROP TABLE answers")
        book.execute("CREATE TABLE run (mark TEXT NOT NULL)")
        book.execute("CREATE TABLE answers (place INTEGER PRIMARY KEY, answer TEXT NOT NULL)")
        book.execute("INSERT INTO run VALUES (?)", (self._mark,))
        book.execute(f"PRAGMA application_id = {_APPLICATION}")
        book.execute("COMMIT")

    def _foreign(self) -> Fault:
        return Fault(
            "This file is not what an unfinished run leaves; it was left as it is.",
            fix="Move it away, or write to another name.",
            file=str(self.path),
        )

    @contextlib.contextmanager
    def _faults(self) -> Iterator[None]:
        """What SQLite and the system refuse, as faults."""
        try:
            yield
        except (sqlite3.Error, OSError, ValueError) as error:
            text = str(error).lower()
            if "not a database" in text or "malformed" in text:
                raise FewtoneError(self._foreign()) from error
            if "locked" in text:
                problem = "Another run is writing this file."
                fix = "Wait until it has ended, or write to another name."
            else:
                reason = getattr(error, "strerror", None) or error
                problem = f"What is answered cannot be kept here: {reason}."
                fix = (
                    "Make room, or the folder writable, and run the command again: it goes on "
                    "where it stopped."
                )
            raise FewtoneError(Fault(problem, fix, str(self.path))) from error
