"""The job book: what was committed stays, whoever writes and whatever ends the writer."""

from __future__ import annotations

import hashlib
import os
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fewtone import FewtoneError, Light
from fewtone.jobs import Book, Entry, Job, read_jobs, write_jobs
from fewtone.model.target import Target
from fewtone.optics.film import Geometry

CURVES = b"# format: 3\nkind,name\n"
RECIPE = "2 marigold + 1 dusk, 6:1, 4 coats over silver"


def made(name: str, *, lab: tuple[float, float, float] = (38.2, -18.4, 9.7), **data: str) -> Job:
    """A job of that name."""
    return Job(
        name=name,
        target=Target(lab, Light("D65", 10), Geometry.DIRECTIONAL, "38.2,-18.4,9.7"),
        tolerance=1.0,
        shelf="Lamp bench",
        readings_sha256="ab12",
        curves_sha256=hashlib.sha256(CURVES).hexdigest(),
        opened="2026-01-31T10:00:00Z",
        entries=(Entry("recipe", {"recipe": RECIPE, "lab": [38.0, -18.0, 9.0], **data}),),
    )


def test_a_job_comes_back_as_it_was_kept(tmp_path: Path) -> None:
    """By its name in any case, with its entries in order and its curves."""
    book = Book(tmp_path / "book.db")
    book.keep(made("Red lamp"), CURVES)
    book.add("red LAMP", Entry("note", {"text": "gun B"}), Entry("ended", {"how": "passed"}))
    again = Book(tmp_path / "book.db").job("red lamp")
    assert again.recipe is not None
    assert (str(again.recipe), again.ended) == (RECIPE, "passed")
    assert [entry.kind for entry in again.entries] == ["recipe", "note", "ended"]
    assert book.curves_text(again) == CURVES


def test_a_name_is_taken_once(tmp_path: Path) -> None:
    """A second job of the name is refused, and the first stays as it was."""
    book = Book(tmp_path / "book.db")
    first = book.keep(made("a"), CURVES)
    with pytest.raises(FewtoneError, match="already"):
        book.keep(made("A", note="another"), CURVES)
    assert book.jobs() == [first]


def test_jobs_are_found_by_words_recipe_date_and_colour(tmp_path: Path) -> None:
    """Everything that is asked must hold; colours are near by ΔE00, nearest first."""
    book = Book(tmp_path / "book.db")
    book.keep(made("hall lamp"), CURVES)
    book.keep(made("desk lamp", lab=(38.2, -17.0, 9.7)), CURVES)
    book.keep(made("red", lab=(40.0, 60.0, 30.0), text="x"), CURVES)
    assert [job.name for job, _ in book.find("lamp HALL")] == ["hall lamp"]
    assert len(book.find(toner="dusk", ground="silver", since="2026-01-31")) == 3
    assert not book.find(toner="peony")
    assert not book.find(until="2026-01-30")
    near = book.find(lab=(38.2, -17.2, 9.7), within=2.0)
    assert [job.name for job, _ in near][:1] == ["desk lamp"]
    assert not book.find(lab=(38.2, -17.0, 9.7), light=Light("A", 10))


@pytest.mark.parametrize("ending", [".json", ".csv"])
@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(texts=st.lists(st.text(st.characters(exclude_categories=["Cs"])), min_size=1, max_size=4))
def test_an_export_comes_back_whole(tmp_path: Path, ending: str, texts: list[str]) -> None:
    """Whatever was written down, cells that would run as formulas too."""
    entries = tuple(Entry("note", {"text": text}) for text in (*texts, "=1+1", "'quoted", "-x"))
    job = made("a")
    jobs = [
        replace(job, target=replace(job.target, request="@sum"), entries=(*job.entries, *entries))
    ]
    file = tmp_path / f"jobs{ending}"
    write_jobs(file, jobs, {job.curves_sha256: CURVES}, force=True)
    assert read_jobs(file) == (jobs, {job.curves_sha256: CURVES})


def test_no_cell_of_an_export_runs_as_a_formula(tmp_path: Path) -> None:
    """A name that begins one is written so that a spreadsheet shows it."""
    job = made("=cmd()")
    write_jobs(tmp_path / "a.csv", [job], {job.curves_sha256: CURVES})
    text = (tmp_path / "a.csv").read_text(encoding="utf-8-sig")
    assert "\n'=cmd()," in text


def test_an_import_takes_all_or_nothing(tmp_path: Path) -> None:
    """Jobs that are here already are passed over; another of the name stops everything."""
    book = Book(tmp_path / "book.db")
    kept = book.keep(made("a"), CURVES)
    curves = {kept.curves_sha256: CURVES}
    assert book.take_in([kept, made("b")], curves, force=False) == ["b"]
    other = made("a", note="other")
    with pytest.raises(FewtoneError, match="another job"):
        book.take_in([made("c"), other], curves, force=False)
    assert sorted(book.names()) == ["a", "b"]
    assert book.take_in([other], curves, force=True) == ["a"]


def test_an_export_without_the_curves_of_a_job_is_refused(tmp_path: Path) -> None:
    """A job without them could not be exported again."""
    kept = Book(tmp_path / "book.db").keep(made("a"), CURVES)
    write_jobs(tmp_path / "jobs.json", [kept], {})
    with pytest.raises(FewtoneError, match="curves of job 'a' are missing"):
        read_jobs(tmp_path / "jobs.json")


def test_a_book_of_a_newer_version_is_left_alone(tmp_path: Path) -> None:
    """It is refused for reading and writing, and its bytes stay as they were."""
    path = tmp_path / "book.db"
    Book(path).keep(made("a"), CURVES)
    with sqlite3.connect(path) as raw:
        raw.execute("PRAGMA user_version = 99")
    raw.close()
    before = path.read_bytes()
    for call in (Book(path).jobs, lambda: Book(path).keep(made("b"), CURVES)):
        with pytest.raises(FewtoneError, match="newer"):
            call()
    assert path.read_bytes() == before


@pytest.mark.parametrize(
    "content", [b"panel,ground\n" * 60, b"SQLite format 3\0" + b"x" * 4000, b"\n", b"no book"]
)
def test_a_file_that_is_no_book_is_left_alone(tmp_path: Path, content: bytes) -> None:
    """It is refused with words, and its bytes stay as they were."""
    path = tmp_path / "readings.csv"
    path.write_bytes(content)
    with pytest.raises(FewtoneError, match="no job book"):
        Book(path).keep(made("a"), CURVES)
    with pytest.raises(FewtoneError, match="no job book"):
        Book(path).job("a")
    assert path.read_bytes() == content


def test_another_programs_database_is_left_alone(tmp_path: Path) -> None:
    """A SQLite file of something else is no job book."""
    path = tmp_path / "other.db"
    with sqlite3.connect(path) as raw:
        raw.execute("CREATE TABLE songs (name TEXT)")
    raw.close()
    with pytest.raises(FewtoneError, match="no job book"):
        Book(path).keep(made("a"), CURVES)


WRITER = """
import sys
from pathlib import Path
sys.path[:0] = sys.argv[3:]
from unit.jobs.test_book import CURVES, made
from fewtone.jobs import Book, Entry
book, name = Book(Path(sys.argv[1])), sys.argv[2]
book.keep(made(name), CURVES)
print(0, flush=True)
for count in range(1, 10_000):
    book.add(name, Entry("note", {"text": str(count)}))
    print(count, flush=True)
"""


def writer(path: Path, name: str) -> subprocess.Popen[str]:
    """A process that adds notes to a job, and says each one that is committed."""
    command = [sys.executable, "-c", WRITER, str(path), name, str(Path(__file__).parents[2])]
    return subprocess.Popen(command, stdout=subprocess.PIPE, text=True)


@pytest.mark.skipif(os.name != "posix", reason="SIGKILL is POSIX's")
@pytest.mark.parametrize("rounds", [(0, 3, 8), pytest.param(range(12), marks=pytest.mark.trial)])
def test_what_was_committed_outlives_the_writer(tmp_path: Path, rounds: Sequence[int]) -> None:
    """Killed in the midst of writing, again and again: all that it said is there, in order."""
    path = tmp_path / "book.db"
    for round_ in rounds:
        process = writer(path, f"job {round_}")
        assert process.stdout is not None
        said = int(process.stdout.readline())
        for _ in range(3 * round_):
            said = int(process.stdout.readline())
        time.sleep(0.0007 * round_)
        process.send_signal(signal.SIGKILL)
        said = max([said, *(int(line) for line in process.stdout)])
        process.wait()
        process.stdout.close()
        notes = [e.data["text"] for e in Book(path).job(f"job {round_}").entries[1:]]
        assert notes == [str(count) for count in range(1, len(notes) + 1)]
        # One more may have been committed before it was said.
        assert len(notes) in (said, said + 1)


def test_two_writers_lose_nothing(tmp_path: Path) -> None:
    """Two processes that add to one book at once both succeed with every note."""
    path = tmp_path / "book.db"
    writers = [writer(path, name) for name in ("a", "b")]
    said = []
    for process in writers:
        assert process.stdout is not None
        for _ in range(25):
            line = process.stdout.readline()
        said.append(int(line))
    for process in writers:
        process.kill()
        process.communicate()
    for name, least in zip(("a", "b"), said, strict=True):
        assert len(Book(path).job(name).entries) - 1 >= least


def test_reading_leaves_an_empty_file_as_it_is(tmp_path: Path) -> None:
    """An empty file is a book in which nothing was kept yet; only keeping something fills it."""
    path = tmp_path / "book.db"
    path.touch()
    assert Book(path).jobs() == []
    with pytest.raises(FewtoneError, match="no job"):
        Book(path).job("lamp")
    assert path.read_bytes() == b""


@pytest.mark.parametrize(
    "hurt",
    [
        "UPDATE entries SET data = 'nothing'",
        "UPDATE entries SET data = '[1]'",
        """UPDATE entries SET data = '{"recipe": "mud"}'""",
        """UPDATE entries SET data = '{"de00": "far"}'""",
        "UPDATE jobs SET light = 'X/9'",
        "UPDATE jobs SET lightness = 'dark'",
        "UPDATE jobs SET name = x'fffe'",
        "UPDATE jobs SET name = CAST(x'fffe' AS TEXT)",
    ],
)
def test_what_is_no_job_in_a_book_is_damage(tmp_path: Path, hurt: str) -> None:
    """What SQLite takes for whole but is no job is told as damage, and left as it is."""
    path = tmp_path / "book.db"
    Book(path).keep(made("a"), CURVES)
    with sqlite3.connect(path) as raw:
        raw.execute(hurt)
    raw.close()
    before = path.read_bytes()
    with pytest.raises(FewtoneError, match="damaged"):
        Book(path).jobs()
    assert path.read_bytes() == before


@pytest.mark.parametrize("hurt", ["text = x'fffe'", "text = 7", "sha256 = 'x'"])
def test_curves_that_are_no_longer_what_was_kept_are_damage(tmp_path: Path, hurt: str) -> None:
    """They go by their hash; what another byte stands in is not exported as if it were whole."""
    path = tmp_path / "book.db"
    kept = Book(path).keep(made("a"), CURVES)
    assert Book(path).curves_text(kept) == CURVES
    with sqlite3.connect(path) as raw:
        raw.execute(f"UPDATE curves SET {hurt}")
    raw.close()
    with pytest.raises(FewtoneError, match="damaged"):
        Book(path).curves_text(kept)


def test_what_fails_inside_leaves_the_job_as_it_was(tmp_path: Path) -> None:
    """Entries and what is written beside them hold together."""
    book = Book(tmp_path / "book.db")
    kept = book.keep(made("a"), CURVES)

    def fails() -> None:
        with book.adding("a") as add:
            add(Entry("note", {"text": "x"}))
            raise FewtoneError("taken")

    with pytest.raises(FewtoneError, match="taken"):
        fails()
    assert book.job("a") == kept


FULL = """
import resource, sys
from pathlib import Path
sys.path[:0] = sys.argv[3:]
from unit.jobs.test_book import Entry
from fewtone import FewtoneError
from fewtone.jobs import Book
path, count = Path(sys.argv[1]), 0
size = path.stat().st_size + int(sys.argv[2])
resource.setrlimit(resource.RLIMIT_FSIZE, (size, size))
try:
    for count in range(1, 10_000):
        Book(path).add("a", Entry("note", {"text": f"{count} {'x' * 300}"}))
except FewtoneError as error:
    print(count - 1, error)
"""


@pytest.mark.skipif(os.name != "posix", reason="file size limits are POSIX's")
@pytest.mark.parametrize("room", [0, 5000, 30_000])
def test_a_full_disk_is_told_and_damages_nothing(tmp_path: Path, room: int) -> None:
    """Where no more fits, the note that does not is told of, and those before it are there."""
    path = tmp_path / "book.db"
    Book(path).keep(made("a"), CURVES)
    words = [sys.executable, "-c", FULL, str(path), str(room), str(Path(__file__).parents[2])]
    ran = subprocess.run(words, capture_output=True, text=True, check=True)
    count, _, said = ran.stdout.partition(" ")
    assert "What it held before is whole" in said or "what the book held before is whole" in said
    assert len(Book(path).job("a").entries) == int(count) + 1
    assert Book(path).add("a", Entry("note", {"text": "room again"}))


def test_a_folder_that_may_only_be_read_is_told(tmp_path: Path) -> None:
    """A clear error, and the book as it was."""
    folder = tmp_path / "shut"
    folder.mkdir()
    Book(folder / "book.db").keep(made("a"), CURVES)
    (folder / "book.db").chmod(0o400)
    folder.chmod(0o500)
    try:
        if os.access(folder, os.W_OK):
            pytest.skip("this user may write everywhere")
        with pytest.raises(FewtoneError, match="cannot be"):
            Book(folder / "book.db").add("a", Entry("note", {"text": "x"}))
        assert len(Book(folder / "book.db").job("a").entries) == 1
    finally:
        folder.chmod(0o700)
