"""The job book: one SQLite file.

What is committed stays: SQLite writes its journal to the disk before the file is touched, so that a
process may be killed or the power fail at any instant. Two programs that write at once wait for one
another. The book has a version; older ones are brought up to date when they are opened for writing,
newer ones are refused and left alone.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from hashlib import sha256
from pathlib import Path
from typing import Any

from fewtone.colorimetry import Light, delta_e_2000
from fewtone.errors import Fault, FewtoneError
from fewtone.io.atomic import note_written
from fewtone.io.interrupts import held
from fewtone.io.places import default_book
from fewtone.jobs.job import Entry, Job, job_from
from fewtone.model.keyed import KeyedGround
from fewtone.model.names import did_you_mean
from fewtone.model.recipe import Recipe

__all__ = ["Book"]

# "fwtb": says of a SQLite file that it is a job book.
# The first bytes of each of its files (SQLite's file format, 1.3.1).
_SQLITE_HEADER = b"SQLite format 3\x00"
_APPLICATION = 0x66777462
_WAIT_SECONDS = 30.0

# Each brings a book of the version that is its position up to the next; never change one.
_MIGRATIONS = (
    """
    CREATE TABLE curves (sha256 TEXT PRIMARY KEY, text BLOB NOT NULL);
    CREATE TABLE jobs (
        id INTEGER PRIMARY KEY,
        key TEXT NOT NULL UNIQUE,
        name TEXT NOT NULL,
        said TEXT NOT NULL,
        lightness REAL NOT NULL, a REAL NOT NULL, b REAL NOT NULL,
        light TEXT NOT NULL,
        geometry TEXT NOT NULL,
        tolerance REAL NOT NULL,
        shelf TEXT NOT NULL,
        readings_sha256 TEXT NOT NULL,
        curves_sha256 TEXT NOT NULL REFERENCES curves (sha256),
        opened TEXT NOT NULL
    );
    CREATE TABLE entries (
        id INTEGER PRIMARY KEY,
        job INTEGER NOT NULL REFERENCES jobs (id) ON DELETE CASCADE,
        at TEXT NOT NULL,
        kind TEXT NOT NULL,
        data TEXT NOT NULL
    );
    CREATE INDEX entries_of_job ON entries (job, id);
    """,
)


class Book:
    """A job book; it opens its file for each call, so that it may be held for long.

    Parameters
    ----------
    path
        Its file; `fewtone.io.places.default_book` if None. It is made when something is first kept.
    """

    def __init__(self, path: str | Path | None = None) -> None:
        self.path = default_book() if path is None else Path(path)

    def names(self) -> list[str]:
        """Names of all jobs, the latest opened first; raises as `jobs`."""
        return [job.name for job in self.jobs()]

    def jobs(self) -> list[Job]:
        """All jobs, the latest opened first.

        Raises
        ------
        FewtoneError
            The file is no job book, or cannot be read.
        """
        if not self._is_there():
            return []
        with self._open(write=False) as book:
            return list(_jobs(book, "ORDER BY opened DESC, id DESC"))

    def job(self, name: str) -> Job:
        """One job by its name, any case.

        Parameters
        ----------
        name
            The job's name.

        Raises
        ------
        FewtoneError
            There is none of that name, or the book cannot be read.
        """
        jobs: list[Job] = []
        if self._is_there():
            with self._open(write=False) as book:
                jobs = list(_jobs(book, "WHERE key = ?", (_key(name),)))
        if not jobs:
            raise FewtoneError(self._no_such(name))
        return jobs[0]

    def curves_text(self, job: Job) -> bytes:
        """The ``curves.csv`` that a job was predicted with.

        Raises
        ------
        FewtoneError
            The book cannot be read, or they are no longer what was kept.
        """
        with self._open(write=False) as book:
            found = book.execute("SELECT text FROM curves WHERE sha256 = ?", (job.curves_sha256,))
            (text,) = found.fetchone() or (None,)
            if not isinstance(text, bytes) or sha256(text).hexdigest() != job.curves_sha256:
                raise sqlite3.DatabaseError("the curves are malformed")
            return text

    def keep(self, job: Job, curves_text: bytes, entries: Sequence[Entry] = ()) -> Job:
        """Keep a new job with its first entries, all or nothing; return it.

        Parameters
        ----------
        job
            The job; entries that it has already count too.
        curves_text
            The shelf's ``curves.csv`` when it was opened, whole.
        entries
            The first entries.

        Raises
        ------
        FewtoneError
            There is a job of that name, or the book cannot be written to.
        """
        with self._open(write=True) as book:
            if book.execute("SELECT 1 FROM jobs WHERE key = ?", (_key(job.name),)).fetchone():
                raise FewtoneError(
                    Fault(
                        f"There is a job '{job.name}' already; nothing was kept.",
                        fix="Give this one another name, or see it with `fewtone job show`.",
                        file=str(self.path),
                        value=job.name,
                    )
                )
            _insert(book, job, {job.curves_sha256: curves_text}, (*job.entries, *entries))
        return self.job(job.name)

    def add(self, name: str, *entries: Entry) -> Job:
        """Add entries to a job, all or nothing; return it.

        Parameters
        ----------
        name
            The job's name, any case.
        *entries
            What is added, in order.

        Raises
        ------
        FewtoneError
            There is no such job, or the book cannot be written to.
        """
        with self.adding(name) as add:
            add(*entries)
        return self.job(name)

    @contextmanager
    def adding(self, name: str) -> Iterator[Callable[..., None]]:
        """Add entries to a job by calling what is yielded; they hold if nothing is raised.

        What else is written inside it, such as a shelf's readings, is written if the book can be.

        Parameters
        ----------
        name
            The job's name, any case.

        Raises
        ------
        FewtoneError
            There is no such job, or the book cannot be written to.
        """
        self.job(name)
        with self._open(write=True) as book:
            row = book.execute("SELECT id FROM jobs WHERE key = ?", (_key(name),)).fetchone()
            if row is None:
                raise FewtoneError(self._no_such(name))
            yield lambda *entries: _add(book, row[0], entries)

    def take_in(self, jobs: Sequence[Job], curves: dict[str, bytes], *, force: bool) -> list[str]:
        """Take jobs of another book in, all or nothing; return the names of those that were new.

        A job that is here already, equal in everything, is passed over.

        Parameters
        ----------
        jobs, curves
            The jobs, and the ``curves.csv`` of each by its hash; one that is missing stays empty.
        force
            Let a job replace another of its name.

        Raises
        ------
        FewtoneError
            A job of another content has that name and `force` was not given: all such are named.
        """
        with self._open(write=True) as book:
            known = {_key(job.name): job for job in _jobs(book)}
            new = [job for job in jobs if known.get(_key(job.name)) != job]
            clashes = [job for job in new if _key(job.name) in known]
            if clashes and not force:
                raise FewtoneError(
                    *(
                        Fault(
                            f"There is another job '{job.name}' already; nothing was imported.",
                            fix="Say `force` to replace it, or rename it in the file.",
                            value=job.name,
                        )
                        for job in clashes
                    )
                )
            for job in clashes:
                book.execute("DELETE FROM jobs WHERE key = ?", (_key(job.name),))
            for job in new:
                _insert(book, job, curves, job.entries)
            return [job.name for job in new]

    def find(
        self,
        words: str = "",
        *,
        toner: str | None = None,
        ground: str | None = None,
        since: str | None = None,
        until: str | None = None,
        lab: Sequence[float] | None = None,
        light: Light | None = None,
        within: float = 2.0,
    ) -> list[tuple[Job, float | None]]:
        """Jobs that meet everything that is asked, the nearest colour or the latest first.

        Parameters
        ----------
        words
            All of them stand somewhere in it: name, request, recipes, notes; any case.
        toner, ground
            Names, any case, of what its recipe in use has; a keyed ground's parents count too.
        since, until
            Days, ``2026-01-31``, between which it was opened.
        lab, light, within
            Its request, or what its recipe was predicted to read, is within this ΔE00 of that
            CIELAB; jobs in other lights are passed over.

        Returns
        -------
        The jobs, each with its ΔE00 if a colour was asked for.

        Raises
        ------
        FewtoneError
            The file is no job book, or cannot be read.
        """
        matching: list[tuple[Job, float | None]] = []
        for job in self.jobs():
            recipe = job.recipe
            if not all(word in job.words for word in words.casefold().split()):
                continue
            if toner is not None and (recipe is None or toner.casefold() not in recipe.blend):
                continue
            if ground is not None and (recipe is None or not _is_over(recipe, ground)):
                continue
            if (since and job.opened[:10] < since) or (until and job.opened[:10] > until):
                continue
            if lab is None:
                matching.append((job, None))
            elif light is None or job.target.light == light:
                off = min(float(delta_e_2000(lab, colour)) for colour in _colours(job))
                if off <= within:
                    matching.append((job, off))
        return sorted(matching, key=lambda pair: pair[1] or 0.0)

    def _is_there(self) -> bool:
        """Whether there is a book to read: an empty file is one in which nothing was kept yet."""
        return self.path.exists() and (not self.path.is_file() or self.path.stat().st_size > 0)

    def _is_foreign(self) -> bool:
        """Whether another program's file lies there; SQLite takes one byte for an empty book."""
        if not self.path.is_file():
            return False
        with self.path.open("rb") as file:
            return file.read(len(_SQLITE_HEADER)) not in (b"", _SQLITE_HEADER)

    def _no_such(self, name: str) -> Fault:
        return Fault(
            f"There is no job '{name}'.{did_you_mean(name, self.names())}",
            fix="See all with `fewtone job find`, or open one with `fewtone match … --job NAME`.",
            file=str(self.path),
            value=name,
        )

    @contextmanager
    def _open(self, *, write: bool) -> Iterator[sqlite3.Connection]:
        """The book within one transaction, which holds if nothing is raised."""
        connection: sqlite3.Connection | None = None
        try:
            if self._is_foreign():
                raise FewtoneError(self._no_book())
            if write:
                self.path.parent.mkdir(parents=True, exist_ok=True)
            mode = "rwc" if write else "rw"
            connection = sqlite3.connect(
                f"{self.path.absolute().as_uri()}?mode={mode}",
                uri=True,
                timeout=_WAIT_SECONDS,
                isolation_level=None,
            )
            connection.execute("PRAGMA foreign_keys = ON")
            connection.execute("PRAGMA synchronous = FULL")
            connection.execute("BEGIN IMMEDIATE" if write else "BEGIN")
            self._bring_up_to_date(connection, write=write)
            yield connection
            with held():
                connection.execute("COMMIT")
                if write:
                    note_written(self.path)
        except UnicodeEncodeError as error:
            # Arguments that are no text in the terminal's encoding come as lone surrogates.
            raise FewtoneError(
                Fault(
                    "This is no text: it has bytes that mean nothing in the terminal's encoding.",
                    fix="Type it anew, or copy it from text in UTF-8.",
                    value=error.object[max(error.start - 20, 0) : error.end + 20],
                )
            ) from None
        except (sqlite3.Error, OSError, UnicodeDecodeError) as error:
            raise FewtoneError(self._fault(error)) from None
        finally:
            if connection is not None:
                # What was not committed is rolled back.
                connection.close()

    def _bring_up_to_date(self, connection: sqlite3.Connection, *, write: bool) -> None:
        (application,) = connection.execute("PRAGMA application_id").fetchone()
        (version,) = connection.execute("PRAGMA user_version").fetchone()
        (tables,) = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
        if application != _APPLICATION and (application or version or tables):
            raise FewtoneError(self._no_book())
        if version > len(_MIGRATIONS):
            raise FewtoneError(
                Fault(
                    f"This job book was made by a newer fewtone (version {version}; this one knows "
                    f"up to {len(_MIGRATIONS)}). It was left as it is.",
                    fix="Use the newer fewtone, or another book (`book`).",
                    file=str(self.path),
                )
            )
        if version == len(_MIGRATIONS):
            return
        if not write:
            connection.execute("COMMIT")
            connection.execute("BEGIN IMMEDIATE")
            (version,) = connection.execute("PRAGMA user_version").fetchone()
        for script in _MIGRATIONS[version:]:
            for statement in script.split(";"):
                if statement.strip():
                    connection.execute(statement)
        connection.execute(f"PRAGMA application_id = {_APPLICATION}")
        connection.execute(f"PRAGMA user_version = {len(_MIGRATIONS)}")

    def _no_book(self) -> Fault:
        return Fault(
            "This file is no job book; it was left as it is.",
            fix="Name another (`book`, or the variable FEWTONE_BOOK).",
            file=str(self.path),
        )

    def _fault(self, error: Exception) -> Fault:
        text = str(error)
        causes: tuple[tuple[str, str, str], ...] = (
            ("not a database", "", ""),
            ("malformed", "The job book is damaged.", "Take a copy of it, then import an export."),
            ("utf-8", "The job book is damaged.", "Take a copy of it, then import an export."),
            ("locked", "Another program has kept the job book busy for long.", "Try again."),
            ("full", "The disk is full.", "Make room; what the book held before is whole."),
            ("readonly", "The job book cannot be written to.", "Check who may write to it."),
            (
                "unable to open",
                "The job book cannot be opened.",
                "Check the folder and its rights.",
            ),
        )
        for word, message, fix in causes:
            if word in text.lower():
                if not message:
                    return self._no_book()
                return Fault(message, fix=fix, file=str(self.path))
        return Fault(
            f"The job book cannot be used: {text}.",
            fix="What it held before is whole. Name another (`book`).",
            file=str(self.path),
        )


_REST = (
    "light",
    "geometry",
    "tolerance",
    "shelf",
    "readings_sha256",
    "curves_sha256",
    "opened",
)


def _key(name: str) -> str:
    return " ".join(name.split()).casefold()


def _is_over(recipe: Recipe, ground: str) -> bool:
    """Whether a recipe is over a ground, or over a mix with it."""
    if "+" not in recipe.ground:
        return recipe.ground == ground.casefold()
    mix = KeyedGround.parse(recipe.ground)
    return ground.casefold() in mix.parts or ("+" in ground and KeyedGround.parse(ground) == mix)


def _colours(job: Job) -> list[Sequence[float]]:
    chosen = job.predicted
    predicted = chosen.data.get("lab") if chosen else None
    return [job.target.lab, *([predicted] if predicted else [])]


def _jobs(book: sqlite3.Connection, rest: str = "", values: tuple[str, ...] = ()) -> Iterator[Job]:
    columns = (
        "id, name, said, lightness, a, b, light, geometry, tolerance, shelf, readings_sha256, "
        "curves_sha256, opened"
    )
    entries: dict[int, list[dict[str, Any]]] = {}
    rows = book.execute(f"SELECT {columns} FROM jobs {rest}", values).fetchall()
    query = "SELECT job, at, kind, data FROM entries"
    only: tuple[object, ...] = ()
    if len(rows) == 1:
        query, only = f"{query} WHERE job = ?", (rows[0][0],)
    try:
        for job, at, kind, data in book.execute(f"{query} ORDER BY id", only):
            document = {"at": at, "kind": kind, "data": json.loads(data)}
            entries.setdefault(job, []).append(document)
        for number, name, request, lightness, a, b, *kept in rows:
            document = {
                "name": name,
                "request": request,
                "lab": (lightness, a, b),
                "entries": entries.get(number, ()),
            }
            yield job_from(document | dict(zip(_REST, kept, strict=True)))
    except (FewtoneError, ValueError, KeyError, TypeError, AttributeError) as error:
        # What SQLite takes for whole need not be what was kept.
        raise sqlite3.DatabaseError(f"malformed: {error}") from error


def _insert(
    book: sqlite3.Connection, job: Job, curves: dict[str, bytes], entries: Sequence[Entry]
) -> None:
    book.execute(
        "INSERT OR IGNORE INTO curves VALUES (?, ?)",
        (job.curves_sha256, curves.get(job.curves_sha256, b"")),
    )
    values: tuple[Any, ...] = (
        _key(job.name),
        job.name,
        job.target.request,
        *job.target.lab,
        str(job.target.light),
        str(job.target.geometry),
        job.tolerance,
        job.shelf,
        job.readings_sha256,
        job.curves_sha256,
        job.opened,
    )
    marks = ", ".join("?" * len(values))
    made = book.execute(
        "INSERT INTO jobs (key, name, said, lightness, a, b, light, geometry, tolerance, shelf, "
        f"readings_sha256, curves_sha256, opened) VALUES ({marks})",
        values,
    )
    assert made.lastrowid is not None
    _add(book, made.lastrowid, entries)


def _add(book: sqlite3.Connection, job: int, entries: Sequence[Entry]) -> None:
    book.executemany(
        "INSERT INTO entries (job, at, kind, data) VALUES (?, ?, ?, ?)",
        [
            (job, entry.at, entry.kind, json.dumps(dict(entry.data), ensure_ascii=False))
            for entry in entries
        ],
    )
