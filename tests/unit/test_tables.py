"""Results as tables: the figures are those of the results, a row for each thing."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest

import fewtone
from fewtone.io.readings import load_readings
from shared import learnt_demo

LINES = ["2 peony + 1 poppy, 8:1, 6 coats over silver", "dusk, 6:1, 3 coats over white"]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A learnt copy of the demo shelf."""
    place = tmp_path_factory.mktemp("shelves") / "lamp-bench"
    shutil.copytree(learnt_demo(), place)
    return place


def test_a_prediction_has_a_row_for_each_recipe(folder: Path) -> None:
    """Lab, its standard deviations and the spectrum, under their names."""
    found = fewtone.load(folder).predict(LINES)
    table = found.to_frame()
    assert list(table["recipe"]) == [str(fewtone.parse(line)) for line in LINES]
    assert np.array_equal(table[["L", "a", "b"]].to_numpy(), found.lab)
    assert found.lab_sd is not None
    assert np.array_equal(table[["L_sd", "a_sd", "b_sd"]].to_numpy(), found.lab_sd)
    assert np.array_equal(table.filter(regex=r"^\d+$").to_numpy(), found.reflectance)


def test_a_match_has_its_picks_first(folder: Path) -> None:
    """Each recipe once, named by what it is picked as."""
    found = fewtone.load(folder).match((34.1, 59.3, 12.5), max_toners=2)
    table = found.to_frame()
    assert found.simplest is not None
    assert "simplest" in table["pick"][0]
    assert table["recipe"].is_unique
    assert set(table["recipe"]) >= {str(match.recipe) for match in found.recipes}
    assert table["de00"][0] == found.simplest.de00


def test_readings_and_reports_are_tables(folder: Path) -> None:
    """A row for each reading in the file, and one for each toner."""
    shelf = fewtone.load(folder)
    readings = load_readings(folder, shelf.settings)
    table = readings.to_frame()
    assert list(table["row"]) == [item.row for item in readings.items]
    assert list(table["panel"]) == [item.panel for item in readings.items]
    report = fewtone.learn(folder)
    assert list(report.to_frame()["toner"]) == list(report.toners)
