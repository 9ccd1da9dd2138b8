"""Reading shelf.toml: defaults, exact numbers, and all faults in one go."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest

from fewtone.errors import FewtoneError
from fewtone.io.settings import load_settings
from fewtone.optics.film import Geometry
from fewtone.recipes.rules import Rules


def faults_of(folder: Path, text: str) -> dict[str, str]:
    """The faults of a shelf.toml, message by key."""
    (folder / "shelf.toml").write_text(text, encoding="utf-8")
    with pytest.raises(FewtoneError) as caught:
        load_settings(folder)
    assert all(fault.file == "shelf.toml" and fault.fix for fault in caught.value.faults)
    return {fault.column or "": fault.message for fault in caught.value.faults}


def test_what_is_left_out_has_a_default(folder: Path) -> None:
    """Only toners and grounds must be named; numbers are exact as written."""
    settings = load_settings(folder)
    assert list(settings.toners) == ["marigold", "dusk"]
    assert settings.toners["marigold"].label == "Märigold"
    assert settings.toners["dusk"].label == "dusk"
    assert settings.toners["dusk"].density == Decimal("1.02")
    assert not settings.toners["dusk"].in_stock
    assert settings.measurement.geometry is Geometry.DIRECTIONAL
    assert str(settings.measurement.light) == "D65/10"
    assert settings.mixing.medium_parts == (6, 8)
    assert settings.mixing.coats == (2, 6)
    assert settings.house_reducer_percent == 10
    assert settings.grounds["silver"].is_metallic
    assert not settings.grounds["white"].is_metallic


def test_all_faults_are_found_in_one_go(folder: Path) -> None:
    """Each wrong key is named with what is allowed; nothing hides behind the first."""
    faults = faults_of(
        folder,
        """
        reflectence = "factor"
        [measurement]
        geometry = "45/0"
        illuminant = "D64"
        observer = 5
        film_index = nan
        repeat_reflectance = -0.1
        [mixing]
        medium_parts = []
        coats = [6, 2]
        max_part = 2.5
        tolerance = "1"
        [toners.Marigold]
        [toners.over]
        [toners.dusk]
        colour = "blue"
        in_stock = "yes"
        density = 0
        [grounds.silver]
        kind = "flake"
        """,
    )
    assert set(faults) == {
        "reflectence",
        "measurement.geometry",
        "measurement.illuminant",
        "measurement.observer",
        "measurement.film_index",
        "measurement.repeat_reflectance",
        "mixing.medium_parts",
        "mixing.coats",
        "mixing.max_part",
        "mixing.tolerance",
        "toners.Marigold",
        "toners.over",
        "toners.dusk.colour",
        "toners.dusk.in_stock",
        "toners.dusk.density",
        "grounds.silver.kind",
    }
    assert "Did you mean 'reflectance'" in faults["reflectence"]
    assert "45:0, di:8, de:8" in faults["measurement.geometry"]
    assert "metallic, solid" in faults["grounds.silver.kind"]


def test_what_a_shelf_may_state_is_what_a_recipe_may_have(folder: Path) -> None:
    """The largest part and the most coats that shelf.toml takes, the rules take; no more."""
    text = (folder / "shelf.toml").read_text(encoding="utf-8")

    def stating(part: int, coats: int) -> str:
        return text.replace("[mixing]\n", f"[mixing]\nmax_part = {part}\ncoats = [1, {coats}]\n")

    (folder / "shelf.toml").write_text(stating(50, 50), encoding="utf-8")
    rules = Rules.of(load_settings(folder), max_toners=1)
    assert (rules.max_part, rules.coats) == (50, (1, 50))
    assert set(faults_of(folder, stating(51, 51))) == {"mixing.max_part", "mixing.coats"}


def test_a_shelf_needs_toners_and_grounds(folder: Path) -> None:
    """An empty shelf says what to add."""
    assert set(faults_of(folder, "format = 1")) == {"toners", "grounds"}


def test_a_newer_format_is_refused(folder: Path) -> None:
    """A file of a later layout is not guessed at."""
    text = (folder / "shelf.toml").read_text(encoding="utf-8").replace("format = 1", "format = 2")
    assert "format" in faults_of(folder, text)


def test_broken_toml_names_its_row(folder: Path) -> None:
    """A syntax error is a fault with its row."""
    (folder / "shelf.toml").write_text('name = "Small"\ncoats = [2, 6\nfoo = 1\n')
    with pytest.raises(FewtoneError) as caught:
        load_settings(folder)
    assert caught.value.faults[0].row in (2, 3)


def test_an_additive_reserves_its_name(folder: Path) -> None:
    """A toner cannot be called like an additive; the two would be confused in the pours."""
    text = (folder / "shelf.toml").read_text(encoding="utf-8") + "\n[toners.reducer]\n"
    assert "toners.reducer" in faults_of(folder, text)


def test_a_missing_file_is_a_fault(tmp_path: Path) -> None:
    """A folder without a shelf says so."""
    with pytest.raises(FewtoneError, match="cannot be read"):
        load_settings(tmp_path)
