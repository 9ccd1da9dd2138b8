"""The board in a real browser: by touch, to a kept job; its colours as they are seen."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import numpy as np
import pytest
from matplotlib.image import imread
from playwright.sync_api import Browser, expect

import fewtone
from browser.board_pages import BAD, HELD, LINE, Open
from exports import NM, cgats
from fewtone.jobs import Book
from visitor import open_board

# A browser's picture of a flat colour may be a step of 1/255 off what was asked for.
PIXEL_STEP = 1


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


def test_colours_beyond_srgb_are_marked(board: Open) -> None:
    """A star where colour-science says so and nowhere else; on a wide screen Display P3 is used."""
    import colour

    page = board.page(f"recipe?{HELD}", width=1440)
    shelf = fewtone.load(board.folder)
    illuminant = colour.CCS_ILLUMINANTS["cie_10_1964"]["D65"]
    to_screen = (
        100 * colour.xy_to_XYZ(illuminant),
        100 * colour.xy_to_XYZ(colour.CCS_ILLUMINANTS["cie_2_1931"]["D65"]),
    )
    wide = 0
    for cell in page.locator("a.cell[data-coats]").all():
        ground = cell.locator("xpath=ancestor::ol").get_attribute("data-ground")
        coats = cell.get_attribute("data-coats")
        lab = shelf.predict(f"2 peony + 1 poppy, 8:1, {coats} coats over {ground}").lab[0]
        seen = colour.adaptation.chromatic_adaptation_CMCCAT2000(
            colour.Lab_to_XYZ(lab, illuminant) * 100, *to_screen, L_A1=1000, L_A2=1000
        )
        rgb = np.asarray(colour.XYZ_to_sRGB(seen / 100))
        if min(abs(rgb.min()), abs(rgb.max() - 1)) < 1 / 255:
            continue  # on the edge the matrices' last digits decide
        beyond = bool(rgb.min() < 0 or rgb.max() > 1)
        assert (cell.locator(".star").count() == 1) == beyond, (coats, ground)
        assert cell.locator(".wide").count() == beyond
        if not beyond:
            continue
        wide += 1
        assert "beyond sRGB" in (cell.text_content() or "")
        fill = cell.locator(".wide rect").get_attribute("fill") or ""
        shown = [float(part) for part in fill.removesuffix(")").split()[1:]]
        p3 = colour.XYZ_to_RGB(seen / 100, "Display P3", apply_cctf_encoding=True)
        assert fill.startswith("color(display-p3 ")
        assert np.abs(np.clip(p3, 0, 1) - shown).max() < 0.002
    assert wide >= 1
    rect = page.locator(".wide rect").first
    media = board.context.new_cdp_session(page)
    for gamut, display in (("srgb", "none"), ("p3", "inline")):
        features = [{"name": "color-gamut", "value": gamut}]
        media.send("Emulation.setEmulatedMedia", {"features": features})
        style = rect.evaluate(
            "e => [getComputedStyle(e.parentElement).display, getComputedStyle(e).fill]"
        )
        assert style[0] == display
        assert style[1].startswith("color(display-p3 ")
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


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
def test_an_instruments_file_fills_the_field(encoding: str, board: Open) -> None:
    """Its text is read by the browser and looked at before anything is written."""
    before = (board.folder / "readings.csv").read_bytes()
    grey = [round(0.2 + 0.001 * index, 6) for index in range(len(NM))]
    names = ["SAMPLE_NAME", *(f"nm{nm}" for nm in NM)]
    text = cgats([["1 peony, 6:1, 3 coats over white", *grey]], names).decode()
    page = board.page("take")
    page.get_by_label("Take it from a file").set_input_files(
        {"name": "bench.txt", "mimeType": "text/plain", "buffer": text.encode(encoding)}
    )
    expect(page.get_by_label("What it exported")).to_have_value(text)
    page.get_by_role("button", name="See where they go").click()
    expect(page.get_by_role("heading", name="CGATS: 1 added")).to_be_visible()
    expect(page.locator("textarea[name=text]:visible")).to_have_count(1)
    assert (board.folder / "readings.csv").read_bytes() == before
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
