"""The script that makes README.md's pictures."""

from __future__ import annotations

import runpy
from pathlib import Path

from matplotlib.image import imread
from playwright.sync_api import Browser

SCRIPT = Path(__file__).parents[2] / "examples" / "make_pictures.py"


def test_all_pictures_can_be_made_again(browser: Browser, lamp_shelf: Path, tmp_path: Path) -> None:
    """The terminal has swatches and text in it, the page is a page, the board has colours."""
    script = runpy.run_path(str(SCRIPT))
    terminal, sheet = tmp_path / "terminal.png", tmp_path / "sheet.png"
    script["photograph_terminal"](browser, lamp_shelf, terminal)
    script["photograph_page"](browser, lamp_shelf, sheet)
    seen = imread(terminal)
    colours = {tuple(pixel) for row in seen[::4] for pixel in row[::4, :3].round(2)}
    assert len(colours) > 10
    assert seen.shape[0] > 500
    page = imread(sheet)
    assert page.shape[0] > 1.2 * page.shape[1]
    script["photograph_board"](browser, lamp_shelf, tmp_path)
    for name in ("board-recipe.png", "board-pour.png"):
        assert len(set(imread(tmp_path / name)[:, 300, :3].round(2).flatten())) > 10
    for name in ("terminal.png", "sheet.png", "board-recipe.png", "board-pour.png"):
        assert (SCRIPT.parent / name).read_bytes().startswith(b"\x89PNG")
