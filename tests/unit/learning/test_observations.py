"""Readings as arrays, and what cannot be learnt from."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fewtone.errors import FewtoneError
from fewtone.learning.observations import narrow, observe
from fewtone.model.readings import Readings
from unit.learning.shelves import curves_of, settings, spray

CURVES = curves_of(450.0, 600.0)
LINES = [
    ("A", "t0, 6:1, 3 coats over white"),
    ("A", "t0, 6:1, 1 coat over white"),
    ("B", "2 t0 + 1 t1, 4:1, 2 coats over silver"),
    ("C", "t1, 6:1, 2 coats over white"),
]


def test_later_steps_contain_the_earlier_coats() -> None:
    """A heavy first coat is in every step of its strip, and in no other panel."""
    seen = observe(settings(CURVES), spray(CURVES, LINES))
    assert seen.segment_coats.tolist() == [1.0, 2.0, 2.0, 2.0]
    heavy = np.log([1.5, 1.0, 1.0, 1.0])
    assert seen.films(heavy).tolist() == pytest.approx([0.0, 0.0, 3.5, 1.5, 2.0, 2.0])


def test_separate_panels_share_a_hand_and_no_coat() -> None:
    """Told to be separate, a heavy panel is in its own step alone."""
    readings = spray(CURVES, LINES)
    items = tuple(replace(item, separate=item.panel == "A") for item in readings.items)
    seen = observe(settings(CURVES), replace(readings, items=items))
    assert seen.segment_coats.tolist() == [1.0, 3.0, 2.0, 2.0]
    heavy = np.log([1.5, 1.0, 1.0, 1.0])
    assert seen.films(heavy).tolist() == pytest.approx([0.0, 0.0, 3.0, 1.5, 2.0, 2.0])


def test_doses_are_exact() -> None:
    """A blend's fractions and its dose per coat are what the recipe line says."""
    seen = observe(settings(CURVES), spray(CURVES, LINES))
    assert seen.fractions[4] == pytest.approx([2 / 3, 1 / 3])
    assert seen.rate[4] == pytest.approx(1 / 5)
    assert not seen.is_film[:2].any()


def test_narrowing_keeps_the_numbers() -> None:
    """A part of the readings says of itself what the whole said."""
    seen = observe(settings(CURVES), spray(CURVES, LINES))
    part = narrow(seen, np.array([0, 2, 3]), (0,))
    assert part.toners == ("t0",)
    assert part.grounds == ("white",)
    assert part.films(np.zeros(2)).tolist() == [0.0, 3.0, 1.0]
    assert np.array_equal(part.spectral, seen.spectral[[0, 2, 3]])


def _without_bare(ground: str) -> Readings:
    readings = spray(CURVES, LINES)
    items = [i for i in readings.items if not (i.is_bare and i.ground == ground)]
    return Readings(tuple(items), readings.wavelength_nm)


@pytest.mark.parametrize(
    ("readings", "message", "fix"),
    [
        (_without_bare("silver"), "silver was never read bare", "Clear a panel of silver"),
        (spray(CURVES, LINES[:2] + LINES[3:]), "t1 was read only once", "Spray t1 at 6:1"),
        (
            spray(CURVES, [*LINES[:2], LINES[3], ("D", "t1, 6:1, 2 coats over silver")]),
            "t1 was read only 2 times, always at one dose",
            "another number of coats",
        ),
        (spray(CURVES, []), "nothing to learn", "Spray one toner"),
    ],
)
def test_what_is_missing_is_said(readings: Readings, message: str, fix: str) -> None:
    """Readings that cannot tell what they should say so: which, where, and what to spray."""
    with pytest.raises(FewtoneError) as caught:
        observe(settings(CURVES), readings)
    [fault] = caught.value.faults
    assert message in fault.message
    assert fault.fix is not None
    assert fix in fault.fix
    assert fault.file == "readings.csv"


def test_an_unknown_panel_cannot_be_left_out() -> None:
    """A panel to leave out that does not exist is a fault, not a silent nothing."""
    with pytest.raises(FewtoneError, match="'X9' is not a panel"):
        observe(settings(CURVES), spray(CURVES, LINES), ["X9"])


def test_a_panel_left_out_does_not_count() -> None:
    """Its readings are gone, the others stay."""
    more = [*LINES, ("D", "t1, 6:1, 4 coats over white")]
    seen = observe(settings(CURVES), spray(CURVES, more), ["D"])
    assert "D" not in seen.panels
    assert len(seen.readings) == 6
