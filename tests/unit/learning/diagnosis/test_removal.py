"""What a shelf still tells without some panels."""

from __future__ import annotations

import numpy as np
import pytest

from fewtone.learning.diagnosis.removal import still_learnable
from fewtone.learning.observations import observe
from unit.learning.shelves import curves_of, settings, spray

CURVES = curves_of(450.0, 600.0)
LINES = [
    ("A", "t0, 6:1, 1 coat over white"),
    ("A", "t0, 6:1, 3 coats over white"),
    ("B", "t0, 6:1, 1 coat over silver"),
    ("B", "t0, 6:1, 3 coats over silver"),
    ("C", "t1, 6:1, 1 coat over white"),
    ("D", "t1, 6:1, 3 coats over white"),
    ("E", "2 t0 + 1 t1, 6:1, 3 coats over white"),
    ("F", "2 t1 + 1 t0, 6:1, 2 coats over white"),
]


@pytest.mark.parametrize(
    ("out", "learnable"),
    [
        ((), True),
        (("A",), True),
        (("A", "B"), False),
        (("C",), False),
        (("E", "F"), True),
        (("A", "E", "F"), True),
    ],
)
def test_what_may_be_left_out(out: tuple[str, ...], learnable: bool) -> None:
    """Each toner keeps two doses of its own; blends do not make up for them."""
    seen = observe(settings(CURVES), spray(CURVES, LINES))
    counted = np.array([panel not in out for panel in seen.panels])
    assert still_learnable(seen, counted) is learnable


def test_a_ground_needs_its_bare_reading() -> None:
    """The only panel of a ground without colour cannot be left out."""
    seen = observe(settings(CURVES), spray(CURVES, LINES))
    bare = next(i for i, item in enumerate(seen.readings) if item.is_bare)
    counted = np.arange(len(seen.panels)) != seen.panel[bare]
    assert not still_learnable(seen, counted)
