"""The last door: whatever becomes of the streams, the truth is told and nothing is shown raw."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from .conftest import Run

RECIPE = "2 marigold + 1 dusk, 6:1, 4 coats over silver"
PROGRAM = (sys.executable, "-m", "fewtone")
KEEP = ("adjust", RECIPE, "--target", "38,-18,9", "--reading", "40,-8,31", "--keep-reading")
ESCAPE = "\x1b[31m\x07\u202e"


def process(*words: str, code: str = "", **streams: object) -> subprocess.CompletedProcess[bytes]:
    """Run a command as a process of its own, what is not given captured."""
    start = (sys.executable, "-c", code) if code else PROGRAM
    streams = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, **streams}
    return subprocess.run([*start, *words], check=False, **streams)  # type: ignore[call-overload, no-any-return]


@pytest.mark.parametrize("as_json", [(), ("--json",)])
def test_a_full_disk_behind_standard_output(as_json: tuple[str, ...], demo: Path) -> None:
    """The reading is kept, its answer is not shown, and both are said."""
    before = (demo / "readings.csv").read_bytes()
    with Path("/dev/full").open("wb") as full:
        ran = process(*KEEP, *as_json, "--shelf", str(demo), stdout=full)
    said = ran.stderr.decode()
    assert ran.returncode == 1
    assert "could not be written to standard output" in said
    assert f"Written all the same, and not to be done again: {demo / 'readings.csv'}" in said
    assert "Traceback" not in said
    assert (demo / "readings.csv").read_bytes() != before


def test_closed_standard_output(learnt_demo: Path) -> None:
    """It is told, and that nothing was changed."""
    close = "import os, sys; os.close(1); os.execv(sys.executable, [sys.executable, *sys.argv[1:]])"
    words = ("-m", "fewtone", "check", RECIPE, "--shelf", str(learnt_demo))
    ran = process(*words, code=close, stdout=subprocess.DEVNULL)
    assert ran.returncode == 1
    assert b"No file of yours was changed" in ran.stderr
    assert b"Traceback" not in ran.stderr


def test_a_reader_that_goes_away(learnt_demo: Path) -> None:
    """A pipe whose reader has left is no fault."""
    reader, writer = os.pipe()
    os.close(reader)
    ran = process("check", RECIPE, "--shelf", str(learnt_demo), stdout=writer)
    os.close(writer)
    assert ran.returncode == 0
    assert b"Traceback" not in ran.stderr
    assert b"Exception" not in ran.stderr


def test_an_interrupt_while_the_program_starts() -> None:
    """It ends with 130 and without a traceback, however early it comes."""
    for wait_s in (0.05, 0.15, 0.3):
        code = (
            "import fewtone.__main__ as door, sys, os; os.write(1, b'.'); "
            "sys.argv = ['fewtone', '--help']; door.main()"
        )
        with subprocess.Popen(
            [sys.executable, "-c", code], stdout=subprocess.PIPE, stderr=subprocess.PIPE
        ) as started:
            assert started.stdout is not None
            started.stdout.read(1)
            time.sleep(wait_s)
            started.send_signal(signal.SIGINT)
            _, err = started.communicate()
        assert started.returncode in (0, 130, -signal.SIGINT)
        assert b"Traceback" not in err


def test_escape_sequences_are_shown_as_such(run: Run, demo: Path) -> None:
    """Arguments, columns, cells, settings and labels reach no terminal raw."""
    readings = demo / "readings.csv"
    readings.write_text(readings.read_text().replace("note", f"note{ESCAPE}", 1))
    (demo / "deck.csv").write_text(f"number,L,a,b\n{ESCAPE},x,1,2\n")
    for words in (
        ("check", f"2 {ESCAPE}, 6:1", "--shelf", demo),
        ("check", RECIPE, "--shelf", f"/no{ESCAPE}"),
        ("match", "1", "--deck", demo / "deck.csv", "--shelf", demo),
        ("learn", "--shelf", demo),
        (ESCAPE,),
    ):
        for more in ((), ("--json",)):
            ran = run(*words, *more)
            assert not set("\x1b\x07\u202e") & set(ran.out + ran.err)
            if more:
                assert json.loads(ran.out)


def test_bytes_that_are_no_text(run: Run, learnt_demo: Path) -> None:
    """Arguments that are no UTF-8 are shown, not stumbled over."""
    ran = run("check", os.fsdecode(b"2 mari\xff"), "--shelf", learnt_demo, "--json")
    assert ran.code == 2
    assert ran.document["errors"]
    assert "\\xff" in ran.err


def test_what_was_written_before_a_failure_is_told(
    run: Run, demo: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A fault after a file was written names that file; one before does not."""

    def broken(*_: object, **__: object) -> None:
        raise RuntimeError("broken on purpose")

    monkeypatch.setattr("fewtone.report.json.adjust_document", broken)
    ran = run(*KEEP, "--shelf", demo, "--json")
    assert ran.code == 4
    assert f"{demo / 'readings.csv'}" in ran.document["errors"][0]["fix"]
    Path(ran.document["errors"][0]["file"]).unlink()
    monkeypatch.setattr("fewtone.api.load_curves", broken)
    ran = run("check", RECIPE, "--shelf", demo, "--json")
    assert "No file of yours was changed" in ran.document["errors"][0]["fix"]
    Path(ran.document["errors"][0]["file"]).unlink()


def test_what_the_system_refuses_is_no_fault_of_ours(
    run: Run, learnt_demo: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An error of the operating system that nobody foresaw is told as the user's to mend."""

    def refused(*_: object, **__: object) -> None:
        raise PermissionError(13, os.strerror(13), "/some/where")

    monkeypatch.setattr("fewtone.api.load_curves", refused)
    ran = run("check", RECIPE, "--shelf", learnt_demo, "--json")
    assert ran.code == 1
    assert ran.document["errors"][0]["file"] == "/some/where"


def test_a_tolerance_that_is_no_number(run: Run, learnt_demo: Path) -> None:
    """Nan lies within any bounds, and is refused all the same."""
    assert run("check", RECIPE, "--tolerance", "nan", "--shelf", learnt_demo).code == 2


@pytest.mark.parametrize(
    "words", [("--toners", "a,a"), ("--toners", "a", "--solid", "medium"), ("--solid", ",")]
)
def test_a_failed_new_leaves_nothing(run: Run, tmp_path: Path, words: tuple[str, ...]) -> None:
    """Neither a folder nor a file stays of a shelf that could not be made."""
    more = ("--metallic", ",") if words == ("--solid", ",") else ()
    assert run("new", tmp_path / "a" / "b", *words, *more).code == 2
    assert list(tmp_path.iterdir()) == []


def test_a_failed_new_leaves_what_was_there(run: Run, tmp_path: Path) -> None:
    """A link that leads to itself cannot be written through, and stays."""
    (tmp_path / "readings.csv").symlink_to("readings.csv")
    assert run("new", tmp_path, "--toners", "white").code == 1
    assert [(f.name, f.is_symlink()) for f in tmp_path.iterdir()] == [("readings.csv", True)]


def test_a_folder_whose_name_is_no_text(run: Run, tmp_path: Path) -> None:
    """Its shelf reads as it stands."""
    folder = tmp_path / os.fsdecode(b'x\xff"\\\x1b\x7f')
    assert run("new", folder).code == 0
    assert run("learn", "--shelf", folder, "--json").code == 1  # no readings yet
