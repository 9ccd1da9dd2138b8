"""The README's walk-through runs as printed on the demo shelf."""

from __future__ import annotations

import re
import shlex
import shutil
from pathlib import Path

import pytest

from cli.conftest import Run

ROOT = Path(__file__).parents[2]
COMMANDS = re.findall(r"^\$ fewtone (.+)$", (ROOT / "README.md").read_text("utf-8"), re.MULTILINE)
UNREACHABLE = "115"


def test_the_walk_through_shows_every_command_of_the_main_job() -> None:
    """Each command that the walk-through should teach stands in it."""
    shown = {command.split()[0] for command in COMMANDS}
    wanted = (
        "learn match check compare simplify letdown batch adjust bottle sheet label deck job reach"
    )
    assert shown == set(wanted.split())


@pytest.mark.parametrize("command", COMMANDS)
def test_the_walk_through_runs(
    command: str, demo: Path, run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each command ends as the README says: done, or 3 for the swatch out of reach."""
    work = tmp_path / "work"
    (work / "toners").mkdir(parents=True)
    shutil.move(demo, work / "toners" / "lamp-bench")
    shutil.copytree(ROOT / "examples", work / "examples")
    monkeypatch.chdir(work)
    ran = run(*shlex.split(command))
    assert ran.code == (3 if f" {UNREACHABLE} " in command else 0), ran.err
