"""A small shelf to read."""

from __future__ import annotations

from pathlib import Path

import pytest

SETTINGS = """
format = 1
name = "Small"
[measurement]
geometry = "45:0"
illuminant = "D65"
observer = 10
[mixing]
medium_parts = [6, 8]
[[additives]]
name = "reducer"
percent = 10
[toners.marigold]
label = "Märigold"
[toners.dusk]
density = 1.02
in_stock = false
[grounds.silver]
kind = "metallic"
[grounds.white]
kind = "solid"
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with a good shelf.toml."""
    (tmp_path / "shelf.toml").write_text(SETTINGS, encoding="utf-8")
    return tmp_path
