"""A deck's lists change what it takes, not what is answered."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fewtone.colorimetry import Light
from fewtone.decks.swatch import Question, answer
from fewtone.match.search import search
from fewtone.model.target import Target
from fewtone.prediction.recipes import predict
from fewtone.recipes.lattice import Lattice
from fewtone.recipes.rules import Rules
from fewtone.search import listed
from fewtone.search.listed import Lists
from invented import invented_shelf, lab_target


def asked() -> tuple[Question, list[Target]]:
    """A small shelf, and swatches that it reaches and does not reach."""
    curves, shelf = invented_shelf(
        11, 5, 3, coats=(2, 4), medium_parts=(6, 8), max_part=3, unsure=0.004
    )
    question = Question(curves, shelf, Rules.of(shelf, max_toners=3))
    rng = np.random.default_rng(5)
    lattice = Lattice.of(question.rules)
    lines = [
        lattice.recipe(rng.permutation(5)[:3], rng.integers(1, 4, 3), (0, int(coats)), 1)
        for coats in rng.integers(1, 6, 12)
    ]
    labs = predict(curves, lines, Light("D65", 10)).lab + rng.normal(0.0, 3.0, (12, 3))
    return question, [lab_target(lab) for lab in labs]


def test_rows_out_of_lists_are_those_of_sweeps(monkeypatch: pytest.MonkeyPatch) -> None:
    """Reached and unreached swatches, with what would help, from lists and without any."""
    question, targets = asked()
    rows, used = [], []
    for at_once in (10**12, 0):
        with monkeypatch.context() as patched:
            patched.setattr(listed, "_COLOURS_A_SWEEP", at_once)
            lists = Lists()
            rows.append([answer(question, target, lists) for target in targets])
            used.append(len(lists))
    assert used[0] > 2
    assert used[1] == 0
    assert rows[0] == rows[1]
    reached = [row["row"]["reached"] for row in rows[0]]
    assert 0 < sum(reached) < len(reached)
    assert any(row["row"]["would_help"] for row in rows[0])


def test_lists_are_shared_by_a_folder(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Each is made by one of those who share it; the others answer the same out of it."""
    question, targets = asked()
    monkeypatch.setattr(listed, "_COLOURS_A_SWEEP", 10**12)
    made = []
    making = listed._listed

    def counted(*of: Any) -> Any:
        made.append(1)
        return making(*of)

    monkeypatch.setattr(listed, "_listed", counted)
    plain = [answer(question, target, Lists()) for target in targets[:4]]
    made.clear()
    sharing = [Lists(tmp_path), Lists(tmp_path)]
    rows = [[answer(question, target, lists) for target in targets[:4]] for lists in sharing]
    assert rows == [plain, plain]
    assert len(made) == len(sharing[0]) == len(sharing[1]) > 2


def test_what_another_lists_is_swept_meanwhile(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """A list that is claimed is not made twice, and one that was left half done is not waited for.

    Asking counts for all who share it.
    """
    question, targets = asked()
    monkeypatch.setattr(listed, "_COLOURS_A_SWEEP", 10**12)
    plain = answer(question, targets[0], Lists())
    answer(question, targets[0], Lists(tmp_path))
    for file in tmp_path.glob("*-steps.npy"):
        file.unlink()
    waiting = Lists(tmp_path)
    assert answer(question, targets[0], waiting) == plain
    assert len(waiting) == 0
    asked_for = [file.stat().st_size for file in tmp_path.iterdir() if "-" not in file.name]
    assert min(asked_for) >= 2


def test_without_room_in_the_folder_each_lists_its_own(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """A disk that fills up while a list is written, and a folder that is gone."""
    question, targets = asked()
    monkeypatch.setattr(listed, "_COLOURS_A_SWEEP", 10**12)
    plain = answer(question, targets[0], Lists())
    with monkeypatch.context() as patched:

        def full(file: Path, values: Any) -> None:
            file.write_bytes(values.tobytes()[:10])
            raise OSError(28, "No space left on device")

        patched.setattr(np, "save", full)
        for lists in (Lists(tmp_path), Lists(tmp_path)):
            assert answer(question, targets[0], lists) == plain
            assert len(lists) > 2
    assert not list(tmp_path.glob("*.npy"))
    assert not list(tmp_path.glob("*-claimed"))
    lists = Lists(tmp_path / "gone")
    assert answer(question, targets[0], lists) == plain
    assert len(lists) > 2


@pytest.mark.parametrize(("room", "kept"), [(1260, 1), (1259, 0)])
def test_as_many_colours_are_kept_as_there_is_room_for(
    monkeypatch: pytest.MonkeyPatch, room: int, kept: int
) -> None:
    """Of 10 pairs of toners at 7 ratios of parts up to 3, 6 loads and 3 grounds there are 1,260."""
    question, targets = asked()
    monkeypatch.setattr(listed, "_COLOURS_A_SWEEP", 10**12)
    monkeypatch.setattr(listed, "_MOST", room)
    lists, rules = Lists(), Rules.of(question.settings, max_toners=2)
    search(question.curves, question.settings, targets[0], rules, lists=lists)
    assert len(lists) == kept
