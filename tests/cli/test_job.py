"""`fewtone job`: a job is kept, found, sprayed again, exported and taken in."""

from __future__ import annotations

import json
import sqlite3
from pathlib import Path

import pytest

from cli.conftest import Run

RECIPE = "2 peony + 1 poppy, 8:1, 6 coats over silver"
TARGET = "34.1,59.3,12.5"


@pytest.fixture
def book(demo: Path, tmp_path: Path, run: Run) -> list[str]:
    """Options that name a book with one job, and the shelf."""
    options = ["--book", str(tmp_path / "book.db")]
    shelf = ["--shelf", str(demo)]
    kept = run("job", "keep", "red lamp", RECIPE, "--target", TARGET, *shelf, *options)
    assert kept.code == 0, kept.err
    return options


def test_a_job_is_found_by_name_and_colour(book: list[str], run: Run) -> None:
    """Shown whole; found by a word, a toner, and a colour near the one that was asked for."""
    shown = json.loads(run("job", "show", "RED lamp", *book, "--json").out)["job"]
    assert shown["lab"] == [34.1, 59.3, 12.5]
    assert shown["entries"][0]["data"]["recipe"] == RECIPE
    for words in (
        *(["lamp"], ["red", "lamp"], ["--toner", "Peony"], ["--ground", "Silver"]),
        ["--like", "34,59,12"],
    ):
        found = json.loads(run("job", "find", *words, *book, "--json").out)["jobs"]
        assert [job["name"] for job in found] == ["red lamp"]
    assert not json.loads(run("job", "find", "--like", "90,0,0", *book, "--json").out)["jobs"]


def test_a_job_over_a_keyed_ground_is_found_by_its_parents(
    demo: Path, book: list[str], run: Run
) -> None:
    """And by the mix, in whatever order and parts it is said; not by another."""
    line = "2 peony + 1 poppy, 8:1, 6 coats over 2 silver + 1 graphite"
    where = ["--target", TARGET, "--shelf", str(demo), *book]
    assert run("job", "keep", "keyed", line, *where).code == 0
    for ground, found in (
        ("Graphite", ["keyed"]),
        ("2 graphite + 4 silver", ["keyed"]),
        ("1 graphite + 1 silver", []),
        ("brass", []),
    ):
        jobs = run("job", "find", "--ground", ground, *book, "--json").document["jobs"]
        assert [job["name"] for job in jobs] == found, ground


def test_it_is_predicted_again(demo: Path, book: list[str], run: Run) -> None:
    """On the same curves the recipe has not moved; with a stronger bottle it has."""
    shelf = ["--shelf", str(demo)]
    same = json.loads(run("job", "again", "red lamp", *shelf, *book, "--json").out)
    assert (same["moved_de00"], same["has_moved"], same["instead"]) == (0.0, False, None)
    check = json.loads(run("check", RECIPE, "--target", TARGET, *shelf, "--json").out)
    assert same["recipe"] == check["recipe"]
    settings = demo / "shelf.toml"
    text = settings.read_text(encoding="utf-8")
    settings.write_text(
        text.replace("[toners.peony]", "[toners.peony]\nstrength = 1.3"), encoding="utf-8"
    )
    moved = json.loads(run("job", "again", "red lamp", *shelf, *book, "--json").out)
    assert moved["has_moved"]
    if moved["instead"] is not None:
        assert moved["instead"]["de00"] < moved["recipe"]["de00"]


def test_it_is_written_down_ended_and_taken_elsewhere(
    book: list[str], tmp_path: Path, run: Run
) -> None:
    """Notes and the end are kept; an export into another book is the same job."""
    run("job", "note", "red lamp", "gun B", *book)
    assert run("job", "end", "red lamp", "passed", *book).code == 0
    file = tmp_path / "jobs.json"
    assert run("job", "export", str(file), *book).code == 0
    other = ["--book", str(tmp_path / "other.db")]
    assert run("job", "import", str(file), *other).code == 0
    one, two = (run("job", "show", "red lamp", *where, "--json").out for where in (book, other))
    assert one == two
    refused = run("job", "export", str(file), *book)
    assert (refused.code, "--force" in refused.err) == (2, True)


@pytest.mark.parametrize(
    ("words", "code", "says"),
    [
        (["show", "blue"], 1, "no job 'blue'"),
        (["end", "red lamp", "lost"], 2, "'passed' or 'given up'"),
        (["find", "--since", "31.1.2026"], 2, "no day"),
        (["find", "--like", "red"], 2, "no CIELAB triple"),
        (["import", "shelf.toml"], 1, "as JSON or CSV"),
    ],
)
def test_bad_words_are_told(
    words: list[str], code: int, says: str, book: list[str], run: Run
) -> None:
    """Each with what is allowed."""
    done = run("job", *words, *book)
    assert (done.code, says in done.err) == (code, True), done.err


@pytest.mark.parametrize(
    "words",
    [
        ("show", "\udcff"),
        ("again", "\udcff"),
        ("note", "\udcff", "x"),
        ("note", "red lamp", "\udcff"),
    ],
)
def test_bytes_that_are_no_text_are_told(
    demo: Path, book: list[str], run: Run, words: tuple[str, ...]
) -> None:
    """As a name and as a note, in a book that is there; the job stays as it was."""
    where = (*book, "--shelf", str(demo)) if words[0] == "again" else book
    before = run("job", "show", "red lamp", *book, "--json").out
    ran = run("job", *words, *where)
    assert ran.code == 1
    assert "no text" in ran.err
    assert run("job", "show", "red lamp", *book, "--json").out == before


def test_a_job_of_another_shelf_is_not_predicted(demo: Path, book: list[str], run: Run) -> None:
    """Its toners may go by the same names and be others."""
    settings = demo / "shelf.toml"
    text = settings.read_text(encoding="utf-8")
    settings.write_text(text.replace('name = "Lamp bench"', 'name = "Another"'), encoding="utf-8")
    done = run("job", "again", "red lamp", "--shelf", str(demo), *book)
    assert (done.code, "of the shelf 'Lamp bench'" in done.err) == (1, True)


def test_a_job_goes_through_the_whole_work(demo: Path, tmp_path: Path, run: Run) -> None:
    """Opened by the match, mixed, sprayed, read and adjusted by its name, ended, and told of."""
    where = ["--shelf", str(demo), "--book", str(tmp_path / "book.db")]
    opened = run("match", TARGET, "--max-toners", 2, "--job", "hall", *where, "--json").document
    line = opened["picks"]["simplest"]["recipe"]
    assert opened["job"] == "hall"
    poured = run("batch", "--job", "hall", "--volume", "500ml", *where, "--json").document
    assert poured["recipe"] == line
    panel = ["adjust", "--job", "hall", "--left", "350ml", *where, "--json"]
    first = run(*panel, "--reading", "36.5,57.0,11.0").document
    job = run("job", "show", "hall", *where[2:], "--json").document["job"]
    kinds = [entry["kind"] for entry in job["entries"]]
    assert kinds == ["recipe", "batch", "panel", "adjustment"]
    assert job["entries"][2]["data"]["readings"] == ["36.5,57.0,11.0"]
    # What is predicted of the mix as it then is, so that a later day can tell whether it moved.
    again = run("job", "again", "hall", *where, "--json").document
    assert again["recipe"]["recipe"] == first["after"]["recipe"]
    assert (again["moved_de00"], again["has_moved"]) == (0.0, False)
    # The second panel is judged with the first one in mind, as if both had been told.
    told = [first["after"]["recipe"], "--target", TARGET, "--reading", "34.5,59.0,12.4"]
    told += ["--earlier", f"36.5,57.0,11.0 of {line}", "--left", "350ml", *where[:2], "--json"]
    by_words = run("adjust", *told).document
    by_name = run(*panel, "--reading", "34.5,59.0,12.4").document
    assert by_name["advice"] == by_words["advice"]
    assert by_name["after"]["lab"] == by_words["after"]["lab"]
    run("job", "end", "hall", "passed", *where[2:])
    again = run("match", TARGET, "--max-toners", 2, *where, "--json").document
    # A job is told of if its mix, on the curves as they are, answers to what is asked now.
    line = by_name["after"]["recipe"]
    alone = run("check", line, "--target", TARGET, *where[:2], "--json").document["recipe"]
    told_of = [kept["job"] for kept in again.get("kept_jobs", ())]
    assert told_of == (["hall"] if alone["in_tolerance"] else [])
    assert run("match", TARGET, "--max-toners", 2, "--job", "hall", *where).code == 1


def test_a_kept_job_is_told_of_before_a_new_mix(demo: Path, book: list[str], run: Run) -> None:
    """Once it has passed, and only near its colour."""
    where = ["--shelf", str(demo), *book, "--max-toners", 2, "--json"]
    assert "kept_jobs" not in run("match", TARGET, *where).document
    run("job", "end", "red lamp", "passed", *book)
    (kept,) = run("match", "34.2,59.2,12.4", *where).document["kept_jobs"]
    assert (kept["job"], kept["recipe"]["recipe"]) == ("red lamp", RECIPE)
    assert "kept_jobs" not in run("match", "60,20,30", *where).document
    assert "Sprayed before: red lamp" in run("match", TARGET, *where[:-1]).out


def test_no_recipe_and_no_job_is_told(demo: Path, run: Run) -> None:
    """One of the two is needed."""
    done = run("batch", "--volume", "500ml", "--shelf", str(demo))
    assert (done.code, "--job NAME" in done.err) == (2, True)


def test_a_reading_goes_to_the_shelf_and_the_job_at_once(
    demo: Path, book: list[str], run: Run
) -> None:
    """Both have it; where one cannot, neither has."""
    where = ["--shelf", str(demo), *book]
    words = ["adjust", "--job", "red lamp", "--reading", "36,58,12", "--keep-reading", "--panel"]

    def entries() -> list[str]:
        job = run("job", "show", "red lamp", *book, "--json").document["job"]
        return [entry["kind"] for entry in job["entries"]]

    before, readings = entries(), (demo / "readings.csv").read_bytes()
    taken = readings.splitlines()[1].split(b",")[0].decode()
    done = run(*words, taken, *where)
    assert (done.code, "already" in done.err) == (2, True), done.err
    assert entries() == before
    assert (demo / "readings.csv").read_bytes() == readings
    with sqlite3.connect(book[1]) as raw:
        raw.execute(
            "CREATE TRIGGER shut BEFORE INSERT ON entries BEGIN SELECT RAISE(FAIL, 'no'); END"
        )
    raw.close()
    done = run(*words, "NEW-1", *where)
    assert done.code == 1
    assert (demo / "readings.csv").read_bytes() == readings
    with sqlite3.connect(book[1]) as raw:
        raw.execute("DROP TRIGGER shut")
    raw.close()
    done = run(*words, "NEW-2", *where)
    assert done.code == 0, done.err
    assert entries() == [*before, "panel", "adjustment"]
    assert b"\nNEW-2," in (demo / "readings.csv").read_bytes()


def test_a_panel_of_several_readings_is_borne_in_mind(
    demo: Path, book: list[str], run: Run
) -> None:
    """The next panel of the job is weighed with all that was read of the one before."""
    run("job", "keep", "two readings", RECIPE, "--target", "34.1,59.3,12.5", *book, "--shelf", demo)
    about = ("--job", "two readings", *book, "--shelf", demo, "--json")
    first = run("adjust", *about, "--reading", "37,56,11", "--reading", "37.2,56,11.2")
    assert first.code == 0, first.err
    second = run("adjust", *about, "--reading", "36,57,11").document
    (earlier,) = second["earlier"]
    assert earlier["readings"][0]["count"] == 2
