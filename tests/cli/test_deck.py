"""`fewtone deck`: rows equal to `match`, never half a file, and clear words for what is wrong."""

from __future__ import annotations

import csv
import os
import random
import resource
import signal
import sqlite3
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from openpyxl import Workbook

import fewtone
from cli.conftest import Run

EXAMPLE = Path(__file__).parents[2] / "examples" / "swatches.csv"
PICKS = ("simplest", "surest", "closest")


def rows_of(file: Path) -> list[dict[str, str]]:
    """The rows of a CSV file."""
    with file.open(newline="", encoding="utf-8") as text:
        return list(csv.DictReader(text))


def number_of(text: str) -> float | None:
    """A cell's number; None where it is empty."""
    return float(text) if text else None


@pytest.fixture
def deck(tmp_path: Path) -> Path:
    """The example's swatches, with two more that are in another light or out of reach."""
    path = tmp_path / "deck.csv"
    path.write_text(EXAMPLE.read_text() + "116,=Lamp,50,10,10,A/10\n117,,99,0,120,D65/10\n")
    return path


@pytest.fixture(scope="module")
def done(learnt_demo: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """That deck, answered with two toners."""
    folder = tmp_path_factory.mktemp("done")
    deck, out = folder / "deck.csv", folder / "done.csv"
    deck.write_text(EXAMPLE.read_text() + "116,=Lamp,50,10,10,A/10\n117,,99,0,120,D65/10\n")
    told = fewtone.load(learnt_demo).write_deck(deck, out, max_toners=2, workers=1)
    assert (told.out, told.resumed, told.summary.swatches) == (out, 0, 17)
    return out


def test_rows_equal_match_one_at_a_time(done: Path, deck: Path, demo: Path, run: Run) -> None:
    """Row for row: picks, figures, what is missed and what would help."""
    rows = rows_of(done)
    assert [row["number"] for row in rows] == [*map(str, range(101, 118))]
    reached = 0
    for row in rows:
        common = ("--deck", deck, "--shelf", demo, "--max-toners", 2)
        ran = run("match", row["number"], *common, "--json")
        one: Any = ran.document
        assert (row["reached"] == "true") == (ran.code == 0)
        reached += ran.code == 0
        for pick in PICKS:
            recipe = one["picks"][pick] or {}
            assert row[pick] == recipe.get("recipe", "")
            for name in ("de00", "pass_probability", "unevenness"):
                assert number_of(row[f"{pick}_{name}"]) == recipe.get(name)
            lab = [number_of(row[f"{pick}_{axis}"]) for axis in "Lab"]
            assert lab == recipe.get("lab", [None] * 3)
        miss = one["miss"] or {}
        for name in ("lightness", "chroma", "hue"):
            assert number_of(row[f"miss_{name}"]) == miss.get(name)
        assert row["miss"] == miss.get("words", "")
        helps = [each for each in row["would_help"].split("; ") if each]
        wanted = [each["words"] for each in miss.get("would_help", ())]
        assert [line.split(": ΔE00")[0] for line in helps] == wanted
    assert 14 <= reached < 17
    assert rows[-2]["name"] == "'=Lamp"  # inert in a spreadsheet
    assert rows[-2]["light"] == "A/10"


def test_the_rules_are_those_of_match(demo: Path, run: Run, tmp_path: Path) -> None:
    """Toners, grounds, keyed ones too, letdowns, coats, parts, tolerance; with help or without."""
    deck = tmp_path / "deck.csv"
    deck.write_text("number,L,a,b\n1,40,20,10\n2,55,-10,30\n")
    rules = [
        *("--shelf", demo, "--without", "ash,mist", "--ground", "silver,2 silver + 1 graphite"),
        *("--letdown", "6,5", "--coats", "2-4", "--max-part", "3", "--tolerance", "1.5"),
        *("--max-toners", "2", "--top", "2"),
    ]
    for number, more in enumerate(((), ("--without-help",))):
        out = tmp_path / f"out-{number}.csv"
        assert run("deck", deck, "-o", out, *rules, *more, "--bottles", 50).code == 0
        for row in rows_of(out):
            one: Any = run("match", row["number"], "--deck", deck, *rules, "--json").document
            for pick in PICKS:
                assert row[pick] == (one["picks"][pick] or {"recipe": ""})["recipe"]


def test_the_library_gives_the_same_as_a_table(done: Path, deck: Path, demo: Path) -> None:
    """`Shelf.deck` is the file as a DataFrame."""
    table = fewtone.load(demo).deck(deck, max_toners=2)
    read = pd.read_csv(done, dtype={"number": str}, keep_default_na=False)
    read["name"] = read["name"].str.removeprefix("'")
    for column in table.columns:
        if not isinstance(table[column].iloc[0], str):
            read[column] = pd.to_numeric(read[column])
    table = table.fillna(float("nan")).infer_objects()
    pd.testing.assert_frame_equal(table, read, check_dtype=False)


def test_an_unknown_option_is_answered_with_the_nearest(deck: Path, demo: Path) -> None:
    """Also of the rules that a deck shares with `match`."""
    shelf = fewtone.load(demo)
    for name, nearest in (("max_toner", "max_toners"), ("executer", "executor")):
        with pytest.raises(fewtone.UsageError, match=nearest):
            shelf.deck(deck, **{name: 1})  # type: ignore[arg-type]


def test_a_workbook_gives_the_same_rows(done: Path, deck: Path, demo: Path, run: Run) -> None:
    """An .xlsx deck, on two processes and without what would help."""
    book, sheet = Workbook(), None
    sheet = book.active
    assert sheet is not None
    for row in csv.reader(deck.read_text().splitlines()):
        sheet.append(
            [
                float(cell) if i in (2, 3, 4) and cell[0] not in "La" + "b" else cell
                for i, cell in enumerate(row)
            ]
        )
        sheet.cell(sheet.max_row, 2).data_type = "s"
    file, out = deck.with_suffix(".xlsx"), deck.with_name("book.csv")
    book.save(file)
    common = ("--shelf", demo, "--max-toners", 2, "--without-help", "--workers", 2)
    assert run("deck", file, "-o", out, *common).code == 0
    one, other = rows_of(done), rows_of(out)
    assert [{**row, "would_help": ""} for row in one] == other


def test_a_page_shows_every_swatch(deck: Path, demo: Path, run: Run, tmp_path: Path) -> None:
    """One chip each, those out of reach crossed out; names of a deck stay text."""
    deck.write_text(deck.read_text().replace("Wet slate", "<script>alert(1)</script>"))
    out, page = tmp_path / "o.csv", tmp_path / "o.html"
    ran = run("deck", deck, "--shelf", demo, "--max-toners", 1, "-o", out, "--page", page,
              "--without-help", "--bottles", "10%", "--json")  # fmt: skip
    assert ran.code == 0
    text = page.read_text()
    missed = ran.document["swatches"] - ran.document["reached"]
    assert text.count("<title>") - 1 == 17
    assert text.count('stroke="#161616"') == missed
    assert "<script>" not in text
    cells = ran.document["cells"]
    assert sum(cell["swatches"] for cell in cells) == 17
    assert sum(cell["reached"] for cell in cells) == ran.document["reached"]
    found = ran.document["bottles"]
    assert len(found["toners"]) == found["least_toners"]
    assert found["reached"] >= 2
    assert run("deck", deck, "-o", tmp_path / "p.csv", "--page", page, "--shelf", demo).code == 2


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("number,L,a,b\n1,2,3,4\n1,5,6,7\n", "twice"),
        ("L,a,b\n1,2,3\n", "'number' is missing"),
        ("number,L,a,b\n1,300,0,0\n", "out of range"),
        ("number,L,a,b\n1,grey,0,0\n", "is not an L"),
        ("number,L,a,b\n,30,0,0\n", "each row needs an id"),
        ("number,L,a,b\n", "no swatch"),
        ("number,L,a,b,light\n1,30,0,0,X/9\n", "X"),
    ],
)
def test_a_bad_deck_is_told(text: str, said: str, demo: Path, run: Run, tmp_path: Path) -> None:
    """File, row, column; nothing is written and nothing left behind."""
    deck, out = tmp_path / "bad.csv", tmp_path / "o.csv"
    deck.write_text(text)
    ran = run("deck", deck, "-o", out, "--shelf", demo)
    assert ran.code == 1
    assert said in ran.err
    assert not list(tmp_path.glob("o.csv*"))


def test_bad_usage_is_told(demo: Path, deck: Path, run: Run, tmp_path: Path) -> None:
    """An output that exists, of another kind, or that is the deck itself; shares and workers."""
    kept = tmp_path / "kept.csv"
    kept.write_text("mine\n")
    for words, said in (
        (("-o", kept), "--force"),
        (("-o", tmp_path / "o.txt"), ".csv"),
        (("-o", deck, "--force"), "a file each"),
        (("-o", tmp_path / "o.csv", "--page", tmp_path / "o.pdf"), ".html"),
        (("-o", tmp_path / "o.csv", "--page", tmp_path / "no" / "o.html"), "folder"),
        (("-o", tmp_path / "o.csv", "--bottles", "0"), "90%"),
        (("-o", tmp_path / "o.csv", "--bottles", "many"), "90%"),
        (("-o", tmp_path / "o.csv", "--use", "nobody"), "nobody"),
        (("-o", tmp_path / "o.csv", "--workers", 2, "--scheduler", "tcp://127.0.0.1:1"), "one of"),
    ):
        ran = run("deck", deck, "--shelf", demo, *words)
        assert (ran.code, said in ran.err) == (2, True), ran.err
    nowhere = run("deck", deck, "-o", tmp_path / "no" / "o.csv", "--shelf", demo)
    assert (nowhere.code, "does not exist" in nowhere.err) == (1, True)
    circle = tmp_path / "circle.csv"
    circle.symlink_to(circle.name)
    round_about = run("deck", circle, "-o", tmp_path / "o.csv", "--shelf", demo)
    assert (round_about.code, "cannot be read" in round_about.err) == (1, True)
    assert kept.read_text() == "mine\n"
    assert deck.read_text().startswith("number")
    assert not list(tmp_path.glob("o.*"))
    one = tmp_path / "one.csv"
    one.write_text("number,L,a,b\n1,40,10,10\n")
    assert run("deck", one, "-o", kept, "--shelf", demo, "--force", "--without-help").code == 0
    assert rows_of(kept)[0]["number"] == "1"


def _started(deck: Path, out: Path, demo: Path, **how: Any) -> subprocess.Popen[bytes]:
    words = ("deck", deck, "-o", out, "--shelf", demo, "--max-toners", "2", "--workers", "1")
    return subprocess.Popen(
        [sys.executable, "-m", "fewtone", *map(str, words)],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        **how,
    )


def _kept(out: Path) -> set[int]:
    """Places that are answered in what a run that is gone left."""
    file = out.with_name(out.name + ".unfinished")
    if not file.exists():
        return set()
    book = sqlite3.connect(file)
    try:
        return {place for (place,) in book.execute("SELECT place FROM answers")}
    except sqlite3.OperationalError:
        return set()  # killed while it was made
    finally:
        book.close()


def _wait_for_answers(process: subprocess.Popen[bytes], out: Path) -> None:
    """Until the log of what is kept has grown by an answer or two, or the run has ended."""
    log = out.with_name(out.name + ".unfinished-wal")
    limit = time.monotonic() + 60
    while process.poll() is None and time.monotonic() < limit:
        if log.exists() and log.stat().st_size > 20_000:
            return  # its tables take 12 kB, each answer a page of 4 kB
        time.sleep(0.002)


def test_kills_lose_nothing_and_repeat_nothing(done: Path, deck: Path, demo: Path) -> None:
    """Killed again and again: what is kept only grows, and the file comes out the same."""
    out, rng = deck.with_name("killed.csv"), random.Random(5)
    before: set[int] = set()
    kills = 0
    for _ in range(8):
        process = _started(deck, out, demo)
        _wait_for_answers(process, out)
        time.sleep(rng.uniform(0.0, 0.05))
        process.kill()
        process.communicate()
        if out.exists():
            break
        kills += 1
        kept = _kept(out)
        assert kept >= before
        before = kept
    assert kills
    assert before
    if not out.exists() or list(out.parent.glob("*.unfinished*")):
        process = _started(deck, out, demo)
        err = process.communicate()[1]
        assert process.returncode == 0, err
    assert out.read_bytes() == done.read_bytes()
    assert not list(out.parent.glob("*.unfinished*"))


def test_an_interruption_says_how_to_go_on(done: Path, deck: Path, demo: Path, run: Run) -> None:
    """Ctrl-C: exit code 130, what is kept is said, and the next run goes on from there."""
    out = deck.with_name("stopped.csv")
    # The last swatch takes the most time by far: it is out of reach.
    process = _started(deck, out, demo)
    _wait_for_answers(process, out)
    process.send_signal(signal.SIGINT)
    err = process.communicate()[1].decode()
    assert process.returncode == 130
    assert "Interrupted." in err
    assert "the same command goes on" in err
    assert not out.exists()
    kept = _kept(out)
    ran = run("deck", deck, "-o", out, "--shelf", demo, "--max-toners", 2, "--json")
    assert ran.document["resumed"] == len(kept) > 0
    assert out.read_bytes() == done.read_bytes()


def test_a_run_that_ended_before_it_tidied_up_is_done(
    done: Path, deck: Path, demo: Path, run: Run
) -> None:
    """Killed between writing the file and removing what was kept: the file is left as it is."""
    from fewtone.decks.unfinished import Unfinished

    out, common = deck.with_name("late.csv"), ("--shelf", demo, "--max-toners", 2)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Unfinished, "remove", lambda _: None)
        assert run("deck", deck, "-o", out, *common).code == 0
    assert _kept(out) == set(range(17))
    ran = run("deck", deck, "-o", out, *common)
    assert ran.code == 0
    assert out.read_bytes() == done.read_bytes()
    assert not _kept(out)
    # But a file that says something else is not taken for the answer.
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Unfinished, "remove", lambda _: None)
        assert run("deck", deck, "-o", out, *common, "--force").code == 0
    out.write_text("mine\n")
    assert run("deck", deck, "-o", out, *common).code == 2
    assert out.read_text() == "mine\n"


@pytest.mark.parametrize("room", [30_000, 0])
def test_a_full_disk_is_told_and_loses_nothing(
    room: int, done: Path, deck: Path, demo: Path, run: Run
) -> None:
    """No file may grow beyond so many bytes: a clear error, and what was kept is whole."""
    out = deck.with_name("full.csv")

    def small() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (room, room))

    process = _started(deck, out, demo, preexec_fn=small)
    err = process.communicate()[1].decode()
    assert process.returncode == 1, err
    assert "cannot be kept" in err
    assert "Traceback" not in err
    assert not out.exists()
    assert bool(list(out.parent.glob("full.csv*"))) == (room > 0)
    assert run("deck", deck, "-o", out, "--shelf", demo, "--max-toners", 2).code == 0
    assert out.read_bytes() == done.read_bytes()


def test_a_folder_that_may_only_be_read_is_told(
    deck: Path, demo: Path, run: Run, tmp_path: Path
) -> None:
    """Before anything is worked out."""
    folder = tmp_path / "shut"
    folder.mkdir(mode=0o500)
    if os.access(folder, os.W_OK):
        pytest.skip("this user may write everywhere")
    ran = run("deck", deck, "-o", folder / "o.csv", "--shelf", demo)
    assert ran.code == 1
    assert "cannot be kept" in ran.err
