"""The page about a deck in a real browser: accessible, whole on a telephone, one chip a swatch."""

from __future__ import annotations

from pathlib import Path

from axe_playwright_python.sync_playwright import Axe  # type: ignore[import-untyped]
from playwright.sync_api import Browser

import fewtone
from fewtone.decks.summary import Summary
from fewtone.report.deck_page import deck_page, deck_picture

EXAMPLE = Path(__file__).parents[2] / "examples" / "swatches.csv"


def test_it_is_accessible_and_shows_every_swatch(
    browser: Browser, lamp_shelf: Path, tmp_path: Path
) -> None:
    """Nothing that the checker axe finds, no script, nothing asked of elsewhere."""
    deck = tmp_path / "deck.csv"
    deck.write_text(EXAMPLE.read_text().replace("Wet slate", "<img src=x onerror=alert(1)>"))
    shelf = fewtone.load(lamp_shelf)
    how = {"max_toners": 1, "would_help": False, "percent": 10}
    done = shelf.write_deck(deck, tmp_path / "out.csv", **how)  # type: ignore[arg-type]
    file = tmp_path / "page.html"
    file.write_text(deck_page(done, shelf.settings.name, 1.0, "1 toner"), encoding="utf-8")
    page = browser.new_page()
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    try:
        page.goto(file.as_uri())
        for width in (1100, 390):
            page.set_viewport_size({"width": width, "height": 800})
            found = Axe().run(page)
            assert found.violations_count == 0, found.generate_report()
            assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
        assert page.locator("svg g").count() == 15
        crossed = page.locator("svg g:has(path)").count()
        assert crossed == done.summary.swatches - done.summary.reached > 0
        assert page.locator("script, img").count() == 0
        assert asked == [file.as_uri()]
    finally:
        page.close()


def test_chips_stand_in_their_fields_and_never_on_each_other() -> None:
    """Hues are rows, lightness columns; of equal colours none covers another."""
    rows = [
        {
            **{"number": str(i), "name": "", "light": "D65/10", "reached": i % 2 == 0},
            **{"L": 10.0 + 20.0 * (i % 5), "a": 40.0 - i // 10, "b": 3.0 * (i % 7) - 9.0},
            **{"headline": "marigold, 6:1, 4 coats over silver", "headline_de00": 1.0},
            **{"headline_L": 50.0, "headline_a": 0.0, "headline_b": 0.0},
        }
        for i in range(150)
    ]
    summary = Summary.of(rows)  # type: ignore[arg-type]
    picture = deck_picture(summary.chips)
    places = {(chip.x, chip.y) for chip in picture.chips}
    assert len(places) == len(picture.chips) == 150
    for chip in picture.chips:
        assert 0 <= chip.x <= picture.width - 2 * picture.half
        assert 0 <= chip.y <= picture.height - picture.tall
        number = int(chip.words.split(":")[0])
        column = max(x for x, _ in picture.columns if x <= chip.x)
        words = dict(picture.columns)[column]
        low, high = (float(end) for end in words.removeprefix("L* ").split("-"))
        assert low <= 10.0 + 20.0 * (number % 5) < high
    assert sum(cell.swatches for cell in summary.cells) == 150
    assert sum(cell.reached for cell in summary.cells) == summary.reached == 75
