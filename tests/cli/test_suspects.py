"""Panels that do not fit, from the command line."""

from __future__ import annotations

import csv
from pathlib import Path

from cli.conftest import Run

# As sprayed, and as somebody might have noted it.
SPRAYED, NOTED = "P030,white,2 poppy + 1 ember,6,3,", "P030,white,2 poppy + 1 dusk,6,3,"


def plant(demo: Path) -> None:
    """Note one panel of the demo shelf under the name of another toner."""
    file = demo / "readings.csv"
    text = file.read_text(encoding="utf-8")
    assert SPRAYED in text
    file.write_text(text.replace(SPRAYED, NOTED), encoding="utf-8")


def test_a_bad_panel_is_named_with_what_explains_it(demo: Path, run: Run) -> None:
    """The suspect stands in the document and on the screen, with the command that leaves it out."""
    plant(demo)
    document = run("learn", "--shelf", demo, "--json").document
    assert [suspect["panel"] for suspect in document["suspects"]] == ["P030"]
    suspect = document["suspects"][0]
    assert suspect["explanation"] == "P030 reads like 2 poppy + 1 ember, not 2 poppy + 1 dusk."
    assert suspect["left_out_de00"] > 1.0
    assert suspect["removable"] is True
    assert suspect["disagrees_with"] is None
    assert document["panels"] == 37
    shown = run("learn", "--shelf", demo).out
    assert suspect["explanation"] in shown
    assert "fewtone learn --leave-out P030" in shown


def test_a_suspect_can_be_left_out(demo: Path, run: Run) -> None:
    """Without it nothing is suspect, and the answer says what was left out."""
    plant(demo)
    words = ("learn", "--shelf", demo, "--leave-out", "P030")
    document = run(*words, "--json").document
    assert document["suspects"] == []
    assert document["left_out"] == ["P030"]
    assert document["panels"] == 36
    assert "Without P030." in run(*words).out


def test_the_demo_shelf_has_no_suspects(demo: Path, run: Run) -> None:
    """Nothing is planted in the demo, and nothing is found; each toner says how sure it is."""
    document = run("learn", "--shelf", demo, "--json").document
    assert document["suspects"] == []
    assert document["cautions"] == []
    for toner in document["toners"].values():
        assert toner["left_out_de00"] > toner["median_de00"]
        assert 0.5 < toner["data_share"] < 1.0
        assert toner["scatters"] is False


def test_an_instrument_that_drifts_is_told_and_no_panel_blamed(demo: Path, run: Run) -> None:
    """White that rises by 2 % from the first row to the last, among the demo's six days."""
    file = demo / "readings.csv"
    with file.open(encoding="utf-8", newline="") as opened:
        header, *rows = csv.reader(opened)
    first = header.index("note") + 1
    for n, row in enumerate(rows):
        rise = 1.0 + 0.02 * n / (len(rows) - 1)
        row[first:] = [f"{float(text) * rise:.4f}" for text in row[first:]]
    with file.open("w", encoding="utf-8", newline="") as opened:
        csv.writer(opened, lineterminator="\n").writerows([header, *rows])
    ran = run("learn", "--shelf", demo, "--json")
    assert ran.document["suspects"] == []
    (told,) = [text for text in ran.document["cautions"] if "white" in text]
    assert "seems to have drifted" in told
    assert "higher" in told
    assert told in " ".join(ran.err.split())


def test_only_what_can_be_spared_is_proposed_to_be_left_out(demo: Path, run: Run) -> None:
    """A toner's only strip at a wrong letdown is told, and no command takes the toner away."""
    file = demo / "readings.csv"
    lines = file.read_text(encoding="utf-8").splitlines()
    bare = [line for line in lines if line.split(",")[2] == ""]
    kept = [lines[0], *bare]
    toners = {line.split(",")[2] for line in lines[1:]} - {""}
    for toner in sorted(name for name in toners if " " not in name):
        own = [line for line in lines[1:] if line.split(",")[2] == toner]
        first = own[0].split(",")[0]
        kept += [line for line in own if line.split(",")[0] == first]
    file.write_text("\n".join(kept) + "\n", encoding="utf-8")
    before = run("learn", "--shelf", demo, "--json").document
    assert len(before["toners"]) == len([name for name in toners if " " not in name])
    for suspect in before["suspects"]:
        assert suspect["removable"] is False
    assert "--leave-out" not in run("learn", "--shelf", demo).out


def test_suggested_panels_become_rows_to_fill(demo: Path, run: Run) -> None:
    """The rows are added once, count for nothing until they are filled, and curves stay current."""
    file = demo / "readings.csv"
    before = file.read_text(encoding="utf-8")
    document = run("learn", "--shelf", demo, "--add-rows", "--json").document
    assert document["added_panels"] == [f"next-{n}" for n in range(1, 6)]
    after = file.read_text(encoding="utf-8")
    assert after.startswith(before)
    rows = after[len(before) :].splitlines()
    assert [row.split(",")[0] for row in rows] == document["added_panels"]
    for row, line in zip(rows, document["spray_next"], strict=True):
        _, ground, blend, medium, coats = row.split(",")[:5]
        assert line.startswith(f"{blend}, {medium}:1, {coats} coat")
        assert line.endswith(f"over {ground}")
    again = run("learn", "--shelf", demo, "--add-rows", "--json").document
    assert again["added_panels"] == []
    assert again["toners"] == document["toners"]
    assert file.read_text(encoding="utf-8") == after
    matched = run("match", "34.1,59.3,12.5", "--shelf", demo)
    assert "has changed since" not in matched.err
