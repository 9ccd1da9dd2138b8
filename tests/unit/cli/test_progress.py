"""How far a run is: how long it will take, and what an interruption says."""

from __future__ import annotations

from pathlib import Path

import pytest

from fewtone.cli.progress import Countdown, time_left


@pytest.mark.parametrize(
    ("spent", "done", "left", "said"),
    [
        (10.0, 100, 300, "about 30 s left"),
        (0.1, 100, 1, "about 1 s left"),
        (60.0, 100, 400, "about 4 min left"),
        (3600.0, 100, 250, "about 2.5 h left"),
        (10.0, 0, 300, "not known"),
    ],
)
def test_time_left_in_words(spent: float, done: int, left: int, said: str) -> None:
    """At the pace so far, in the unit that suits."""
    assert said in time_left(spent, done, left)


def test_lines_come_now_and_then(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Soon once, then every half a minute; what was there from before does not count as pace."""
    clock = [0.0]
    monkeypatch.setattr("fewtone.cli.progress.time.monotonic", lambda: clock[0])
    with Countdown("swatches", Path("out.csv")) as countdown:
        countdown.report(500, 1000)  # from an earlier run
        for second in range(1, 101):
            clock[0] = float(second)
            countdown.report(500 + second, 1000)
    lines = capsys.readouterr().err.splitlines()
    assert lines[0] == "502 of 1,000 swatches, about 8 min left"
    assert len(lines) == 4
    assert all("min left" in line for line in lines)


def test_what_is_kept_is_said_when_it_fails(capsys: pytest.CaptureFixture[str]) -> None:
    """Of an interruption or a fault, once something is answered."""

    def stopped(done: int) -> None:
        with Countdown("swatches", Path("o\x1b.csv")) as countdown:
            countdown.report(done, 10)
            raise KeyboardInterrupt

    def fails(done: int) -> str:
        with pytest.raises(KeyboardInterrupt):
            stopped(done)
        return capsys.readouterr().err

    assert fails(0) == ""
    said = fails(3)
    assert "3 of 10 swatches are kept beside o\\x1b.csv" in said
