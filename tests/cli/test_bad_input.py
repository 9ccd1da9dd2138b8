"""Bad input from the command line: a message that mends it, the right exit code, nothing written.

Each fault is also shown under --json; the readers' own tests show more of them.
"""

from __future__ import annotations

import json
import os
import stat
from collections.abc import Callable
from pathlib import Path

import pytest

from cli.conftest import Run

TARGET = "38,30,28"
RECIPE = "2 marigold + 1 dusk, 6:1, 4 coats over silver"


def edited(change: Callable[[list[list[str]]], None]) -> Callable[[Path], None]:
    """An edit of the cells of readings.csv."""

    def edit(folder: Path) -> None:
        path = folder / "readings.csv"
        rows = [line.split(",") for line in path.read_text().splitlines()]
        change(rows)
        path.write_text("\n".join(",".join(row) for row in rows) + "\n")

    return edit


def set_cell(row: int, column: str, value: str) -> Callable[[Path], None]:
    """An edit of one cell."""

    def change(rows: list[list[str]]) -> None:
        rows[row - 1][rows[0].index(column)] = value

    return edited(change)


def rename(column: str, name: str) -> Callable[[Path], None]:
    """An edit of one column's name."""
    return set_cell(1, column, name)


def drop(column: str) -> Callable[[Path], None]:
    """An edit that takes a column out."""

    def change(rows: list[list[str]]) -> None:
        at = rows[0].index(column)
        for row in rows:
            del row[at]

    return edited(change)


def keep(wanted: Callable[[dict[str, str]], bool]) -> Callable[[Path], None]:
    """An edit that takes out the rows that are not wanted."""

    def change(rows: list[list[str]]) -> None:
        rows[1:] = [row for row in rows[1:] if wanted(dict(zip(rows[0], row, strict=True)))]

    return edited(change)


def in_micrometres(rows: list[list[str]]) -> None:
    """The wavelength columns named in micrometres."""
    rows[0] = [f"{float(name) / 1000:g}" if name.isdigit() else name for name in rows[0]]


def in_percent(rows: list[list[str]]) -> None:
    """Row 20 in percent."""
    first = rows[0].index("400")
    rows[19][first:] = [str(round(100 * float(cell), 2)) for cell in rows[19][first:]]


def write(content: bytes) -> Callable[[Path], None]:
    """Another file in place of readings.csv."""

    def edit(folder: Path) -> None:
        (folder / "readings.csv").write_bytes(content)

    return edit


BAD_READINGS: dict[str, tuple[Callable[[Path], None], dict[str, object]]] = {
    "a missing column": (drop("coats"), {"column": "coats", "row": 1}),
    "a misspelt column": (rename("coats", "caots"), {"row": 1}),
    "a ratio turned into a time": (
        set_cell(15, "medium_parts", "06:01:00"),
        {"row": 15, "column": "medium_parts", "value": "06:01:00"},
    ),
    "a panel id turned into a date": (
        set_cell(15, "panel", "03-Jan"),
        {"row": 15, "column": "panel", "value": "03-Jan"},
    ),
    "text where a number belongs": (
        set_cell(15, "500", "high"),
        {"row": 15, "column": "500", "value": "high"},
    ),
    "percent where factor is meant": (edited(in_percent), {"row": 20}),
    "a NaN": (set_cell(15, "500", "NaN"), {"row": 15, "column": "500", "value": "NaN"}),
    "far below black": (set_cell(15, "500", "-0.2"), {"row": 15, "column": "500"}),
    "wavelengths out of order": (rename("420", "395"), {"row": 1, "column": "395"}),
    "wavelengths in micrometres": (edited(in_micrometres), {"row": 1, "column": "0.4"}),
    "a toner read once": (
        keep(lambda row: "marigold" not in row["blend"] or row["panel"] + row["coats"] == "P0072"),
        {"column": "coats", "value": "2"},
    ),
    "all at one coat": (
        keep(lambda row: row["coats"] in ("0", "2") and "+" not in row["blend"]),
        {"column": "coats", "value": "2"},
    ),
    "a ground never read bare": (
        keep(lambda row: row["ground"] != "silver" or row["coats"] != "0"),
        {"column": "ground", "value": "silver"},
    ),
    "nothing but bare grounds": (keep(lambda row: row["coats"] == "0"), {}),
    "a toner not in shelf.toml": (
        set_cell(15, "blend", "marigolf"),
        {"row": 15, "column": "blend"},
    ),
    "an unknown ground": (set_cell(15, "ground", "slver"), {"row": 15, "column": "ground"}),
    "negative coats": (set_cell(15, "coats", "-2"), {"row": 15, "column": "coats", "value": "-2"}),
    "a non-UTF-8 file": (write("panel,ground\nP1,gr\u00fcn\n".encode("latin-1")), {"row": 2}),
    "an empty file": (write(b""), {}),
}


@pytest.mark.parametrize("kind", BAD_READINGS)
def test_bad_readings(demo: Path, run: Run, kind: str) -> None:
    """Learning names the file and the place, says how to mend it, and leaves the curves alone."""
    edit, place = BAD_READINGS[kind]
    before = (demo / "curves.csv").read_bytes()
    edit(demo)
    ran = run("learn", "--shelf", demo)
    assert (ran.code, ran.out) == (1, "")
    assert "readings.csv" in ran.err
    ran = run("learn", "--shelf", demo, "--json")
    assert ran.code == 1
    errors = ran.document["errors"]
    assert all(error["fix"] and error["message"] for error in errors)
    assert all(error["file"].endswith("readings.csv") for error in errors)
    assert any(place.items() <= error.items() for error in errors)
    assert (demo / "curves.csv").read_bytes() == before


def test_doubtful_readings_are_told(demo: Path, run: Run) -> None:
    """What can be read but hardly be right is learnt from, with a note of its row."""
    set_cell(15, "500", "-0.03")(demo)
    ran = run("learn", "--shelf", demo)
    assert ran.code == 0
    assert "readings.csv, row 15: reflectance -0.03 at 500 nm is below black" in " ".join(
        ran.err.split()
    )


def test_all_faults_in_one_go(demo: Path, run: Run) -> None:
    """Faults in different rows and columns are all told at once."""
    for edit in (
        set_cell(15, "medium_parts", "06:01:00"),
        set_cell(16, "blend", "marigolf"),
        set_cell(17, "coats", "-2"),
    ):
        edit(demo)
    errors = run("learn", "--shelf", demo, "--json").document["errors"]
    assert [error["row"] for error in errors] == [15, 16, 17]


@pytest.mark.parametrize("target", ["teal", "1,2", "#12", "999,0,0"])
def test_a_target_that_is_no_colour(learnt_demo: Path, run: Run, target: str) -> None:
    """Wrong usage, with the pattern of a target."""
    ran = run("match", target, "--shelf", learnt_demo)
    assert ran.code == 2
    assert "#2f5d50" in ran.err


def test_a_recipe_line_that_does_not_parse(learnt_demo: Path, run: Run) -> None:
    """The message points at the place."""
    ran = run("check", "2 marigold + 1 dusk, 6, 4 coats over silver", "--shelf", learnt_demo)
    assert ran.code == 2
    assert ran.err.splitlines()[2] == " " * 24 + "^"
    ran = run("check", "2 marigold", "--shelf", learnt_demo, "--json")
    assert ran.document["errors"][0]["value"] == "2 marigold"


@pytest.mark.parametrize(
    "recipe",
    ["2 marigolf + 1 dusk, 6:1, 4 coats over silver", "marigold, 6:1, 4 coats over slver"],
)
def test_a_recipe_that_the_shelf_cannot_make(learnt_demo: Path, run: Run, recipe: str) -> None:
    """A toner or ground that is not on the shelf is named with those that are."""
    ran = run("check", recipe, "--shelf", learnt_demo)
    assert ran.code == 2
    assert "silver" in ran.err or "marigold" in ran.err


def test_an_unlearnt_shelf(demo: Path, run: Run) -> None:
    """Match and check say to learn first."""
    (demo / "curves.csv").unlink()
    for words in (("match", TARGET), ("check", RECIPE)):
        ran = run(*words, "--shelf", demo)
        assert ran.code == 1
        assert "fewtone learn" in ran.err


def test_readings_changed_since_learning(demo: Path, run: Run) -> None:
    """A warning, and the answer all the same."""
    with (demo / "readings.csv").open("a") as file:
        file.write("\n")
    ran = run("match", TARGET, "--shelf", demo, "--max-toners", "1", "--json")
    assert ran.code in (0, 3)
    assert "has changed" in ran.err
    assert ran.document["picks"]["closest"]


def test_settings_changed_since_learning(demo: Path, run: Run) -> None:
    """Another geometry than was learnt is a warning too."""
    path = demo / "shelf.toml"
    path.write_text(path.read_text().replace('geometry = "45:0"', 'geometry = "di:8"'))
    assert "geometry" in run("check", RECIPE, "--shelf", demo).err


def test_a_read_only_folder(demo: Path, run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """Learning into a folder that cannot be written to is a fault; the old curves stand."""
    before = (demo / "curves.csv").read_bytes()
    present = {path.name for path in demo.iterdir()}
    demo.chmod(stat.S_IRUSR | stat.S_IXUSR)
    if os.access(demo, os.W_OK):  # root writes anywhere, so the refusal is played

        def refuse(*_: object, **__: object) -> None:
            raise PermissionError(13, os.strerror(13))

        monkeypatch.setattr("tempfile.mkstemp", refuse)
    ran = run("learn", "--shelf", demo)
    demo.chmod(stat.S_IRWXU)
    assert ran.code == 1
    assert "cannot be written" in ran.err
    assert (demo / "curves.csv").read_bytes() == before
    assert {path.name for path in demo.iterdir()} == present


@pytest.mark.parametrize(
    "words",
    [
        ("paint",),
        ("match",),
        ("match", TARGET, "--colour", "x"),
        ("match", TARGET, "--max-toners", "0"),
        ("match", TARGET, "--max-toners", "two"),
        ("match", TARGET, "--use", "marigolf"),
        ("match", TARGET, "--without", "marigolf"),
        ("match", TARGET, "--ground", "slver"),
        ("match", TARGET, "--letdown", "six"),
        ("match", TARGET, "--coats", "5-2"),
        ("match", TARGET, "--coats", "few"),
        ("match", TARGET, "--light", "D64/10"),
        ("match", TARGET, "--tolerance", "-1"),
        ("match", "#2f5d50", "--light", "A/10"),
    ],
)
def test_wrong_usage(learnt_demo: Path, run: Run, words: tuple[str, ...]) -> None:
    """Exit code 2 and a message; under --json one document on standard output."""
    shelf = ("--shelf", learnt_demo) if len(words) > 1 else ()
    ran = run(*words, *shelf)
    assert (ran.code, ran.out) == (2, "")
    assert ran.err.strip()
    ran = run(*words, *shelf, "--json")
    assert ran.code == 2
    assert ran.document["format"] == 1
    assert ran.document["errors"][0]["message"]


def test_a_deck_that_is_wrong(learnt_demo: Path, run: Run, tmp_path: Path) -> None:
    """A deck without its columns is the user's data; a number it lacks is wrong usage."""
    deck = tmp_path / "deck.csv"
    deck.write_text("nr,L,a,b\n1,40,0,0\n")
    assert run("match", "1", "--deck", deck, "--shelf", learnt_demo).code == 1
    deck.write_text("number,L,a,b\n1,40,0,0\n")
    assert run("match", "2", "--deck", deck, "--shelf", learnt_demo).code == 2
    assert run("match", "1", "--deck", tmp_path / "no.csv", "--shelf", learnt_demo).code == 1


def test_which_shelf(
    learnt_demo: Path, run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The only shelf under ./toners is taken; none or several must be named."""
    monkeypatch.chdir(tmp_path)
    assert run("check", RECIPE).code == 2
    (tmp_path / "toners").mkdir()
    (tmp_path / "toners" / "one").symlink_to(learnt_demo)
    assert run("check", RECIPE).code == 0
    (tmp_path / "toners" / "two").symlink_to(learnt_demo)
    ran = run("check", RECIPE)
    assert ran.code == 2
    assert "FEWTONE_SHELF" in ran.err
    monkeypatch.setenv("FEWTONE_SHELF", str(learnt_demo))
    assert run("check", RECIPE).code == 0
    assert run("check", RECIPE, "--shelf", tmp_path / "none").code == 2


def test_a_fault_of_ours_is_reported_without_a_traceback(
    learnt_demo: Path, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Exit code 4, a short message and a report that can be passed on."""

    def broken(*_: object, **__: object) -> None:
        raise RuntimeError("broken on purpose")

    monkeypatch.setattr("fewtone.api.load_curves", broken)
    ran = run("check", RECIPE, "--shelf", learnt_demo, "--json")
    assert ran.code == 4
    report = Path(ran.document["errors"][0]["file"])
    assert "broken on purpose" in report.read_text()
    report.unlink()


def test_interrupted(learnt_demo: Path, run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """An interrupt ends with 130 and says that nothing was changed."""

    def stop(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("fewtone.api.load_curves", stop)
    assert run("check", RECIPE, "--shelf", learnt_demo).code == 130


def test_what_stands_behind_two_dashes_is_text(run: Run, tmp_path: Path) -> None:
    """No option is meant there, `--json` neither, in the answer and in an error."""
    book = ("--book", tmp_path / "book.db")
    said = run("job", "note", "nobody", *book, "--", "--json")
    assert said.code == 1
    assert "no job" in said.err
    assert said.out == ""
    assert run("job", "note", "nobody", *book, "--json", "--", "text").document["errors"]
    assert run("job", "find", "--toner", "--", *book, "--json", "--nonsense").document["errors"]


def test_errors_are_json_even_when_usage_is_wrong(run: Run) -> None:
    """The document has the locked keys."""
    ran = run("match", "--json")
    assert set(json.loads(ran.out)["errors"][0]) == {
        "file",
        "row",
        "column",
        "value",
        "message",
        "fix",
    }
