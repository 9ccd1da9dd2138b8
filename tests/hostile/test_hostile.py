"""A part of the hostile trials, small enough for every run; the rest by their commands."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from hostile.bench import prepare
from hostile.contract import Outcome, breaches
from hostile.kills import WRITING, kills, random_kills
from hostile.run import run
from hostile.writers import pair

CASES, SEED = 400, 20261
# So many writes from one kill to the next in the suite, every one by the command.
KILLS_STEP = {"adjust": 6, "learn": 15, "new": 6, "demo": 6, "sheet": 6}


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small learnt shelf and a file of every kind."""
    return prepare(tmp_path_factory.mktemp("hostile"))


@pytest.mark.trial
def test_hostile_cases_break_nothing() -> None:
    """Hurt files, hostile arguments and broken streams: the contract holds in every case."""
    found, codes = run(CASES, SEED)
    assert not found, "\n".join(map(str, found[:5]))
    assert sum(codes.values()) == CASES
    # The cases reach what commands do, and not only what they refuse.
    assert codes["0"] + codes["3"] >= CASES / 8


@pytest.mark.parametrize("command", KILLS_STEP)
def test_a_kill_at_a_write_tears_nothing(command: str, bench: Path) -> None:
    """Old or new, whole, together, and well again at the next run."""
    done, wrong = kills(command, bench, step=KILLS_STEP[command])
    assert done >= 2
    assert wrong == []


@pytest.mark.parametrize("command", ["note", "deck", "adjust-job"])
def test_a_kill_at_any_moment_tears_nothing(command: str, bench: Path) -> None:
    """What SQLite writes too: a job book holds what was committed, a deck goes on."""
    done, wrong = random_kills(command, bench, 4, SEED)
    assert done == 4
    assert wrong == []


@pytest.mark.parametrize("number", [0, 1, 2])
def test_writers_at_once_lose_nothing(number: int, bench: Path) -> None:
    """Readings kept, strengths applied and jobs written at once: all of them hold."""
    assert pair(bench, random.Random(number), number) == []


def test_every_writing_command_is_killed() -> None:
    """The long trial knows each command that writes to the disk."""
    assert set(WRITING) >= {"adjust", "bottle", "take", "learn", "new", "sheet"}


@pytest.mark.parametrize(
    ("outcome", "said"),
    [
        (Outcome(["check"], 4, "", "x", 0.1, 1), "exit code 4"),
        (Outcome(["check"], 1, "", "Traceback (most", 0.1, 1), "traceback"),
        (Outcome(["check"], 0, "\x1b[31m", "", 0.1, 1), "stdout holds"),
        (Outcome(["check", "--json"], 0, "{} {}", "", 0.1, 1), "not one JSON document"),
        (Outcome(["check", "--json"], 0, '{"a": NaN}', "", 0.1, 1), "not one JSON document"),
        (Outcome(["check"], 0, "", "", 11.0, 1), "s of CPU"),
        (Outcome(["check"], 0, "", "", 0.1, 2_000_000_000), "GB"),
        (Outcome(["check"], 2, "", "", 0.1, 1), "without a word"),
    ],
)
def test_the_contract_sees_what_breaks_it(outcome: Outcome, said: str) -> None:
    """Each clause is broken once, and the check says so."""
    assert any(said in found for found in breaches(outcome, {}, {}))


@pytest.mark.parametrize(
    ("command", "after", "said"),
    [
        ("check", {"shelf/readings.csv": ("file", 0o644, b"a\nb\n")}, "touched"),
        ("adjust", {"shelf/readings.csv": ("file", 0o644, b"a\nc\n")}, "rows lost"),
        ("adjust", {"shelf/readings.csv": ("file", 0o600, b"a\nrow\nc\n")}, "kind or mode"),
        ("sheet", {"shelf/.x.1.fewtone-part": ("file", 0o600, b"")}, "left behind"),
        ("sheet", {"out.html": ("file", 0o644, b"<img src=x onerror=alert(1)>")}, "handler"),
        ("deck", {"out.csv": ("file", 0o644, b"name\n=HYPERLINK(1)\n")}, "a formula"),
    ],
)
def test_the_contract_sees_what_became_of_files(
    command: str, after: dict[str, tuple[str, int, bytes]], said: str
) -> None:
    """Files that were touched, torn, left behind or made to run are seen."""
    before = {"shelf/readings.csv": ("file", 0o644, b"a\nrow\n")}
    ran = Outcome([command], 0, "", "", 0.1, 1)
    assert any(said in found for found in breaches(ran, before, {**before, **after}))
