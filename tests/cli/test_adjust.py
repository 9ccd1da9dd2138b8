"""`fewtone adjust` as a user types it."""

from __future__ import annotations

from pathlib import Path

import pytest

from cli.conftest import Run
from lamp_shelf import write_lamp_shelf

RECIPE = "2 marigold + 1 dusk, 6:1, 4 coats over silver"
TARGET = ("--target", "34.1,-7.3,27.5")
PANEL = ("--reading", "36.9,-8.2,25.4")


@pytest.fixture
def shelf(tmp_path: Path) -> Path:
    """A learnt lamp bench that a test may change."""
    return write_lamp_shelf(tmp_path / "lamp-bench")


def test_json_is_one_document(shelf: Path, run: Run) -> None:
    """The document of the interface: advice, coats, additions, after."""
    ran = run(
        "adjust",
        RECIPE,
        *TARGET,
        *PANEL,
        "--left",
        "350ml",
        "--room",
        "500ml",
        "--shelf",
        shelf,
        "--json",
    )
    document = ran.document
    assert ran.code == 0
    assert document["format"] == 1
    assert document["advice"] in ("coats", "add", "stop")
    assert {"recipe", "lab", "de00", "pass_probability"} <= set(document["coats"])
    assert {"recipe", "lab", "de00", "pass_probability"} <= set(document["after"])
    assert (document["advice"] == "add") == bool(document["additions"])
    for addition in document["additions"]:
        assert {"component", "ml", "grams"} <= set(addition)
    assert document["total_ml"] <= 500
    assert document["why"]


def test_what_a_person_reads(shelf: Path, run: Run) -> None:
    """The advice first, then why, and the readings with their spread."""
    ran = run(
        "adjust",
        RECIPE,
        *TARGET,
        *PANEL,
        "--reading",
        "36.8,-8.3,25.6",
        "--left",
        "350ml",
        "--shelf",
        shelf,
    )
    assert ran.code == 0
    assert "ΔE00" in ran.out
    assert "the mean of 2 that spread by" in ran.out
    assert "the mix may grow to 525 ml" in ran.err
    assert "safety data sheets" in ran.err


def test_a_job_of_several_panels(shelf: Path, run: Run) -> None:
    """Earlier panels are told with the recipe they were sprayed with, and shown again."""
    other = "2.2 marigold + 1 dusk, 6:1, 4 coats over silver"
    words = ("adjust", other, *TARGET, "--reading", "35.8,-7.5,29.9", "--shelf", shelf)
    job = (*words, "--earlier", f"35.8,-7.4,27.2 and 35.7;-7.5;27.1 of {RECIPE}", "--left", "350ml")
    document = run(*job, "--json").document
    assert document["earlier"][0]["recipe"] == RECIPE
    assert document["earlier"][0]["readings"][0]["count"] == 2
    assert {"recipe", "pass_probability", "de00"} <= set(document["next_time"])
    shown = run(*job)
    assert shown.code == 0
    assert RECIPE in shown.out
    assert (
        document["after"]["pass_probability"]
        != (run(*words, "--left", "350ml", "--json").document["after"]["pass_probability"])
    )


def test_a_reading_that_nothing_explains_ends_with_1(shelf: Path, run: Run) -> None:
    """No recipe; what it may be instead."""
    words = ("adjust", RECIPE, *TARGET, "--shelf", shelf, "--json")
    ran = run(*words, "--reading", "36.9,25.4,-8.2")
    assert ran.code == 1
    assert "written as L, b, a" in ran.document["errors"][0]["message"]


def test_the_reading_can_be_kept(shelf: Path, run: Run) -> None:
    """With --keep-reading the reading stands in readings.csv under a panel of its own."""
    before = (shelf / "readings.csv").read_text(encoding="utf-8")
    words = ("adjust", RECIPE, *TARGET, *PANEL, "--shelf", shelf, "--keep-reading", "--json")
    ran = run(*words)
    assert ran.document["kept"] == "kept-1"
    assert "run `fewtone learn`" in ran.err
    after = (shelf / "readings.csv").read_text(encoding="utf-8")
    assert after.splitlines()[-1].startswith("kept-1,silver,2 marigold + 1 dusk,6,4,")
    assert len(after.splitlines()) == len(before.splitlines()) + 1
    assert run(*words).document["kept"] == "kept-2"


def test_a_read_only_folder_keeps_nothing(
    shelf: Path, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What cannot be written is told, and readings.csv is as it was."""

    def refuse(*_: object, **__: object) -> tuple[int, str]:
        raise PermissionError(13, "Permission denied")

    before = (shelf / "readings.csv").read_bytes()
    monkeypatch.setattr("tempfile.mkstemp", refuse)
    ran = run("adjust", RECIPE, *TARGET, *PANEL, "--shelf", shelf, "--keep-reading")
    assert ran.code == 1
    assert "cannot be written" in ran.err
    assert (shelf / "readings.csv").read_bytes() == before


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        ((*TARGET, "--reading", "38,-18"), 2, "is not a reading"),
        ((*TARGET, *PANEL, "--earlier", "38,-18,9"), 2, "is not a panel of the job"),
        ((*TARGET, *PANEL, "--earlier", "38,-18,9 of dusk"), 2, "a comma after the blend"),
        ((*TARGET, "--reading", "38,-18,9 over white"), 2, "over white, the recipe over silver"),
        ((*TARGET, *PANEL, "--left", "350mls"), 2, "is not known"),
        ((*TARGET, *PANEL, "--left", "-1ml"), 2, "cannot be negative"),
        ((*TARGET, *PANEL, "--left", "1l", "--room", "600ml"), 2, "nothing can be added"),
        ((*TARGET, *PANEL, "--sprayed", "three"), 2, "is not a number of coats"),
        (("--target", "#2f5d50", *PANEL), 2, "different lights"),
        ((*TARGET, *PANEL, "--light", "D50/2"), 2, "different lights"),
        (TARGET, 2, "--reading"),
        (PANEL, 2, "--target"),
    ],
)
def test_bad_input_is_told(
    shelf: Path, run: Run, words: tuple[str, ...], code: int, said: str
) -> None:
    """What cannot be used is named, in words and in JSON alike."""
    ran = run("adjust", RECIPE, *words, "--shelf", shelf, "--json")
    assert ran.code == code
    assert any(said in fault["message"] for fault in ran.document["errors"])
