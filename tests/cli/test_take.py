"""`fewtone take` from the command line."""

from __future__ import annotations

from pathlib import Path

import pytest

import fewtone
from cli.conftest import Run
from exports import NM, cgats, colour_object, cxf, specification, spectrum

RECIPE = "2 marigold + 1 dusk, 6:1, 4 coats over silver"
FIELDS = ["SAMPLE_NAME", *(f"nm{nm}" for nm in NM)]
GREY = [round(0.2 + 0.002 * i, 4) for i in range(len(NM))]


@pytest.fixture
def export(tmp_path: Path) -> Path:
    """A CxF3 file with a recipe's reading."""
    file = tmp_path / "bench.cxf"
    file.write_bytes(cxf([colour_object(RECIPE, spectrum(GREY))], [specification()]))
    return file


def test_it_says_what_it_did(demo: Path, run: Run, export: Path) -> None:
    """Row, panel and what was done, on the screen and as a document; then nothing is new."""
    ran = run("take", export, "--shelf", demo, "--dry-run")
    assert (ran.code, "Nothing was written." in ran.out) == (0, True)
    ran = run("take", export, "--shelf", demo, "--json")
    document = ran.document
    assert document == {
        "format": 1,
        "file": str(export),
        "kind": "CxF3",
        "readings": str(demo / "readings.csv"),
        "written": True,
        "samples": [
            {
                "sample": RECIPE,
                "what": "added",
                "panel": "R001",
                "row": document["samples"][0]["row"],
            }
        ],
        "left_out": [],
        "columns_added": [],
        "cautions": [],
    }
    assert len((demo / "readings.csv").read_text().splitlines()) == document["samples"][0]["row"]
    ran = run("take", export, "--shelf", demo, "--plain")
    assert "there already" in ran.out
    assert "Nothing was new" in ran.out


def test_what_was_taken_is_learnt(demo: Path, run: Run, export: Path) -> None:
    """Learning counts the new reading; before it, commands say that the readings changed."""
    run("take", export, "--shelf", demo)
    ran = run("check", RECIPE, "--shelf", demo)
    assert (ran.code, "readings.csv has changed" in ran.err) == (0, True)


def refusals() -> dict[str, tuple[bytes, tuple[str, ...], int, str]]:
    """Content, options, exit code and message."""
    two = cxf(
        [colour_object(RECIPE, spectrum(GREY), spectrum(GREY, "CS2"))],
        [specification(condition="M0_Incandescent"), specification("CS2", condition="M1_Daylight")],
    )
    bomb = b'<?xml version="1.0"?><!DOCTYPE a [<!ENTITY b "c">]><a>&b;</a>'
    row = [RECIPE, *GREY]
    sphere = {"MEASUREMENT_GEOMETRY": "d/8 specular included"}
    return {
        "several modes": (two, (), 1, "(--mode), such as M0"),
        "a mode that is not there": (two, ("--mode", "M2"), 2, "goes by 'M2'"),
        "hostile XML": (bomb, (), 1, "document type"),
        "another geometry": (cgats([row], FIELDS, sphere), (), 1, "taken in di:8"),
        "an unmatched name": (cgats([["tile", *GREY]], FIELDS), (), 1, "(--leave-out)"),
        "no light": (
            cgats([[RECIPE, *GREY]], FIELDS),
            ("--light", "noon"),
            2,
            "'noon' is no light",
        ),
        "a letter": (b"Dear all\n", (), 1, "neither CGATS text"),
    }


@pytest.mark.parametrize("kind", refusals())
def test_refusals(demo: Path, run: Run, tmp_path: Path, kind: str) -> None:
    """The message mends it, the exit code is right, readings.csv stays as it was."""
    content, options, code, message = refusals()[kind]
    file = tmp_path / "bench.dat"
    file.write_bytes(content)
    before = (demo / "readings.csv").read_bytes()
    ran = run("take", file, "--shelf", demo, *options)
    assert (ran.code, ran.out) == (code, "")
    assert message in ran.err
    ran = run("take", file, "--shelf", demo, *options, "--json")
    assert ran.code == code
    assert all(error["message"] and error["fix"] for error in ran.document["errors"])
    assert (demo / "readings.csv").read_bytes() == before


def test_a_file_that_is_not_there(demo: Path, run: Run) -> None:
    """It is named."""
    ran = run("take", demo / "nothing.cxf", "--shelf", demo)
    assert ran.code == 1
    assert "nothing.cxf: This file cannot be read" in ran.err


def test_the_python_call_is_the_command(demo: Path, run: Run, export: Path) -> None:
    """`fewtone.take` says the same."""
    taken = fewtone.take(demo, export, dry_run=True)
    document = run("take", export, "--shelf", demo, "--dry-run", "--json").document
    assert [one.row for one in taken.placed] == [one["row"] for one in document["samples"]]
    assert document["written"] is taken.written is False


def test_a_full_disk_leaves_the_readings_whole(
    demo: Path, run: Run, export: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """If writing fails halfway, readings.csv is the old one and nothing is left beside it."""

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    before = {path.name: path.read_bytes() for path in demo.iterdir()}
    monkeypatch.setattr("os.fsync", full)
    ran = run("take", export, "--shelf", demo)
    assert ran.code == 1
    assert "No space left on device" in ran.err
    assert {path.name: path.read_bytes() for path in demo.iterdir()} == before
