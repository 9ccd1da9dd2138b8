"""Keeping a reading: one row more, nothing else touched, whole or not at all."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from fewtone import Light, parse
from fewtone.errors import FewtoneError
from fewtone.io.atomic import LOCK_FILE
from fewtone.io.keep import keep_readings
from fewtone.io.readings import load_readings
from fewtone.io.settings import load_settings
from fewtone.model.shelf import ShelfSettings
from lamp_shelf import write_lamp_shelf

RECIPE = parse("2 marigold + 1 dusk, 6:1, 4 coats over silver")
READINGS = [(4, (38.2, -18.4, 9.7)), (2, (48.0, -15.0, 8.25))]
SEMICOLONS = (
    "panel;ground;blend;medium_parts;coats;date;L;a;b\r\n"
    "B1;silver;;;0;2026-01-05;64,3;0,2;1,9\r\n"
    "P1;silver;marigold;6;4;2026-01-06;60,1;5,5;40,2"
)


@pytest.fixture
def shelf(tmp_path: Path) -> tuple[Path, ShelfSettings]:
    """A lamp bench that a test may change."""
    folder = write_lamp_shelf(tmp_path / "lamp")
    return folder, load_settings(folder)


def test_spectral_readings_gain_lab_columns(shelf: tuple[Path, ShelfSettings]) -> None:
    """A file of spectra gets the columns it lacks; every old line but the first stays as it is."""
    folder, settings = shelf
    before = (folder / "readings.csv").read_bytes().splitlines()
    panel = keep_readings(folder, settings, RECIPE, READINGS, settings.measurement.light)
    after = (folder / "readings.csv").read_bytes().splitlines()
    assert after[1 : len(before)] == before[1:]
    assert len(after) == len(before) + 2
    kept = [item for item in load_readings(folder, settings).items if item.panel == panel]
    assert panel == "kept-1"
    assert [item.coats for item in kept] == [4, 2]
    assert all(dict(item.blend) == {"marigold": 2, "dusk": 1} for item in kept)
    assert [dict(item.lab or {}) for item in kept] == [
        {settings.measurement.light: lab} for _, lab in READINGS
    ]
    again = keep_readings(folder, settings, RECIPE, READINGS, settings.measurement.light)
    assert again == "kept-2"


def test_the_files_own_way_of_writing_is_kept(shelf: tuple[Path, ShelfSettings]) -> None:
    """Semicolons, decimal commas, a byte-order mark and Windows line ends go on."""
    folder, settings = shelf
    path = folder / "readings.csv"
    path.write_bytes(b"\xef\xbb\xbf" + SEMICOLONS.encode())
    keep_readings(
        folder,
        settings,
        RECIPE,
        READINGS[:1],
        settings.measurement.light,
        panel="X7",
        date="2026-03-01",
    )
    expected = SEMICOLONS + "\r\nX7;silver;2 marigold + 1 dusk;6;4;2026-03-01;38,2;-18,4;9,7\r\n"
    assert path.read_bytes() == b"\xef\xbb\xbf" + expected.encode()


def test_another_light_has_columns_of_its_own(shelf: tuple[Path, ShelfSettings]) -> None:
    """Readings in tungsten stand under L A/10 and the like."""
    folder, settings = shelf
    light = Light("A", 10)
    panel = keep_readings(folder, settings, RECIPE, READINGS[:1], light)
    kept = [item for item in load_readings(folder, settings).items if item.panel == panel]
    assert dict(kept[0].lab or {}) == {light: READINGS[0][1]}


def test_nothing_is_written_where_something_is_wrong(shelf: tuple[Path, ShelfSettings]) -> None:
    """A panel that is there already, or a file with faults, leaves the file as it was."""
    folder, settings = shelf
    path = folder / "readings.csv"
    light = settings.measurement.light
    keep_readings(folder, settings, RECIPE, READINGS[:1], light, panel="X7")
    before = path.read_bytes()
    with pytest.raises(FewtoneError, match="already"):
        keep_readings(folder, settings, RECIPE, READINGS[:1], light, panel="X7")
    with pytest.raises(FewtoneError, match="already"):
        keep_readings(folder, settings, RECIPE, READINGS[:1], light, panel=" x7 ")
    with pytest.raises(FewtoneError, match="looks like an id"):
        keep_readings(folder, settings, RECIPE, READINGS[:1], light, panel="1:30")
    assert path.read_bytes() == before
    faulty = before.replace(b"X7,silver", b"X7,slver")
    path.write_bytes(faulty)
    with pytest.raises(FewtoneError, match="slver"):
        keep_readings(folder, settings, RECIPE, READINGS[:1], light, panel="X9")
    assert path.read_bytes() == faulty
    assert sorted(file.name for file in folder.iterdir()) == sorted(
        [LOCK_FILE, "curves.csv", "readings.csv", "shelf.toml"]
    )


def test_two_writers_lose_nothing(shelf: tuple[Path, ShelfSettings]) -> None:
    """Readings that are kept at the same time all stand there, each with an id of its own."""
    folder, settings = shelf
    light = settings.measurement.light
    count = 12

    def keep(_: int) -> str:
        return keep_readings(folder, settings, RECIPE, READINGS[:1], light)

    with ThreadPoolExecutor(max_workers=4) as workers:
        panels = list(workers.map(keep, range(count)))
    assert len(set(panels)) == count
    found = {item.panel for item in load_readings(folder, settings).items}
    assert set(panels) <= found
