"""`fewtone job`: a job is kept, found, sprayed again, exported and taken in."""

from __future__ import annotations

import json
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
    for words in (["lamp"], ["--toner", "peony"], ["--like", "34,59,12"]):
        found = json.loads(run("job", "find", *words, *book, "--json").out)["jobs"]
        assert [job["name"] for job in found] == ["red lamp"]
    assert not json.loads(run("job", "find", "--like", "90,0,0", *book, "--json").out)["jobs"]


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


def test_a_job_of_another_shelf_is_not_predicted(demo: Path, book: list[str], run: Run) -> None:
    """Its toners may go by the same names and be others."""
    settings = demo / "shelf.toml"
    text = settings.read_text(encoding="utf-8")
    settings.write_text(text.replace('name = "Lamp bench"', 'name = "Another"'), encoding="utf-8")
    done = run("job", "again", "red lamp", "--shelf", str(demo), *book)
    assert (done.code, "of the shelf 'Lamp bench'" in done.err) == (1, True)
