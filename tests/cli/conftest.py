"""A learnt copy of the demo shelf, and a way to run the command line in this process."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

import pytest

import shared
from fewtone.cli import main


class Ran(NamedTuple):
    """What a command did."""

    code: int
    out: str
    err: str

    @property
    def document(self) -> Any:
        """Standard output as the one JSON document that it must be."""
        return json.loads(self.out)


Run = Callable[..., Ran]


@pytest.fixture(scope="session")
def learnt_demo() -> Path:
    """A learnt copy of the demo shelf that no test may change."""
    return shared.learnt_demo()


@pytest.fixture
def demo(learnt_demo: Path, tmp_path: Path) -> Path:
    """A learnt copy of the demo shelf that a test may change."""
    folder = tmp_path / "lamp-bench"
    shutil.copytree(learnt_demo, folder)
    return folder


@pytest.fixture(autouse=True)
def _own_book(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No test looks into the user's own job book."""
    monkeypatch.setenv("FEWTONE_BOOK", str(tmp_path / "own-book.db"))


@pytest.fixture(autouse=True)
def _learnt_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Commands learn the same readings once a run: what learning does is tried elsewhere."""
    monkeypatch.setattr("fewtone.learning.estimate", shared.learnt)


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    """Run a command and return its exit code and what it printed; a traceback is a failure."""

    def runs(*words: object) -> Ran:
        with pytest.raises(SystemExit) as caught:
            main([str(word) for word in words])
        out, err = capsys.readouterr()
        assert "Traceback" not in out + err
        assert isinstance(caught.value.code, int)
        return Ran(caught.value.code, out, err)

    return runs
