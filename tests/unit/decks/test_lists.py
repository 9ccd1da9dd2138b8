"""A deck's lists change what it takes, not what is answered."""

from __future__ import annotations

import numpy as np
import pytest

from fewtone.colorimetry import Light
from fewtone.decks.swatch import Question, answer
from fewtone.match import listed
from fewtone.match.lattice import Lattice
from fewtone.match.listed import Lists
from fewtone.match.rules import Rules
from fewtone.prediction.recipes import predict
from invented import invented_shelf, lab_target


def test_rows_out_of_lists_are_those_of_sweeps(monkeypatch: pytest.MonkeyPatch) -> None:
    """Reached and unreached swatches, with what would help, from lists and without any."""
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
    targets = [lab_target(lab) for lab in labs]
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
