"""The help texts: uncut, unbroken, and ended by an example that runs."""

from __future__ import annotations

import shlex
import shutil
from pathlib import Path

import pytest

from cli.conftest import Run
from fewtone.cli.examples import HELP, JOB_EXAMPLES

NM = range(400, 701, 10)


@pytest.fixture(autouse=True)
def eighty_columns(monkeypatch: pytest.MonkeyPatch) -> None:
    """A terminal as wide as a narrow one."""
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setenv("TERMINAL_WIDTH", "80")


def test_the_programs_help_cuts_no_sentence(run: Run) -> None:
    """Every command stands there with a whole sentence."""
    out = run("--help").out.split("Commands:")[1]
    assert "..." not in out
    for name, about in HELP.items():
        assert f"{name} " in out
        assert about.summary in out
    assert "..." not in run("job", "--help").out.split("Commands:")[1]


@pytest.mark.parametrize("command", HELP)
def test_each_help_ends_with_one_example(command: str, run: Run) -> None:
    """On one line, as typed; no name is broken at a hyphen."""
    ran = run(command, "--help")
    lines = ran.out.rstrip().splitlines()
    assert lines[-1].strip() == HELP[command].example
    assert ran.out.count("Example:") == 1
    assert not [line for line in lines if line.endswith("-")]


# The board serves until it is stopped: tests/board opens it.
@pytest.mark.parametrize("command", sorted(set(HELP) - {"board"}))
def test_the_examples_run(
    command: str, demo: Path, run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """On the demo shelf, as they stand."""
    work = tmp_path / "work"
    (work / "toners").mkdir(parents=True)
    shutil.move(demo, work / "toners" / "lamp-bench")
    monkeypatch.chdir(work)
    shutil.copy(Path(__file__).parents[2] / "examples" / "swatches.csv", work)
    header = ["sample", *map(str, NM)]
    row = ["dusk, 6:1, 2 coats over brass", *["0.2"] * len(NM)]
    (work / "export.txt").write_text("\t".join(header) + "\n" + "\t".join(row) + "\n")
    ran = run(*shlex.split(HELP[command].example)[1:])
    assert ran.code == 0, ran.err


@pytest.mark.parametrize("command", JOB_EXAMPLES)
def test_each_help_of_the_job_book_ends_with_one_example(command: str, run: Run) -> None:
    """As the other commands' does."""
    ran = run("job", command, "--help")
    assert ran.out.rstrip().splitlines()[-1].strip() == JOB_EXAMPLES[command]
    assert ran.out.count("Example:") == 1


def test_the_examples_of_the_job_book_run(
    demo: Path, run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One after another: what is kept first is found, ended, exported and taken in again."""
    work = tmp_path / "work"
    (work / "toners").mkdir(parents=True)
    shutil.move(demo, work / "toners" / "lamp-bench")
    monkeypatch.chdir(work)
    monkeypatch.setenv("FEWTONE_BOOK", str(work / "book.sqlite"))
    every = run("job", "--help").out.split("Commands:")[1]
    assert {line.split()[0] for line in every.strip().splitlines()} == set(JOB_EXAMPLES)
    for example in JOB_EXAMPLES.values():
        ran = run(*shlex.split(example)[1:])
        assert ran.code == 0, ran.err
