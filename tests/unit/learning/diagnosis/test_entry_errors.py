"""Slips undone on paper: the readings that should then stand in the file."""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import pytest

from fewtone.learning.diagnosis.entry_errors import (
    Cell,
    Hypothesis,
    as_labelled,
    label_errors,
    number_errors,
    scale_errors,
)
from fewtone.model.readings import Reading
from unit.learning.shelves import D65, curves_of, spray

CURVES = curves_of(440.0, 530.0, 620.0)
GROUNDS = ("white", "silver")


def items(*lines: str, lab: bool = False) -> tuple[Reading, ...]:
    """Return the readings of one panel."""
    read = spray(CURVES, [("P1", line) for line in lines], lights=[D65] if lab else ())
    return read.items[len(GROUNDS) :]


def found(hypotheses: list[Hypothesis], words: str) -> Hypothesis:
    """Return the one hypothesis that says so."""
    (hypothesis,) = [hypothesis for hypothesis in hypotheses if hypothesis.words == words]
    return hypothesis


def test_a_label_may_be_wrong_in_coats_ground_and_toner() -> None:
    """Each hypothesis holds the same numbers under another label."""
    panel = items("2 t0 + 1 t1, 6:1, 4 coats over white")
    hypotheses = list(label_errors(panel, tuple(CURVES), GROUNDS, (6, 8)))
    assert found(hypotheses, "reads like 3 coats, not 4 coats").items[0].coats == 3
    assert found(hypotheses, "reads as if over silver, not white").items[0].ground == "silver"
    other = found(hypotheses, "reads like 2 t2 + 1 t1, not 2 t0 + 1 t1").items[0]
    assert dict(other.blend) == {"t2": 2, "t1": 1}
    turned = found(hypotheses, "reads like 2 t1 + 1 t0, not 2 t0 + 1 t1").items[0]
    assert dict(turned.blend) == {"t0": 1, "t1": 2}
    assert all(hypothesis.items[0].reflectance is panel[0].reflectance for hypothesis in hypotheses)


def test_a_strip_may_be_miscounted_as_a_whole_or_by_a_step() -> None:
    """All steps move together, two are exchanged, or one alone is wrong."""
    panel = items(*(f"t0, 6:1, {coats} coats over white" for coats in (1, 2, 3)))
    hypotheses = list(label_errors(panel, tuple(CURVES), GROUNDS, (6, 8)))
    moved = found(hypotheses, "reads as if every step had 1 coat more than written")
    assert [item.coats for item in moved.items] == [2, 3, 4]
    rows = [item.row for item in panel]
    exchanged = f"has two steps exchanged: rows {rows[0]} and {rows[2]} read like each other's"
    assert [item.coats for item in found(hypotheses, exchanged).items] == [3, 2, 1]
    alone = found(hypotheses, f"reads in row {rows[1]} like 5 coats, not 2 coats")
    assert [item.coats for item in alone.items] == [1, 5, 3]


@pytest.mark.parametrize(
    ("written", "meant", "how"),
    [
        (-12.43, 12.43, "the sign"),
        (21.43, 12.43, "two digits exchanged"),
        (1.243, 12.43, "the decimal point"),
        (17.43, 12.43, "one digit"),
    ],
)
def test_a_number_may_be_mistyped(written: float, meant: float, how: str) -> None:
    """The number that was meant is among the hypotheses, with what went wrong."""
    (item,) = items("t0, 6:1, 2 coats over white", lab=True)
    assert item.lab
    lightness, _, b = item.lab[D65]
    cell = Cell(0, "a", 1, D65, meant, 3, 1.0)
    panel = cell.edited([item], written)
    assert panel[0].lab == {D65: (lightness, written, b)}
    right = [
        hypothesis
        for hypothesis in number_errors(panel, cell, 3)
        if hypothesis.specific and hypothesis.items[0].lab == {D65: (lightness, meant, b)}
    ]
    assert [hypothesis.words.rpartition("(")[2] for hypothesis in right] == [f"{how})"]


def test_a_row_may_be_on_another_scale() -> None:
    """The row is divided by what it is too high by; percent in the file is written as percent."""
    panel = items("t0, 6:1, 2 coats over white")
    read = panel[0].reflectance
    assert read is not None
    hypotheses = list(scale_errors(panel, {0: 1.2}))
    words = f"is on another scale in row {panel[0].row}: it is 100 times too high"
    scaled = found(hypotheses, words).items[0].reflectance
    assert scaled is not None
    np.testing.assert_array_equal(scaled, read / 100.0)
    text = Cell(0, "400", 0, None, 1.0, 2, 100.0).text(panel)
    assert Decimal(text) == round(Decimal(float(read[0]) * 100.0), 2)


def test_labels_may_be_exchanged() -> None:
    """The numbers of one panel stand under the label of another."""
    one = items("t0, 6:1, 2 coats over white")
    other = items("2 t1 + 1 t2, 8:1, 3 coats over silver")
    (item,) = as_labelled(other, one)
    assert (item.ground, item.coats, item.medium_parts) == ("silver", 3, 8)
    assert dict(item.blend) == {"t1": 2, "t2": 1}
    assert item.reflectance is one[0].reflectance
    assert item.row == one[0].row
