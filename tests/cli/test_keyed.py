"""Keyed grounds from the command line: matched, looked at, read, learnt."""

from __future__ import annotations

from pathlib import Path

import pytest

import fewtone
from cli.conftest import Run

TARGET = "25,10,-20"
LINE = "2 peony + 1 mist, 6:1, 2 coats over 2 graphite + 1 white"


def test_match_shows_what_keying_saves_and_what_to_spray_first(demo: Path, run: Run) -> None:
    """Recipes over mixes beside the best over the grounds alone, and the guess behind them."""
    ran = run("match", TARGET, "--keyed", "--shelf", demo)
    assert ran.code == 0
    assert "Over a keyed ground, next to all" in ran.out
    assert "once the ground is read" in ran.out
    assert "clear it and read it three times" in " ".join(ran.out.split())
    document = run("match", TARGET, "--keyed", "--shelf", demo, "--json").document
    keying = document["keying"]
    assert keying["grounds"] == 18
    (first, *_) = keying["proposals"]
    assert " + " in first["recipe"]["ground"]
    assert first["pass_probability_now"] < first["recipe"]["pass_probability"]
    assert "keying" not in run("match", TARGET, "--shelf", demo, "--json").document
    alone = run("match", TARGET, "--keyed", "--ground", "silver", "--shelf", demo, "--json")
    assert "keying" not in alone.document


def test_the_rows_of_a_keyed_ground_are_written_and_learnt(demo: Path, run: Run) -> None:
    """Three bare readings and a strip to fill in; once filled in, it is a ground like any other."""
    before = (demo / "readings.csv").read_text(encoding="utf-8").count("\n")
    assert run("check", LINE, "--shelf", demo).err.count("was never read") == 1
    for words in (("letdown", LINE), ("compare", LINE, "1 peony, 6:1, 2 coats over white")):
        assert run(*words, "--shelf", demo).err.count("was never read") == 1
    (said,) = run("check", LINE, "--shelf", demo, "--json").document["cautions"]
    assert said.startswith("The ground 2 graphite + 1 white was never read")
    named = run("match", TARGET, "--ground", "graphite + white", "--shelf", demo)
    assert "1 graphite + 1 white was never read" in " ".join(named.err.split())
    ran = run("learn", "--add-rows", "--for", LINE, "--shelf", demo)
    assert ran.code == 0
    rows = (demo / "readings.csv").read_text(encoding="utf-8").splitlines()[before:]
    assert [row.split(",")[1:5] for row in rows] == [
        *[["2 graphite + 1 white", "", "", "0"]] * 3,
        *[["2 graphite + 1 white", "2 peony + 1 mist", "6", str(n)] for n in (1, 2, 3)],
    ]
    assert not run("learn", "--add-rows", "--for", LINE, "--shelf", demo).err.count("rror")
    again = (demo / "readings.csv").read_text(encoding="utf-8").splitlines()[before:]
    assert again == rows
    # What such a ground reads: between its parents.
    shelf = fewtone.load(demo)
    spectrum = shelf.predict(f"mist, 6:1, 0 coats over {LINE.split(' over ')[1]}").reflectance[0]
    cells = ",".join(f"{value:.4f}" for value in 1.1 * spectrum)
    header = (demo / "readings.csv").read_text(encoding="utf-8").splitlines()[0].split(",")
    filled = [
        ",".join((row.split(",") + [""] * 9)[: header.index("400")]) + "," + cells
        if ",,,0" in row
        else row
        for row in rows
    ]
    text = (demo / "readings.csv").read_text(encoding="utf-8").splitlines()[:before]
    (demo / "readings.csv").write_text("\n".join([*text, *filled]) + "\n", encoding="utf-8")
    assert run("learn", "--shelf", demo).code == 0
    assert "never read" not in run("check", LINE, "--shelf", demo).err
    shown = run("letdown", "mist, 6:1, 2 coats over silver", "--shelf", demo)
    assert "Over 2 graphite + 1 white" in shown.out
    kept = run("match", TARGET, "--keyed", "--shelf", demo, "--json").document
    assert kept["keying"]["grounds"] == 17


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("check", "mist, 6:1, 2 coats over 2 silver + 1 gaphite"), "Did you mean 'graphite'?"),
        (("check", "mist, 6:1, 2 coats over 2 silver"), "a mix of two grounds or more"),
        (("check", "mist, 6:1, 2 coats over 0 silver + 1 white"), "of 1 or more, not 0"),
        (("check", "mist, 6:1, 2 coats over silver + Fine silver"), "not keyed with itself"),
        (("match", TARGET, "--ground", "silver + nothing"), "'nothing' is not a ground"),
        (("learn", "--add-rows", "--for", "mist, 6:1, 2 coats over silver"), "is no keyed one"),
        (("learn", "--for", LINE), "--add-rows"),
    ],
)
def test_what_is_wrong_is_said(
    words: tuple[str, ...], said: str, learnt_demo: Path, run: Run
) -> None:
    """With the nearest name where one is not known; nothing is written."""
    ran = run(*words, "--shelf", learnt_demo)
    assert ran.code == 2
    assert said in " ".join(ran.err.split())


def test_a_keyed_ground_in_readings_that_does_not_read_is_a_fault_of_its_cell(
    demo: Path, run: Run
) -> None:
    """File, row, column and value, and how to mend it."""
    text = (demo / "readings.csv").read_text(encoding="utf-8")
    (demo / "readings.csv").write_text(
        text.replace("P034,brass,", "P034,2 brass + 1 moss,"), encoding="utf-8"
    )
    (fault,) = run("learn", "--shelf", demo, "--json").document["errors"]
    assert (fault["column"], fault["value"]) == ("ground", "2 brass + 1 moss")
    assert "'moss' is not a ground" in fault["message"]


def test_a_keyed_ground_is_poured_on_the_lines_of_the_same_cup(learnt_demo: Path, run: Run) -> None:
    """Whole parts, whole lines of 10 ml, no less than was asked for; in JSON as well."""
    line = "2 peony + 1 mist, 6:1, 2 coats over 2 graphite + 1 white"
    words = ("batch", line, "--volume", "300ml", "--shelf", learnt_demo)
    ran = run(*words, "--ground-volume", "200ml")
    assert ran.code == 0
    assert "mix 210.0 ml (200.0 ml wanted)" in ran.out
    ground = run(*words, "--ground-volume", "200ml", "--json").document["ground"]
    assert [(pour["component"], pour["ml"]) for pour in ground["pours"]] == [
        ("graphite", 140.0),
        ("white", 70.0),
    ]
    exact = run(*words, "--ground-volume", "200ml", "--exact", "--json").document["ground"]
    assert exact["total_ml"] == 200.0
    assert "--ground-volume" in run(*words).out
    assert run(*words, "--json").document["ground"] is None
    alone = ("batch", "peony, 6:1, 2 coats over silver", "--volume", "300ml")
    refused = run(*alone, "--ground-volume", "200ml", "--shelf", learnt_demo)
    assert refused.code == 2
    assert "is not mixed of others" in refused.err
    assert "Leave --ground-volume out" in " ".join(refused.err.split())
