"""The board for everyone: at every width, by keyboard alone, for those who listen."""

from __future__ import annotations

import shutil
import subprocess
import threading
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from axe_playwright_python.sync_playwright import Axe  # type: ignore[import-untyped]
from playwright.sync_api import expect

import fewtone
from browser.board_pages import HELD, PAGES, Open
from browser.conftest import needed
from browser.test_html_checker import JAR
from fewtone.board import bench
from visitor import Visitor

TOUCH_PX = 44


@pytest.mark.trial
@pytest.mark.parametrize("name", PAGES)
def test_it_is_accessible_and_fits_every_width(name: str, board: Open) -> None:
    """Axe finds nothing; nothing scrolls sideways; what is touched is large enough.

    And the page is silent: no console message, no dialog, no request but to the board.
    """
    board.console.clear()
    page = board.page(PAGES[name], width=390)
    # A page that says no is told on the console by the browser itself.
    assert [line for line in board.console if "status of 40" not in line] == []
    board.console.clear()
    assert {urlsplit(url).netloc for url in board.requests} <= {
        urlsplit(board.doors.address).netloc,
        "",
    }
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()
    small: list[str] = page.evaluate(
        """(least) => [...document.querySelectorAll("a, button, input, select, textarea, summary")]
            .filter(e => e.type !== "hidden" && e.getClientRects().length
                && !e.closest("p, li.list, .list, .unseen") && !e.matches(".skip"))
            .map(e => e.matches("[type=checkbox]") ? e.closest("label") : e)
            .filter(e => { const r = e.getBoundingClientRect();
                return r.height < least - 0.5 || r.width < least - 0.5; })
            .map(e => e.outerHTML.slice(0, 150))""",
        TOUCH_PX,
    )
    assert small == []
    # At 320 px a page stands as at 640 px and 200 % (WCAG 2.2, 1.4.10).
    for width in (320, 390, 820, 1440, 1600):
        page.set_viewport_size({"width": width, "height": 900})
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), width
        cut: list[str] = page.evaluate(
            """() => [...document.querySelectorAll("main *")]
                .filter(e => e.getClientRects().length && !e.closest(".unseen")
                    && e.getBoundingClientRect().right > innerWidth + 0.5)
                .map(e => e.outerHTML.slice(0, 150))"""
        )
        assert cut == [], width
    # Letters twice as large, as somebody may set them in the browser.
    page.set_viewport_size({"width": 820, "height": 900})
    page.evaluate("document.documentElement.style.fontSize = '200%'")
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    assert page.evaluate("document.getAnimations().length") == 0
    if name in ("recipe", "shelf", "panel"):
        assert Axe().run(page).violations_count == 0
    page.close()


@pytest.mark.trial
def test_pages_beside_the_shelf_are_accessible(
    board: Open, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The first page, another device, what is refused, learning, a shelf not learnt, what is taken.

    Axe and the HTML checker find nothing, and nothing scrolls sideways.
    """
    needed(JAR.is_file() and shutil.which("java") is not None, "the Nu HTML checker (or java)")
    go_on = threading.Event()
    monkeypatch.setattr(bench, "learn", lambda *_, **__: go_on.wait(60))
    fewtone.new(board.folder.parent / "mine", toners=["Ruby", "Sky"])
    page = board.page("shelf", width=390)
    page.get_by_role("button", name="Learn again").click()
    page.wait_for_selector("progress")
    files: list[str] = []

    def look(address: str = "") -> None:
        if address:
            page.goto(address)
        found = Axe().run(page)
        assert found.violations_count == 0, found.generate_report()
        for width in (320, 390, 820, 1440):
            page.set_viewport_size({"width": width, "height": 800})
            assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), address
        file = tmp_path / f"page-{len(files)}.html"
        text = page.evaluate("document.documentElement.outerHTML")
        file.write_text(f"<!DOCTYPE html>\n{text}", encoding="utf-8")
        files.append(str(file))

    look()
    go_on.set()
    expect(page.get_by_role("button", name="Learn again")).to_be_visible(timeout=30_000)
    home = board.doors.address
    for path in ("?all=yes", "-/devices", "nothing", "mine/shelf", "mine/ask", "mine/readings"):
        look(home + path)
    page.goto(board.base + "take")
    page.get_by_label("What it exported").fill("Dear all")
    page.get_by_role("button", name="See where they go").click()
    expect(page.get_by_text("has to be mended first").first).to_be_visible()
    look()
    page.close()
    stranger = board.context.browser
    assert stranger is not None
    outside = stranger.new_page()
    outside.goto(home)
    expect(outside.get_by_role("heading", name="Not let in")).to_be_visible()
    assert Axe().run(outside).violations_count == 0
    outside.close()
    done = subprocess.run(
        ["java", "-jar", str(JAR), *files], capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.trial
def test_it_is_valid_html(board: Open, tmp_path: Path) -> None:
    """The Nu HTML checker has neither an error nor a warning, nor for the style sheet."""
    needed(JAR.is_file() and shutil.which("java") is not None, "the Nu HTML checker (or java)")
    visitor = Visitor(board.doors)
    files = []
    for number, path in enumerate(PAGES.values()):
        file = tmp_path / f"page-{number}.html"
        file.write_text(visitor.ask("GET", f"/lamp-bench/{path}").text, encoding="utf-8")
        files.append(file)
    for number, path in enumerate(("/?all=yes", "/nothing", "/-/board.css")):
        file = tmp_path / (f"more-{number}.css" if path.endswith("css") else f"more-{number}.html")
        file.write_text(visitor.ask("GET", path).text, encoding="utf-8")
        files.append(file)
    done = subprocess.run(
        ["java", "-jar", str(JAR), "--also-check-css", *map(str, files)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, "")


def test_the_surround_is_a_neutral_grey(board: Open) -> None:
    """ISO 3664: neutral, of 10 to 60 % luminous reflectance (from memory); no tint anywhere."""
    page = board.page(f"recipe?{HELD}")
    colours: list[str] = page.evaluate(
        """() => [...new Set([...document.querySelectorAll("body *, html")].flatMap(e => {
            const s = getComputedStyle(e);
            return [s.color, s.backgroundColor, s.borderTopColor]; }))]"""
    )
    for text in colours:
        parts = [float(part) for part in text.split("(")[1].rstrip(")").split(",")]
        assert max(parts[:3]) == min(parts[:3]), text
    for where in ("html", ".wall"):
        text = page.locator(where).first.evaluate("e => getComputedStyle(e).backgroundColor")
        coded = float(text.split("(")[1].split(",")[0]) / 255
        assert 0.10 <= ((coded + 0.055) / 1.055) ** 2.4 <= 0.60
    page.close()


def test_by_keyboard_alone(board: Open) -> None:
    """The first stop skips to the content; a step keeps the place and is told to who listens."""
    page = board.page(f"recipe?{HELD}")
    page.keyboard.press("Tab")
    assert page.locator(":focus").inner_text() == "Skip to the content"
    page.keyboard.press("Enter")
    for _ in range(40):
        page.keyboard.press("Tab")
        if page.locator(":focus").get_attribute("id") == "up-4":
            break
    assert page.locator(":focus").inner_text().split()[-3:] == ["One", "coat", "more"]
    outline = page.locator(":focus").evaluate("e => getComputedStyle(e).outlineStyle")
    assert outline == "solid"
    page.keyboard.press("Enter")
    expect(page.locator("h1")).to_contain_text("7 coats")
    assert page.locator(":focus").get_attribute("id") == "up-4"
    expect(page.locator("#said")).to_contain_text("7 coats over silver, ΔE00")
    page.go_back()
    expect(page.locator("h1")).to_contain_text("6 coats")
    names: list[str] = page.evaluate(
        """() => [...document.querySelectorAll("a.step, a.cell, nav a, button")]
            .map(e => e.textContent.trim()).filter(name => !/[a-z]{3}/i.test(name))"""
    )
    assert names == []
    page.close()
