"""What `learn` told stays beside the curves that it is of, and is believed for no others."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import fewtone
from fewtone.io.learnt import load_learnt, save_learnt
from fewtone.report.json import learn_document
from lamp_shelf import write_lamp_shelf


@pytest.fixture(scope="module")
def learnt(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A learnt lamp bench."""
    return write_lamp_shelf(tmp_path_factory.mktemp("learnt") / "lamp-bench")


def loaded(folder: Path) -> dict[str, Any] | None:
    """What stands there."""
    return load_learnt(folder, folder / "curves.csv")


def test_it_is_what_learn_answers(learnt: Path) -> None:
    """The document of the command, and its cautions; steps are told on the way."""
    steps: list[tuple[int, int]] = []
    report = fewtone.learn(learnt, progress=lambda done, of: steps.append((done, of)))
    assert loaded(learnt) == {**learn_document(report), "cautions": list(report.cautions)}
    assert steps == [(done, 4) for done in range(5)]


def test_it_holds_for_its_own_curves_alone(learnt: Path) -> None:
    """Beside other curves, and without any, nothing is told."""
    assert loaded(learnt) is not None
    curves = learnt / "curves.csv"
    text = curves.read_bytes()
    curves.write_bytes(text + b"\n")
    assert loaded(learnt) is None
    curves.unlink()
    assert loaded(learnt) is None
    curves.write_bytes(text)
    assert loaded(learnt) is not None


def _without(key: str) -> Callable[[dict[str, Any]], object]:
    return lambda told: told.pop(key)


DAMAGE: tuple[Callable[[dict[str, Any]], object], ...] = (
    *(_without(key) for key in ("toners", "suspects", "median_de00", "cautions", "spray_next")),
    lambda told: told.update(median_de00="0.1"),
    lambda told: told.update(toners=[1]),
    lambda told: next(iter(told["toners"].values())).pop("worst_panel"),
    lambda told: told.update(suspects=[{"panel": "P1"}]),
    lambda told: told.update(left_out=[1]),
    lambda told: told["spray_next_de00"].append(None),
    lambda told: told["spray_next_de00"].pop(),
    lambda told: told["spray_next_coats"].append(["2"]),
    lambda told: told["spray_next_reasons"].pop(),
)


@pytest.mark.parametrize("damage", DAMAGE)
def test_what_is_not_whole_is_not_told(
    damage: Callable[[dict[str, Any]], object], learnt: Path
) -> None:
    """A page would fail on it; learning once more mends it."""
    told = loaded(learnt)
    assert told is not None
    damaged = json.loads(json.dumps(told))
    damage(damaged)
    text = (learnt / "curves.csv").read_bytes()
    save_learnt(learnt, damaged, text)
    assert loaded(learnt) is None
    save_learnt(learnt, told, text)


@pytest.mark.parametrize("data", [b"", b"\xff\xfe", b"[" * 100_000, b"[]", b"{}", b"\x00"])
def test_what_is_no_such_file_is_not_told(data: bytes, learnt: Path, tmp_path: Path) -> None:
    """Nor does it raise."""
    (tmp_path / "curves.csv").write_bytes((learnt / "curves.csv").read_bytes())
    (tmp_path / "learnt.json").write_bytes(data)
    assert loaded(tmp_path) is None
