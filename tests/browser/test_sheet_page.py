"""The printed page in a real browser: what it says, what it shows, and how it prints."""

from __future__ import annotations

import datetime
import io
import json
from collections.abc import Callable, Iterator
from dataclasses import replace
from decimal import Decimal
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe  # type: ignore[import-untyped]
from matplotlib.image import imread
from playwright.sync_api import Browser, Page
from pypdf import PdfReader

import fewtone
from fewtone.colorimetry import Light
from fewtone.model.shelf import Ground
from fewtone.report.sheet import Sheet, sheet

RECIPE = "2 marigold + 1 dusk, 6:1, 4 coats over silver"
TARGET = "36,-8,28"
# A label beside a recipe that is as long as anybody's.
LONG = "A label that somebody wrote to the very edge of the tin, and then on"
PAPERS = ("A4", "Letter")
# A browser's picture of a flat colour may be a step of 1/255 off what was asked for.
PIXEL_STEP = 1


class Opened(NamedTuple):
    """A page in the browser, what its console said and what it asked the network for."""

    page: Page
    said: list[str]
    asked: list[str]


Open = Callable[[Path], Opened]


@pytest.fixture
def opened(browser: Browser) -> Iterator[Open]:
    """Open a file as from a USB stick."""
    pages = []

    def opens(file: Path) -> Opened:
        page = browser.new_page(viewport={"width": 1000, "height": 800})
        pages.append(page)
        said: list[str] = []
        asked: list[str] = []
        page.on("console", lambda message: said.append(message.text))
        page.on("pageerror", lambda error: said.append(str(error)))
        page.on("dialog", lambda dialog: said.append(dialog.message))
        page.on("request", lambda request: asked.append(request.url))
        page.goto(file.as_uri())
        return Opened(page, said, asked)

    yield opens
    for page in pages:
        page.close()


@pytest.fixture(scope="module")
def written(lamp_shelf: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The page that `fewtone sheet` writes."""
    file = tmp_path_factory.mktemp("pages") / "page.html"
    assert command("sheet", RECIPE, "--target", TARGET, "-o", file, "--shelf", lamp_shelf) == ""
    return file


def command(*words: object) -> str:
    """Run a command in a process of its own; standard output of `--json`, else nothing."""
    import subprocess
    import sys

    code = "from fewtone.cli import main; main()"
    line = [sys.executable, "-c", code, *(str(word) for word in words)]
    done = subprocess.run(line, capture_output=True, text=True, encoding="utf-8", check=True)
    return done.stdout if "--json" in words else ""


def values(page: Page, where: str, field: str) -> list[float]:
    """The figures of one kind within a part of the page."""
    found: list[str] = page.locator(f"{where} data[data-field='{field}']").evaluate_all(
        "all => all.map(each => each.value)"
    )
    return [float(value) for value in found]


def test_it_loads_alone_and_in_silence(written: Path, opened: Open) -> None:
    """No console message, no dialog, and no request but for the file itself."""
    seen = opened(written)
    assert seen.said == []
    assert seen.asked == [written.as_uri()]


def test_what_users_wrote_is_text(written: Path, opened: Open) -> None:
    """A label that is markup stands on the page as it was typed."""
    page = opened(written).page
    assert page.locator("script").count() == page.locator("img").count() == 0
    assert "<script>alert(1)</script>" in page.locator("tr[data-component=marigold]").inner_text()
    assert "<img src=x onerror=alert(2)>" in page.locator("tr[data-ground=silver]").inner_text()
    assert 'Bench "& <b>Söhne</b>' in page.locator("footer").inner_text()


def test_its_figures_are_those_of_the_commands(
    written: Path, lamp_shelf: Path, opened: Open
) -> None:
    """Recipe, target, prediction, ΔE00, unevenness, pours and steps equal what --json gives."""
    page = opened(written).page
    about = (RECIPE, "--shelf", lamp_shelf, "--json")
    check = json.loads(command("check", *about, "--target", TARGET))
    batch = json.loads(command("batch", *about, "--volume", "500ml", "--exact"))
    letdown = json.loads(command("letdown", *about, "--target", TARGET))

    recipe = check["recipe"]
    assert page.locator("[data-field=recipe]").inner_text() == recipe["recipe"]
    assert values(page, ".colours", "target") == check["target"]["lab"]
    assert values(page, ".colours", "lab") == recipe["lab"]
    assert values(page, ".colours", "de00") == [recipe["de00"]]
    assert values(page, ".colours", "unevenness") == [recipe["unevenness"]]
    assert values(page, ".colours", "lab_sd") == (recipe["lab_sd"] or [])
    probability = recipe["pass_probability"]
    certainty = values(page, ".colours", "pass_probability")
    assert certainty == ([] if probability is None else [probability])
    if probability is None:
        assert "not known yet" in page.locator(".colours").inner_text()

    rows = page.locator(".pours tbody tr")
    assert rows.count() == len(batch["pours"])
    for row, pour in enumerate(batch["pours"]):
        assert rows.nth(row).get_attribute("data-component") == pour["component"]
        for field in ("ml", "grams", "running_ml", "running_grams"):
            place = f".pours tbody tr:nth-child({row + 1})"
            assert values(page, place, field) == [pour[field]], field

    shown = 0
    for step in letdown["steps"]:
        cell = f"tr[data-ground={step['ground']}] td[data-coats='{step['coats']}']"
        assert values(page, cell, "lab") == step["lab"]
        assert values(page, cell, "de00") == [step["de00"]]
        shown += 1
    assert shown == page.locator(".strip tbody td").count() == 4 * 7
    wanted = page.locator("td.wanted")
    assert wanted.count() == 1
    assert wanted.get_attribute("data-coats") == "4"
    assert "wanted" in wanted.inner_text()


def test_the_other_lights_are_those_of_the_commands(
    written: Path, lamp_shelf: Path, opened: Open
) -> None:
    """The same mix in other light is what `check` says, and what the Python call predicts."""
    page = opened(written).page
    check = json.loads(command("check", RECIPE, "--shelf", lamp_shelf, "--json"))
    shelf = fewtone.load(lamp_shelf)
    assert [seen["illuminant"] for seen in check["lights"]] == ["D65", "A", "F11", "LED-B3"]
    for seen in check["lights"]:
        place = f"[data-light='{seen['illuminant']}']"
        figures = values(page, place, "lab")
        assert figures == seen["lab"]
        lab = shelf.predict([RECIPE], light=Light(seen["illuminant"], 10)).lab[0]
        np.testing.assert_allclose(figures, lab, atol=1e-4)  # the page has four decimals
        moved = values(page, place, "inconstancy")
        assert moved == ([] if seen["illuminant"] == "D65" else [seen["inconstancy"]])


def test_its_swatches_are_the_colours_that_were_computed(
    written: Path, lamp_shelf: Path, opened: Open
) -> None:
    """Every swatch's pixels are within 1/255 of sRGB by colour-science from the page's Lab."""
    import colour

    page = opened(written).page
    screen = imread(io.BytesIO(page.screenshot(full_page=True)), format="png")
    swatches = page.locator("[data-hex]")
    assert swatches.count() == 2 + 4 * 7 + 4
    check = fewtone.load(lamp_shelf).check(RECIPE, target=TARGET)
    white = 100 * colour.xy_to_XYZ(colour.CCS_ILLUMINANTS["cie_10_1964"]["D65"])
    screen_white = 100 * colour.xy_to_XYZ(colour.CCS_ILLUMINANTS["cie_2_1931"]["D65"])

    def independent(lab: Any) -> Any:
        xyz = colour.Lab_to_XYZ(lab, colour.CCS_ILLUMINANTS["cie_10_1964"]["D65"]) * 100
        adapted = colour.adaptation.chromatic_adaptation_CMCCAT2000(
            xyz, white, screen_white, L_A1=1000, L_A2=1000
        )
        coded = colour.XYZ_to_sRGB(adapted / 100)
        return np.clip(np.asarray(coded) * 255, 0, 255)

    expected = {"target": check.target.lab, "prediction": check.match.lab}  # type: ignore[union-attr]
    compared = 0
    for place in range(swatches.count()):
        each = swatches.nth(place)
        box = each.bounding_box()
        assert box is not None
        which = each.get_attribute("data-swatch")
        # The target is seen at its edge, the prediction in the middle.
        x = box["x"] + (3 if which == "target" else box["width"] / 2)
        y = box["y"] + (3 if which == "target" else box["height"] / 2)
        pixel = 255 * screen[int(y), int(x), :3]
        code = each.get_attribute("data-hex") or ""
        assert np.abs(pixel - list(bytes.fromhex(code[1:]))).max() <= PIXEL_STEP
        lab = expected.get(which or "")
        if lab is None:
            figures: list[str] = each.locator("xpath=..").evaluate(
                "e => [...e.querySelectorAll(\"data[data-field='lab']\")].map(d => d.value)"
            )
            lab = np.array([float(value) for value in figures])
            if each.locator("xpath=..").get_attribute("data-light") not in (None, "D65"):
                continue  # the whites of A and LED are another test's
        assert np.abs(pixel - independent(lab)).max() <= PIXEL_STEP
        compared += 1
    assert compared == 2 + 4 * 7 + 1


def test_it_is_accessible(written: Path, opened: Open) -> None:
    """The checker axe finds nothing: contrast, headings, names of pictures, language."""
    page = opened(written).page
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()
    assert page.locator("html").get_attribute("lang") == "en-GB"
    assert page.locator("h1").count() == 1
    unnamed = page.locator("svg:not([role=img][aria-label])")
    assert unnamed.count() == 0


def test_it_reads_on_a_narrow_screen(written: Path, opened: Open) -> None:
    """On a telephone nothing is cut or scrolls sideways, and pours stand in large figures."""
    page = opened(written).page
    page.set_viewport_size({"width": 390, "height": 800})
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    beyond: list[str] = page.evaluate(
        """() => [...document.querySelectorAll("main *")]
            .filter(e => e.getClientRects().length && e.getBoundingClientRect().right > innerWidth)
            .map(e => e.outerHTML.slice(0, 200))"""
    )
    assert beyond == []
    sizes: list[float] = page.locator(".pours td data").evaluate_all(
        "all => all.map(each => parseFloat(getComputedStyle(each).fontSize))"
    )
    assert min(sizes) >= 24
    assert "4 coats" in page.locator("td.wanted").inner_text()
    assert Axe().run(page).violations_count == 0


def test_coats_are_ticked_off(written: Path, opened: Open) -> None:
    """One box for each coat, large enough for a finger on a telephone, and it takes a tick."""
    page = opened(written).page
    page.set_viewport_size({"width": 390, "height": 800})
    boxes = page.locator(".boxes input")
    assert boxes.count() == 4
    boxes.nth(1).check()
    assert [boxes.nth(place).is_checked() for place in range(4)] == [False, True, False, False]
    box = page.locator(".boxes label").first.bounding_box()
    assert box is not None
    assert box["width"] >= 44
    assert box["height"] >= 30


def pages() -> dict[str, Callable[[Path], Sheet]]:
    """Pages from the emptiest to fuller than any bench's."""

    def plain(folder: Path) -> Sheet:
        return fewtone.load(folder).sheet(RECIPE, target=TARGET)

    def without_target(folder: Path) -> Sheet:
        return fewtone.load(folder).sheet("marigold, 6:1, 2 coats over white", volume="1l")

    def out_of_gamut(folder: Path) -> Sheet:
        return fewtone.load(folder).sheet(
            "lagoon, 4:1, 6 coats over brass", target="#ff0000", area="2m2", extra="10%"
        )

    def formula(folder: Path) -> Sheet:
        line = (
            "41.5 marigold + 22 dusk + 6.5 ash + 5 umber + 4 harbour + 3.25 lagoon + 2 primrose, "
            "6.5:1, 3.5 coats over silver"
        )
        return fewtone.load(folder).sheet(line, target=TARGET, volume="0.3l", by_weight=True)

    def fullest(folder: Path) -> Sheet:
        shelf = fewtone.load(folder)
        grounds = {
            name: Ground(name, "metallic", LONG)
            for name in (f"a-ground-of-a-long-name-{number}" for number in range(9))
        }
        toners = {name: replace(toner, label=LONG) for name, toner in shelf.settings.toners.items()}
        settings = replace(
            shelf.settings,
            name=LONG,
            grounds=grounds,
            toners=toners,
            mixing=replace(shelf.settings.mixing, coats=(1, 14), cup_ml=Decimal(5)),
        )
        curves = replace(
            shelf.curves,
            grounds=tuple(grounds),
            ground_reflectance=np.tile(shelf.curves.ground_reflectance[:1], (9, 1)),
            return_ratio=np.full(9, 0.5),
        )
        parts = " + ".join(f"{10 + i}.25 {name}" for i, name in enumerate(list(toners)[:8]))
        recipe = fewtone.parse(f"{parts}, 7.5:1, 11 coats over a-ground-of-a-long-name-7")
        return sheet(
            curves,
            settings,
            recipe,
            target=shelf.target("#6a5acd"),
            cautions=(LONG * 3, LONG * 2),
            date=datetime.date(2030, 12, 31),
        )

    return {each.__name__: each for each in (plain, without_target, out_of_gamut, formula, fullest)}


@pytest.mark.parametrize("which", list(pages()))
def test_it_prints_on_exactly_one_page(
    which: str, lamp_shelf: Path, opened: Open, tmp_path: Path
) -> None:
    """One page on A4 and on US Letter, with every text inside its box."""
    file = tmp_path / "page.html"
    file.write_text(pages()[which](lamp_shelf).html(), encoding="utf-8")
    page = opened(file).page
    for paper in PAPERS:
        printed = PdfReader(io.BytesIO(page.pdf(format=paper)))
        assert len(printed.pages) == 1, paper
        text = printed.pages[0].extract_text()
        assert "Readings of the sprayed panels" in text
        assert "A swatch is an aid" in text
    page.emulate_media(media="print")
    over: list[str] = page.evaluate(
        """() => [...document.querySelectorAll("main, h1, td, th, p, li, dd, section, figcaption")]
            .filter(e => e.scrollWidth > e.clientWidth + 1 || e.scrollHeight > e.clientHeight + 1)
            .filter(e => getComputedStyle(e).display !== "inline")
            .map(e => e.outerHTML.slice(0, 200))"""
    )
    assert over == []
