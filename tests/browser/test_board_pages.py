"""The board in a real browser: by touch, by keyboard, at every width, and for those who listen."""

from __future__ import annotations

import io
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple
from urllib.parse import urlencode, urlsplit

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe  # type: ignore[import-untyped]
from matplotlib.image import imread
from playwright.sync_api import Browser, BrowserContext, Page, expect

import fewtone
from browser.conftest import needed
from browser.test_html_checker import JAR
from fewtone.board.safety import Doors
from fewtone.jobs import Book
from visitor import Visitor, open_board

LINE, TARGET = "2 peony + 1 poppy, 8:1, 6 coats over silver", "34.1,59.3,12.5"
HELD = urlencode({"recipe": LINE, "target": TARGET})
# Every page of a shelf, in each of its states.
PAGES = {
    "shelf": "shelf",
    "readings": "readings",
    "rows": "rows?panel=P014",
    "new rows": "rows",
    "ask": "ask",
    "answer": "ask?L=34.1&a=59.3&b=12.5",
    "versions": "ask?L=34.1&a=59.3&b=12.5&L2=35&a2=58&b2=13",
    "keyed": "ask?L=34.1&a=59.3&b=12.5&keyed=yes&max_toners=2",
    "out of reach": "ask?L=60&a=-90&b=30",
    "asked wrongly": "ask?L=60",
    "which recipe": "recipe",
    "recipe": f"recipe?{HELD}",
    "simplify": f"simplify?{HELD}",
    "compare": f"compare?{HELD}&beside=1+peony%2C+6%3A1%2C+4+coats+over+silver",
    "compare what": "compare",
    "reach": "reach?target=34.1,59.3,12.5&keyed=yes",
    "bottle": "bottle?recipe=1+peony%2C+6%3A1%2C+3+coats+over+white&L1=40&a1=55&b1=0",
    "take": "take",
    "pour": f"pour?{HELD}&volume=600",
    "pour more": f"pour?{HELD}&volume=610&way=exact&reducer=20",
    "which panel": "panel",
    "panel": f"panel?{HELD}&L1=37&a1=56&b1=11&left=350",
    "book": "book",
    "job": "job?job=hall+lamp",
    "no such job": "job?job=none",
}
BAD = "<script>alert(1)</script>"
# A browser's picture of a flat colour may be a step of 1/255 off what was asked for.
PIXEL_STEP = 1
TOUCH_PX = 44


class Open(NamedTuple):
    """A board on a learnt demo shelf, and a browser that came in."""

    doors: Doors
    context: BrowserContext
    folder: Path
    console: list[str]
    requests: list[str]

    @property
    def base(self) -> str:
        """The address of its shelf's pages."""
        return f"{self.doors.address}lamp-bench/"

    def page(self, path: str = "", *, width: int = 1000) -> Page:
        """A tab at a page of the shelf."""
        page = self.context.new_page()
        page.set_viewport_size({"width": width, "height": 800})
        page.goto(self.base + path)
        return page


@pytest.fixture(scope="module")
def board(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Open]:
    """Labels, the deck and a note try to be markup; one job is in the book."""
    root = tmp_path_factory.mktemp("board")
    folder = root / "toners" / "lamp-bench"
    fewtone.new(folder, demo=True)
    settings = folder / "shelf.toml"
    text = settings.read_text()
    for label in ('"Peony"', '"Fine silver"', '"Clear medium"'):
        assert label in text
        text = text.replace(label, f'"{BAD}"')
    settings.write_text(text)
    fewtone.learn(folder)
    deck = root / "deck.csv"
    deck.write_text(f"number,name,L,a,b\n1,{BAD},34.1,59.3,12.5\n2,Pond,51,-58,-6\n")
    shelf = fewtone.load(folder)
    book = Book(root / "book.db")
    shelf.keep_job(book, "hall lamp", target=TARGET, recipe=LINE, note=BAD)
    with open_board(root / "toners", book=book.path, deck=deck) as doors:
        context = browser.new_context()
        console: list[str] = []
        requests: list[str] = []
        context.on("console", lambda message: console.append(message.text))
        context.on("weberror", lambda error: console.append(str(error.error)))
        context.on("dialog", lambda dialog: console.append(dialog.message))
        context.on("request", lambda request: requests.append(request.url))
        page = context.new_page()
        page.goto(doors.way_in)
        page.close()
        yield Open(doors, context, folder, console, requests)
        context.close()


@pytest.mark.trial
def test_from_an_empty_folder_to_a_kept_job(browser: Browser, tmp_path: Path) -> None:
    """With a finger, without the command line: demo, learn, ask, hold, move, keep, pour, panel."""
    book = tmp_path / "book.db"
    with open_board(tmp_path / "toners", book=book) as doors:
        context = browser.new_context(viewport={"width": 820, "height": 1100}, has_touch=True)
        console: list[str] = []
        requests: list[str] = []
        context.on("console", lambda message: console.append(message.text))
        context.on("weberror", lambda error: console.append(str(error.error)))
        context.on("request", lambda request: requests.append(request.url))
        page = context.new_page()
        page.goto(doors.way_in)
        page.get_by_role("button", name="Copy the demo shelf").tap()
        page.get_by_role("button", name="Learn").tap()
        expect(page.get_by_text("Learnt 12 toners")).to_be_visible(timeout=60_000)
        page.get_by_role("link", name="Ask for a colour").tap()
        for name, value in zip(("L*", "a*", "b*"), ("34,1", "59,3", "12,5"), strict=True):
            page.get_by_label(name, exact=True).fill(value)
        page.get_by_role("button", name="Find the mix").tap()
        page.get_by_role("link", name="Hold this one").first.tap()
        heading = page.locator("h1")
        expect(heading).to_have_text(LINE)
        page.get_by_role("link", name="One coat less").tap()
        expect(heading).to_contain_text("5 coats")
        page.locator("a.cell[data-coats='6']", has_text="over silver").tap()
        expect(heading).to_have_text(LINE)
        page.get_by_label("Keep it as a job named").fill("hall lamp")
        page.get_by_role("button", name="Keep it").tap()
        page.get_by_role("link", name="Pour it").tap()
        page.get_by_label("Volume, ml").fill("300")
        page.get_by_role("button", name="Work it out").tap()
        expect(page.locator(".poured")).to_have_count(4)
        for box in page.locator(".poured").all():
            box.check()
        expect(page.get_by_text("All is poured")).to_be_visible()
        page.get_by_role("button", name="Write it down in the job hall lamp").tap()
        expect(page.get_by_text("Written down in the job hall lamp")).to_be_visible()
        page.get_by_role("link", name="Read its panel").tap()
        for name, value in (("L1", "34,4"), ("a1", "59"), ("b1", "12.1"), ("left", "250")):
            page.locator(f"#{name}").fill(value)
        page.get_by_role("button", name="See what it means").tap()
        expect(page.get_by_role("heading", name="The panel passes")).to_be_visible(timeout=60_000)
        page.get_by_label("Learn from this reading too").check()
        page.get_by_role("button", name="Keep it in the job hall lamp").tap()
        expect(page.get_by_text("The panel is kept")).to_be_visible(timeout=60_000)
        page.get_by_role("button", name="It ended: passed").tap()
        page.get_by_role("link", name="Book").tap()
        expect(page.get_by_role("link", name="hall lamp")).to_contain_text("passed")
        context.close()
    kinds = [entry.kind for entry in Book(book).job("hall lamp").entries]
    assert kinds == ["recipe", "batch", "panel", "adjustment", "ended"]
    assert "kept-1" in (tmp_path / "toners" / "lamp-bench" / "readings.csv").read_text()
    assert console == []
    assert {urlsplit(url).netloc for url in requests} == {urlsplit(doors.address).netloc}


def test_what_users_wrote_is_text(board: Open) -> None:
    """Labels, a note and a swatch's name that are markup stand there as they were typed."""
    page = board.page("job?job=hall+lamp")
    assert BAD in page.locator(".entries").inner_text()
    page.goto(board.base + "shelf")
    assert BAD in page.locator("[data-toner=peony]").inner_text()
    page.goto(board.base + "ask?find=1")
    assert BAD in page.locator(".chips").inner_text()
    assert page.locator("main script, main img, main iframe").count() == 0
    page.close()
    assert board.console == []


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
    assert page.evaluate("document.getAnimations().length") == 0
    if name in ("recipe", "shelf", "panel"):
        assert Axe().run(page).violations_count == 0
    page.close()


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


def test_swatches_are_the_colours_that_were_computed(board: Open) -> None:
    """Every swatch's pixels on the page Recipe are within 1/255 of its code and of its Lab.

    By colour-science, from the Lab that the library predicts for each cell of the wall.
    """
    import colour

    page = board.page(f"recipe?{HELD}", width=1440)
    screen = imread(io.BytesIO(page.screenshot(full_page=True)), format="png")
    white = 100 * colour.xy_to_XYZ(colour.CCS_ILLUMINANTS["cie_10_1964"]["D65"])
    screen_white = 100 * colour.xy_to_XYZ(colour.CCS_ILLUMINANTS["cie_2_1931"]["D65"])
    shelf = fewtone.load(board.folder)

    def independent(lab: Any) -> Any:
        xyz = colour.Lab_to_XYZ(lab, colour.CCS_ILLUMINANTS["cie_10_1964"]["D65"]) * 100
        adapted = colour.adaptation.chromatic_adaptation_CMCCAT2000(
            xyz, white, screen_white, L_A1=1000, L_A2=1000
        )
        return np.clip(np.asarray(colour.XYZ_to_sRGB(adapted / 100)) * 255, 0, 255)

    compared = 0
    for cell in page.locator("a.cell[data-coats]").all():
        ground = cell.locator("xpath=ancestor::ol").get_attribute("data-ground")
        coats = cell.get_attribute("data-coats")
        lab = shelf.predict(f"2 peony + 1 poppy, 8:1, {coats} coats over {ground}").lab[0]
        for which, wanted in (("prediction", lab), ("target", (34.1, 59.3, 12.5))):
            rect = cell.locator(f"[data-swatch={which}]")
            box = rect.bounding_box()
            assert box is not None
            # The target is seen at its edge, the prediction in the middle.
            x = box["x"] + (3 if which == "target" else box["width"] / 2)
            y = box["y"] + (3 if which == "target" else box["height"] / 2)
            pixel = 255 * screen[int(y), int(x), :3]
            code = rect.get_attribute("data-hex") or ""
            assert np.abs(pixel - list(bytes.fromhex(code[1:]))).max() <= PIXEL_STEP
            assert np.abs(pixel - independent(wanted)).max() <= PIXEL_STEP
            compared += 1
    assert compared == 2 * 4 * 6
    page.close()


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


def test_timers_run_and_ticks_stay(board: Open) -> None:
    """Stir counts down; what was ticked off is still so after the page is loaded again."""
    page = board.page(f"pour?{HELD}&volume=600")
    clock = page.get_by_role("timer", name="Stir: time left")
    expect(clock).to_have_text("2:00")
    page.get_by_role("button", name="Stir: start stir").click()
    expect(clock).to_have_text("1:59", timeout=3000)
    page.get_by_role("button", name="Stir: pause").click()
    page.get_by_role("button", name="Stir: from the start").click()
    expect(clock).to_have_text("2:00")
    page.locator(".poured").first.check()
    expect(page.locator("#count")).to_have_text("1 of 4 poured.")
    page.reload()
    expect(page.locator(".poured").first).to_be_checked()
    sizes: list[float] = page.locator(".pours .amount data").evaluate_all(
        "all => all.map(each => parseFloat(getComputedStyle(each).fontSize))"
    )
    assert min(sizes) >= 32
    page.close()


def test_another_sites_form_does_nothing(board: Open) -> None:
    """A page of another origin sends a form: the cookie stays at home, and it is refused."""
    page = board.context.new_page()
    page.set_content(
        f"""<form method="post" action="{board.base}job"><input name="job" value="hall lamp">
        <input name="note" value="from elsewhere"><button>Send</button></form>"""
    )
    page.locator("button").click()
    expect(page.locator("h1")).to_have_text("Not let in")
    page.goto(board.base + "job?job=hall+lamp")
    assert "from elsewhere" not in page.locator("main").inner_text()
    page.close()


def test_it_works_without_scripts(browser: Browser, board: Open) -> None:
    """A step and an answer, with the browser's scripts switched off."""
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(board.doors.way_in)
    page.goto(f"{board.base}recipe?{HELD}")
    page.get_by_role("link", name="One part of peony less").click()
    assert page.locator("h1").inner_text() == "1 peony + 1 poppy, 8:1, 6 coats over silver"
    page.get_by_role("link", name="Pour it").click()
    page.get_by_label("Volume, ml").fill("300")
    page.get_by_role("button", name="Work it out").click()
    assert page.locator(".pours li").count() == 4
    context.close()
