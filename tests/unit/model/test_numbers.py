"""The gate for numbers: as written, and never more than exact arithmetic can carry."""

from __future__ import annotations

import time
from decimal import Decimal
from pathlib import Path

import pytest

import fewtone
from fewtone.errors import FewtoneError
from fewtone.io.settings import load_settings
from fewtone.model.blend import exact_number
from fewtone.model.numbers import carried, decimal_from
from fewtone.model.units import percent, volume_ml
from fewtone.workshop.panel.readings import read_panel

RECIPE = "2 marigold + 1 dusk, 6:1, 4 coats over silver"
SOON_S = 0.5  # what never ended before ends at once; a busy machine is allowed much
ENDLESS = ["1e99999999", "-1e99999999", "0e99999999", "1e-99999999", "9" * 5000, "0." + "1" * 5000]
NONE = ["²", "٣", "1_000", "", "nan", "inf", "-", ".", "1e", "0x10", "1 2", "1,2,3"]


@pytest.mark.parametrize("text", [*ENDLESS, *NONE])
def test_what_is_no_number_within_reason(text: str) -> None:
    """Powers and digits without end, and what only looks like a number, are none."""
    assert decimal_from(text) is None
    with pytest.raises(FewtoneError):
        exact_number(text)


@pytest.mark.parametrize(
    ("text", "value"),
    [("6", "6"), ("0,25", "0.25"), ("\u22123.5", "-3.5"), ("1E-05", "0.00001"), (".5", "0.5")],
)
def test_what_instruments_and_spreadsheets_write(text: str, value: str) -> None:
    """Decimal commas, exponents and the typographic minus are read exactly."""
    assert decimal_from(text) == Decimal(value)


def test_a_number_of_python_is_judged_alike() -> None:
    """Numbers that come as numbers go through the same gate."""
    assert carried(10**99)
    assert carried(Decimal("1e-50"))
    for value in (10**5000, Decimal("1e99999999"), Decimal("nan")):
        assert not carried(value)
        with pytest.raises(FewtoneError):
            exact_number(value)


@pytest.mark.parametrize("text", ENDLESS)
def test_every_door_uses_the_gate(text: str, tmp_path: Path) -> None:
    """Recipe lines, readings, amounts and settings answer at once."""
    started = time.perf_counter()
    with pytest.raises(FewtoneError):
        fewtone.parse(f"{text} marigold, 6:1, 4 coats over silver")
    with pytest.raises(FewtoneError):
        fewtone.parse(f"marigold, {text}:1, 4 coats over silver")
    recipe = fewtone.parse(RECIPE)
    for reading in (f"{text},1,2", f"30,1,2 at {text} coats"):
        with pytest.raises(FewtoneError):
            read_panel([reading], recipe)
    with pytest.raises(FewtoneError):
        volume_ml(f"{text}ml")
    with pytest.raises(FewtoneError):
        percent(f"{text}%", what="The reducer")
    (tmp_path / "shelf.toml").write_text(
        f"[mixing]\ntolerance = {text}\n[toners.a]\n[grounds.b]\nkind = 'solid'\n"
    )
    with pytest.raises(FewtoneError):
        load_settings(tmp_path)
    assert time.perf_counter() - started < SOON_S


@pytest.mark.parametrize("spaces", [400, 100_000])
def test_white_space_costs_nothing(spaces: int) -> None:
    """Readings and amounts are read in one walk along them."""
    started = time.perf_counter()
    for call in (
        lambda: read_panel(["1,2," + " " * spaces + "x"], fewtone.parse(RECIPE)),
        lambda: volume_ml("1" * spaces + " " * spaces + "x"),
        lambda: fewtone.parse(" " * spaces + "!"),
    ):
        with pytest.raises(FewtoneError):
            call()
    assert time.perf_counter() - started < SOON_S
