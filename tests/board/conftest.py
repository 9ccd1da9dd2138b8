"""A learnt copy of the demo shelf, and the board that is open on it."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

import shared
from fewtone.board.safety import Doors
from fewtone.cli import main
from visitor import Visitor, open_board

DECK = Path(__file__).parents[2] / "examples" / "swatches.csv"


@pytest.fixture(scope="session")
def learnt_demo() -> Path:
    """A learnt copy of the demo shelf that no test may change."""
    return shared.learnt_demo()


@pytest.fixture
def home(learnt_demo: Path, tmp_path: Path) -> Path:
    """A folder of shelves with a learnt demo shelf that a test may change."""
    home = tmp_path / "toners"
    shutil.copytree(learnt_demo, home / "lamp-bench")
    return home


@pytest.fixture
def book(tmp_path: Path) -> Path:
    """The file of the board's job book."""
    return tmp_path / "book.db"


@pytest.fixture
def doors(home: Path, book: Path) -> Iterator[Doors]:
    """The doors of a board on that shelf, with a deck."""
    with open_board(home, book=book, deck=DECK) as opened:
        yield opened


@pytest.fixture
def visitor(doors: Doors) -> Visitor:
    """Somebody who came in."""
    return Visitor(doors)


@pytest.fixture
def document(
    home: Path, book: Path, capsys: pytest.CaptureFixture[str]
) -> Callable[..., dict[str, Any]]:
    """What a command answers with ``--json`` on that shelf."""

    def answers(*words: object) -> dict[str, Any]:
        capsys.readouterr()
        about: list[object] = ["--json"]
        if words[0] == "job":
            about += ["--book", book]
        if words[:2] != ("job", "find"):
            about += ["--shelf", home / "lamp-bench"]
        with pytest.raises(SystemExit):
            main([str(word) for word in (*words, *about)])
        found: dict[str, Any] = json.loads(capsys.readouterr().out)
        return found

    return answers
