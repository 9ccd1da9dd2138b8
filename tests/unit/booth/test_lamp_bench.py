"""The demo shelf is what its script makes, and says that it is invented."""

from __future__ import annotations

import csv
import tomllib
from pathlib import Path

from booth.make_lamp_bench import SHELF, write_lab_only, write_spectral


def test_readings_are_what_the_script_makes(tmp_path: Path) -> None:
    """Running the script again gives the same bytes as the file that is shipped."""
    write_spectral(tmp_path)
    made, shipped = (folder / "readings.csv" for folder in (tmp_path, SHELF))
    assert made.read_bytes() == shipped.read_bytes()


def test_shelf_says_that_it_is_invented() -> None:
    """The first line a reader sees says that the data are invented."""
    first = (SHELF / "shelf.toml").read_text(encoding="utf-8").splitlines()[0]
    assert first.startswith("#")
    assert "INVENTED" in first


def test_every_toner_and_ground_is_read() -> None:
    """Each toner has strips over white and silver, each ground three bare readings."""
    settings = tomllib.loads((SHELF / "shelf.toml").read_text(encoding="utf-8"))
    with (SHELF / "readings.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    for ground in settings["grounds"]:
        assert sum(row["ground"] == ground and row["coats"] == "0" for row in rows) == 3
    for toner in settings["toners"]:
        for ground, coats in (("white", 5), ("silver", 4)):
            strip = [row for row in rows if (row["blend"], row["ground"]) == (toner, ground)]
            assert len(strip) == coats
            assert len({row["panel"] for row in strip}) == 1


def test_lab_set_is_the_same_bench(tmp_path: Path) -> None:
    """The Lab variant has the same panels, with one triple per light and no spectra."""
    write_lab_only(tmp_path, ("D65/10", "A/10"))
    with (tmp_path / "readings.csv").open(encoding="utf-8", newline="") as file:
        lab_rows = list(csv.DictReader(file))
    with (SHELF / "readings.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["panel"] for row in lab_rows] == [row["panel"] for row in rows]
    assert list(lab_rows[0])[-6:] == ["L", "a", "b", "L A/10", "a A/10", "b A/10"]
    assert (tmp_path / "shelf.toml").read_bytes() == (SHELF / "shelf.toml").read_bytes()
