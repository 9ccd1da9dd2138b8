"""Columns that were exchanged are named as such, in readings and in decks."""

from __future__ import annotations

from pathlib import Path

import pytest

from fewtone.errors import FewtoneError
from fewtone.io.readings import load_readings
from fewtone.io.settings import load_settings
from fewtone.io.starter import new_shelf
from fewtone.io.targets import read_target

BARE = (("white", 86.0, -1.0, 2.0), ("white", 86.2, -1.1, 2.1), ("silver", 70.0, 0.0, -1.0))
GREEN = (("white", 60.0, -40.0, 30.0), ("white", 45.0, -55.0, 25.0), ("silver", 30.0, -35.0, 9.0))
RED = (("white", 52.0, 48.0, 30.0), ("white", 40.0, 60.0, 35.0), ("silver", 30.0, 41.0, 20.0))


def text(order: tuple[int, int, int], toner: tuple[tuple[str, float, float, float], ...]) -> str:
    """A readings.csv whose columns L, a, b hold the values in some order."""
    lines = ["panel,ground,blend,medium_parts,coats,L,a,b"]
    for i, (ground, *lab) in enumerate((*BARE, *toner)):
        film = f"ruby,6,{i}" if i >= len(BARE) else ",,0"
        lines.append(f"P{i},{ground},{film}," + ",".join(str(lab[k]) for k in order))
    return "\n".join(lines)


@pytest.mark.parametrize(
    ("order", "toner", "columns"),
    [
        ((1, 0, 2), GREEN, "'L' and 'a'"),
        ((2, 1, 0), GREEN, "'L' and 'b'"),
        ((1, 0, 2), RED, "'L' and 'a'"),
        ((2, 1, 0), RED, "'L' and 'b'"),
    ],
)
def test_exchanged_columns_are_named(
    tmp_path: Path,
    order: tuple[int, int, int],
    toner: tuple[tuple[str, float, float, float], ...],
    columns: str,
) -> None:
    """By a lightness below 0, or by bare grounds that would be coloured more than light."""
    new_shelf(tmp_path, toners="ruby")
    file = tmp_path / "readings.csv"
    file.write_text(text(order, toner))
    with pytest.raises(FewtoneError) as caught:
        load_readings(tmp_path, load_settings(tmp_path))
    assert f"The columns {columns} look exchanged" in caught.value.faults[0].message
    assert caught.value.faults[0].row == 1


@pytest.mark.parametrize("toner", [GREEN, RED])
def test_columns_in_order_are_left_alone(
    tmp_path: Path, toner: tuple[tuple[str, float, float, float], ...]
) -> None:
    """However coloured the toner."""
    new_shelf(tmp_path, toners="ruby")
    (tmp_path / "readings.csv").write_text(text((0, 1, 2), toner))
    assert len(load_readings(tmp_path, load_settings(tmp_path)).items) == 6


def test_a_deck_too(tmp_path: Path) -> None:
    """Swatches whose L* would be below 0 while a* never is."""
    deck = tmp_path / "deck.csv"
    deck.write_text("number,L,a,b\n1,-20,40,3\n2,-5,60,3\n3,8,30,3\n")
    new_shelf(tmp_path / "shelf")
    measurement = load_settings(tmp_path / "shelf").measurement
    with pytest.raises(FewtoneError, match="'L' and 'a' look exchanged"):
        read_target("1", measurement, deck=deck)
