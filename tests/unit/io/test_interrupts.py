"""An interrupt stops work, but not between a file's new content and the note of it."""

from __future__ import annotations

import gc
import signal
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from fewtone.cli.main import main
from fewtone.io import atomic, interrupts
from fewtone.io.atomic import files_written, record_writes, write_atomic
from fewtone.jobs import Book


@pytest.fixture(autouse=True)
def handled(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """SIGINT as the program handles it, and nothing remembered of it afterwards."""
    kept = signal.signal(signal.SIGINT, interrupts.on_interrupt)
    monkeypatch.setattr(interrupts, "_state", interrupts._State())
    monkeypatch.setattr(sys, "unraisablehook", interrupts.note_unraisable)
    yield
    signal.signal(signal.SIGINT, kept)


def test_it_is_raised_where_it_comes() -> None:
    """As Python does, and it is remembered."""
    assert not interrupts.interrupted()
    with pytest.raises(KeyboardInterrupt):
        signal.raise_signal(signal.SIGINT)
    assert interrupts.interrupted()


def test_what_is_held_is_done_whole() -> None:
    """It comes at the end, of the outermost if there are several."""
    done = []

    def work() -> None:
        with interrupts.held():
            with interrupts.held():
                signal.raise_signal(signal.SIGINT)
                done.append("inner")
            done.append("outer")

    with pytest.raises(KeyboardInterrupt):
        work()
    assert done == ["inner", "outer"]


def test_a_file_that_is_replaced_is_noted(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The interrupt comes at once after the file has its new name."""
    file = tmp_path / "a.txt"
    monkeypatch.setattr(atomic, "_sync_folder", lambda _: signal.raise_signal(signal.SIGINT))
    with record_writes():
        with pytest.raises(KeyboardInterrupt):
            write_atomic(file, "new")
        assert files_written() == (file,)
    assert [path.name for path in tmp_path.iterdir()] == ["a.txt"]


def test_a_destructor_only_delays_it() -> None:
    """It cannot be raised there; the next word that is written out raises it."""

    class Last:
        def __del__(self) -> None:
            signal.raise_signal(signal.SIGINT)

    last = Last()
    del last
    gc.collect()
    assert interrupts.interrupted()
    with pytest.raises(KeyboardInterrupt):
        interrupts.raise_if_waiting()
    interrupts.raise_if_waiting()  # once


def test_an_import_that_makes_another_exception_of_it(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """It is no fault of ours: exit code 130."""

    def interrupted_import(_: Book) -> None:
        try:
            signal.raise_signal(signal.SIGINT)
        except KeyboardInterrupt:
            raise ImportError("half a module") from None

    monkeypatch.setattr(Book, "jobs", interrupted_import)
    with pytest.raises(SystemExit) as ended:
        main(["job", "find"])
    assert ended.value.code == 130
    assert "Interrupted. No file of yours was changed." in capsys.readouterr().err
