"""The reach against the exact search, a closed form, and its picture."""

from __future__ import annotations

from xml.etree import ElementTree

import numpy as np
import pytest

from fewtone.colorimetry import Light
from fewtone.errors import UsageError
from fewtone.match.search import search
from fewtone.model.recipe import parse
from fewtone.prediction.recipes import predict
from fewtone.recipes.rules import Rules
from fewtone.report.reach_chart import reach_svg
from fewtone.workshop.look.reach import LEVELS, reach
from invented import invented_shelf, lab_target

LIGHT = Light("D65", 10)
CURVES, SETTINGS = invented_shelf(7, 6, 3, coats=(1, 6))
RULES = Rules.of(SETTINGS, max_toners=3, max_part=4)
# Farther than this from every recipe no colour may lie inside: outlines hold to 1.25 L*, and go
# straight past what lies within 15 degrees.
FAR = 6.0


def test_what_recipes_make_lies_inside_and_what_none_comes_near_lies_outside() -> None:
    """Colours of recipes of three toners, and colours that the exact search cannot come near."""
    rng = np.random.default_rng(11)
    lines = []
    for _ in range(60):
        names = rng.choice(len(CURVES.toners), 3, replace=False)
        parts = rng.integers(1, 4, 3)
        blend = " + ".join(f"{p} toner-{n:02d}" for p, n in zip(parts, names, strict=True))
        lines.append(f"{blend}, 6:1, {rng.integers(2, 6)} coats over white")
    made = predict(CURVES, [parse(line) for line in lines], LIGHT).lab
    made = made[(made[:, 0] > 12.0)]
    wanted = [lab_target(lab, LIGHT) for lab in made]
    found = reach(CURVES, RULES, LIGHT, swatches=wanted)
    within = np.array(["white" in placed.grounds for placed in found.swatches])
    assert within.mean() > 0.9

    away = rng.uniform([20.0, -80.0, -80.0], [80.0, 80.0, 80.0], (40, 3))
    placed = reach(CURVES, RULES, LIGHT, swatches=[lab_target(lab, LIGHT) for lab in away]).swatches
    off = [search(CURVES, SETTINGS, each.target, RULES).closest.de00 or 0.0 for each in placed]
    for each, distance in zip(placed, off, strict=True):
        if distance > FAR:
            assert not each.is_inside, each.target.lab
    assert any(each.is_inside for each in placed)
    assert any(distance > FAR for distance in off)


def test_an_outline_holds_what_a_toner_alone_makes_at_that_lightness() -> None:
    """A toner's own path, cut where it has that L*, is within the outline or on it."""
    (white, *_) = reach(CURVES, RULES, LIGHT).grounds
    assert white.ground == "white"
    path = predict(
        CURVES,
        [parse(f"toner-00, 6:1, {coats / 20} coats over white") for coats in range(20, 140)],
        LIGHT,
    ).lab
    for outline in white.outlines:
        if path[:, 0].min() < outline.lightness < path[:, 0].max():
            at = np.array(
                [np.interp(outline.lightness, path[::-1, 0], path[::-1, k]) for k in (1, 2)]
            )
            middle = outline.corners.mean(axis=0)
            outwards = (outline.corners - middle) @ (at - middle) / np.linalg.norm(at - middle)
            assert np.linalg.norm(at - middle) <= outwards.max() + 1.0


def test_keyed_grounds_are_followed_too() -> None:
    """Three pairs in three ratios, each with a span of lightness between its parents'."""
    keyed = Rules.of(SETTINGS, keyed=True)
    found = {each.ground: each for each in reach(CURVES, keyed, LIGHT).grounds}
    assert sum(each.keyed for each in found.values()) == 9
    mix = found["1 charcoal + 1 white"]
    assert found["charcoal"].lightest < mix.lightest < found["white"].lightest
    assert {outline.lightness for outline in mix.outlines} <= set(LEVELS)


def test_a_colour_in_another_light_is_refused() -> None:
    """Outlines hold in one light."""
    target = lab_target((50.0, 0.0, 0.0), Light("A", 10))
    with pytest.raises(UsageError, match="is in A/10, the reach in D65/10"):
        reach(CURVES, RULES, LIGHT, target=target)


def test_the_picture_draws_each_outline_and_the_target_once() -> None:
    """Well-formed, a polygon for each outline, the cross once in a plane and once in the legend."""
    target = lab_target((41.0, 10.0, 5.0), LIGHT)
    found = reach(CURVES, Rules.of(SETTINGS, keyed=True), LIGHT, target=target)
    drawn = ElementTree.fromstring(reach_svg(found))
    name = "{http://www.w3.org/2000/svg}"
    polygons = list(drawn.iter(f"{name}polygon"))
    assert len(polygons) == sum(len(each.outlines) for each in found.grounds)
    titles = {polygon.find(f"{name}title").text for polygon in polygons}  # type: ignore[union-attr]
    assert titles == {each.ground for each in found.grounds if each.outlines}
    assert sum(path.get("stroke") == "#c00000" for path in drawn.iter(f"{name}path")) == 2
