"""The picture of a shelf: its reach, its residuals, and that it draws whatever there is."""

from __future__ import annotations

import io
import sys
from dataclasses import replace
from decimal import Decimal
from xml.etree import ElementTree

import numpy as np
import pytest
from matplotlib.image import imread

import fewtone
from fewtone import FewtoneError, Shelf
from fewtone.colorimetry import Light, delta_e_2000
from fewtone.io.readings import load_readings
from fewtone.model.curves import Curves
from fewtone.model.readings import Readings
from fewtone.model.uncertainty import Uncertainty
from fewtone.report.pictures import PictureKind, reach, residuals, shelf_picture
from fewtone.report.swatches import swatch
from lamp_shelf import write_lamp_shelf

LIGHT = Light("D65", 10)
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def shelf(tmp_path_factory: pytest.TempPathFactory) -> Shelf:
    """A learnt lamp bench."""
    return fewtone.load(write_lamp_shelf(tmp_path_factory.mktemp("pictures") / "lamp-bench"))


@pytest.fixture(scope="module")
def readings(shelf: Shelf) -> Readings:
    """Its readings."""
    return load_readings(shelf.folder, shelf.settings)


def test_no_recipe_reaches_much_farther(shelf: Shelf) -> None:
    """In each sector of hue, pairs at the shop's rules keep within the outline, or close to it."""
    a_star, b_star = reach(shelf.settings, shelf.curves, "silver", LIGHT)
    generator = np.random.default_rng(6)
    names = list(shelf.curves.toners)
    lines = []
    for _ in range(300):
        one, other = generator.choice(names, 2, replace=False)
        parts = generator.integers(1, 5, 2)
        letdown, coats = generator.choice([4, 5, 6, 8]), generator.integers(2, 7)
        lines.append(
            f"{parts[0]} {one} + {parts[1]} {other}, {letdown}:1, {coats} coats over silver"
        )
    lab = shelf.predict(lines).lab
    sector = (np.degrees(np.arctan2(lab[:, 2], lab[:, 1])) % 360 // 10).astype(int)
    farthest = np.hypot(a_star, b_star)[sector]
    # Shares and loads between those that the outline is drawn from may stand out a little.
    slack = 6.0
    assert (np.hypot(lab[:, 1], lab[:, 2]) <= farthest + slack).all()


def test_the_reach_is_of_colours_that_are_there(shelf: Shelf) -> None:
    """Every point of the outline has the hue of its sector."""
    a_star, b_star = reach(shelf.settings, shelf.curves, "white", LIGHT)
    hue = np.degrees(np.arctan2(b_star, a_star)) % 360
    reached = np.hypot(a_star, b_star) > 0
    assert reached.sum() > 30
    assert (hue[reached] // 10 == np.flatnonzero(reached)).all()


def test_what_is_not_in_stock_reaches_nothing(shelf: Shelf) -> None:
    """An empty shelf's outline is the grey axis."""
    toners = {name: replace(toner, in_stock=False) for name, toner in shelf.settings.toners.items()}
    only = {**toners, "ash": replace(toners["ash"], in_stock=True)}
    a_star, b_star = reach(replace(shelf.settings, toners=only), shelf.curves, "white", LIGHT)
    lone = shelf.predict([f"ash, 6:1, {coats} coats over white" for coats in range(2, 7)]).lab
    assert np.hypot(a_star, b_star).max() <= np.hypot(lone[:, 1], lone[:, 2]).max() + 0.5


def test_residuals_are_readings_against_predict(shelf: Shelf, readings: Readings) -> None:
    """Each is the ΔE00 between what was read and what `predict` says for the panel as sprayed."""
    found = residuals(shelf.settings, shelf.curves, readings)
    assert len(found) == len(readings.items)
    compared = 0
    for each in found:
        reading = each.reading
        if reading.is_bare or reading.lab is None or LIGHT not in reading.lab:
            continue
        parts = " + ".join(f"{part} {name}" for name, part in reading.blend.items())
        line = f"{parts}, {reading.medium_parts}:1, {reading.coats} coats over {reading.ground}"
        expected = delta_e_2000(shelf.predict([line]).lab[0], np.array(reading.lab[LIGHT]))
        assert each.de00 == pytest.approx(float(expected), abs=1e-9)
        compared += 1
    assert compared or all(reading.reflectance is not None for reading in readings.items)


def test_readings_are_of_the_bottles_that_were_learnt(shelf: Shelf, readings: Readings) -> None:
    """A stronger bottle in use does not move what the readings are held against."""
    toner = replace(shelf.settings.toners["marigold"], strength=Decimal("1.25"))
    settings = replace(shelf.settings, toners={**shelf.settings.toners, "marigold": toner})
    strong = shelf.curves.with_strengths(settings.strengths)
    for one, other in zip(
        residuals(settings, strong, readings),
        residuals(shelf.settings, shelf.curves, readings),
        strict=True,
    ):
        assert one.de00 == pytest.approx(other.de00, abs=1e-9)


def test_what_was_not_learnt_has_no_residual(shelf: Shelf, readings: Readings) -> None:
    """Readings of toners or grounds without curves are left out, not guessed."""
    curves = replace(shelf.curves, toners=tuple(f"other-{name}" for name in shelf.curves.toners))
    found = residuals(shelf.settings, curves, readings)
    assert all(each.reading.is_bare or not each.reading.blend for each in found)


def test_it_is_an_svg_that_says_what_it_is(shelf: Shelf) -> None:
    """The file is well-formed and titled, and asks for nothing from elsewhere."""
    drawn = shelf.picture("svg")
    root = ElementTree.fromstring(drawn)
    assert root.tag == f"{SVG}svg"
    assert b"A shelf of toners" in drawn
    links = [
        value
        for element in root.iter()
        for name, value in element.attrib.items()
        if name.endswith("href")
    ]
    assert all(link.startswith(("#", "data:image/png")) for link in links)
    assert not list(root.iter(f"{SVG}script"))


def test_its_swatches_are_those_of_the_rule(shelf: Shelf) -> None:
    """The PNG holds the very colour of each toner at 1 to 6 coats over each ground."""
    pixels = imread(io.BytesIO(shelf.picture("png")), format="png")
    there = {tuple(each) for each in np.rint(255 * pixels[..., :3]).astype(int).reshape(-1, 3)}
    for name in shelf.curves.toners:
        for ground in shelf.curves.grounds:
            for coats in (1, 3, 6):
                lab = shelf.predict([f"{name}, 6:1, {coats} coats over {ground}"]).lab[0]
                assert swatch(lab, LIGHT).rgb in there, (name, ground, coats)


def test_a_band_is_drawn_where_it_is_known(shelf: Shelf, readings: Readings) -> None:
    """A standard deviation of the curves shows as a grey band about each."""
    known = shelf.curves
    sure = Uncertainty(
        absorption=0.1 * known.absorption[np.newaxis],
        scattering=np.zeros((1, *known.absorption.shape)),
        ground_reflectance=np.zeros((1, *known.ground_reflectance.shape)),
        return_ratio=np.zeros((1, len(known.grounds))),
        model_sd=0.06,
    )
    without, banded = (
        shelf_picture(shelf.settings, curves, readings, PictureKind.SVG)
        for curves in (replace(known, uncertainty=None), replace(known, uncertainty=sure))
    )
    assert b"#c9c9c4" not in without
    assert banded.count(b"#c9c9c4") >= len(shelf.curves.toners)


def test_a_shelf_of_one_toner_and_no_readings_draws(shelf: Shelf) -> None:
    """Little is drawn as little."""
    whole = shelf.curves
    curves = Curves(
        wavelength_nm=whole.wavelength_nm,
        toners=whole.toners[:1],
        absorption=whole.absorption[:1],
        grounds=whole.grounds[:1],
        ground_reflectance=whole.ground_reflectance[:1],
        return_ratio=whole.return_ratio[:1],
        optics=whole.optics,
    )
    assert shelf_picture(shelf.settings, curves, Readings(()), PictureKind.PNG)


def test_a_missing_library_is_told(shelf: Shelf, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without Matplotlib the message says how to get it."""
    monkeypatch.setitem(sys.modules, "matplotlib", None)
    with pytest.raises(FewtoneError) as caught:
        shelf.picture()
    assert "fewtone[pictures]" in (caught.value.faults[0].fix or "")
