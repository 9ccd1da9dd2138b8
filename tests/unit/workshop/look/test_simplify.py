"""Simplification equals brute force, shows what is lost, and knows what is simple already."""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import pytest

from fewtone import parse
from fewtone.colorimetry import Light, delta_e_2000
from fewtone.errors import FewtoneError
from fewtone.io.settings import load_settings
from fewtone.match.result import Match
from fewtone.model.curves import Curves
from fewtone.model.recipe import Recipe
from fewtone.model.target import Target
from fewtone.optics.film import Geometry
from fewtone.prediction.recipes import predict
from fewtone.recipes.evaluate import Aim
from fewtone.recipes.rules import Rules
from fewtone.workshop.look.simplify import OTHER_LIGHTS, Simplification, parse_formula, simplify
from invented import invented_shelf
from lamp_shelf import LAMP_BENCH, lamp_curves
from reference_match import Answer, plain_loop
from reference_minimax import plain_minimax
from shared import sized

CURVES, SHELF = lamp_curves(), load_settings(LAMP_BENCH)
LIGHT = SHELF.measurement.light
FORMULA = "41.5 marigold + 22 dusk + 6.5 ash, 6:1, 3 coats over silver"
FORMULAS = (30, pytest.param(sized(80, 200), marks=pytest.mark.trial))
GROUND_FORMULAS = (12, pytest.param(40, marks=pytest.mark.trial))
ROUNDING = 1e-9  # two ways of adding up the same few float products


def random_formula(rng: np.random.Generator, curves: Curves) -> Recipe:
    """Four to six toners in decimal parts, at any letdown and coats."""
    names = rng.permutation(curves.toners)[: rng.integers(4, 7)]
    return Recipe(
        {str(name): Decimal(str(round(float(rng.uniform(0.5, 60.0)), 1))) for name in names},
        Decimal(str(round(float(rng.uniform(4.0, 12.0)), 1))),
        int(rng.integers(2, 6)),
        str(rng.choice(curves.grounds)),
    )


def lines(result: Simplification) -> Answer:
    """The picks of a simplification as the plain loop gives them."""
    found = result.result
    return Answer(
        simplest=None if found.simplest is None else str(found.simplest.recipe),
        surest=None if found.surest is None else str(found.surest.recipe),
        closest=str(found.closest.recipe),
        trade_off=tuple(str(match.recipe) for match in found.recipes),
        admissible=found.proof.admissible,
    )


@pytest.mark.parametrize("formulas", FORMULAS)
def test_it_equals_brute_force(formulas: int) -> None:
    """On random formulas the picks are those of a plain loop over every recipe."""
    rng = np.random.default_rng(20)
    curves, shelf = invented_shelf(
        20, 7, 3, medium_parts=(6, 8), coats=(2, 4), max_part=3, twins=1, unsure=0.01
    )
    for _ in range(formulas):
        formula = random_formula(rng, curves)
        tolerance = float(rng.choice([0.5, 1.0, 2.0, 5.0]))
        result = simplify(curves, shelf, formula, tolerance=tolerance)
        expected = plain_loop(
            curves,
            shelf,
            predict(curves, [formula], LIGHT).lab[0].tolist(),
            LIGHT,
            toners=curves.toners,
            grounds=[formula.ground],
            medium_parts=(6, 8),
            coats=(2, 4),
            max_part=3,
            max_toners=2,
            tolerance=tolerance,
            top=8,
        )
        assert lines(result) == expected


@pytest.mark.parametrize("formulas", GROUND_FORMULAS)
def test_every_ground_at_once_equals_brute_force(formulas: int) -> None:
    """Over every ground, picks and trade-off are by the worst of them, as a plain loop finds."""
    rng = np.random.default_rng(21)
    curves, shelf = invented_shelf(21, 6, 4, medium_parts=(6, 8), coats=(2, 4), max_part=3)
    for _ in range(formulas):
        formula = random_formula(rng, curves)
        tolerance = float(rng.choice([1.0, 2.0, 5.0]))
        over = [formula.with_(ground=name) for name in curves.grounds]
        aims = [
            Aim(Target((lab[0], lab[1], lab[2]), LIGHT, Geometry.DIRECTIONAL), name)
            for name, lab in zip(
                curves.grounds, predict(curves, over, LIGHT).lab.tolist(), strict=True
            )
        ]
        rules = Rules.of(shelf, max_toners=2, tolerance=tolerance, grounds=(formula.ground,))
        expected = plain_minimax(curves, aims, rules)
        found = simplify(curves, shelf, formula, every_ground=True, tolerance=tolerance).result
        assert [(str(m.recipe), m.de00) for m in found.recipes] == list(expected.trade_off)
        assert (str(found.closest.recipe), found.closest.de00) == expected.closest
        assert (found.simplest and str(found.simplest.recipe)) == (
            expected.simplest and expected.simplest[0]
        )
        assert found.proof.proven
        assert found.proof.admissible == expected.admissible
        assert found.surest is None
        if found.miss is not None:
            worst = max(found.closest.each, key=lambda standing: standing.de00)
            assert found.miss.words.startswith(f"over {worst.name}: ")
            # What is told to help does, by the same worst of the grounds.
            for help_ in found.miss.would_help:
                assert (help_.match.de00 or 0.0) < (found.closest.de00 or 0.0)
                assert help_.rule != "grounds"


def test_what_is_lost_is_told_over_each_ground_and_under_each_light() -> None:
    """Losses are the ΔE00 between formula and recipe there."""
    result = simplify(CURVES, SHELF, parse(FORMULA), max_toners=2)
    formula, recipe = result.formula.recipe, result.result.closest.recipe
    loss = result.losses[recipe]
    assert tuple(loss.grounds) == CURVES.grounds
    for ground, off in loss.grounds.items():
        pair = [formula.with_(ground=ground), recipe.with_(ground=ground)]
        labs = predict(CURVES, pair, LIGHT).lab
        assert off == pytest.approx(float(delta_e_2000(labs[0], labs[1])), abs=ROUNDING)
    assert tuple(loss.lights) == OTHER_LIGHTS == ("D65", "A", "F11", "LED-B3")
    for illuminant, off in loss.lights.items():
        labs = predict(CURVES, [formula, recipe], Light(illuminant, 10)).lab
        assert off == pytest.approx(float(delta_e_2000(labs[0], labs[1])), abs=ROUNDING)
    assert loss.grounds["silver"] == pytest.approx(result.result.closest.de00, abs=1e-6)


@pytest.mark.parametrize("every_ground", [False, True])
def test_no_more_recipes_than_asked_for(every_ground: bool) -> None:
    """`top` cuts the trade-off short, at its simple end."""
    asked: list[tuple[Match, ...]] = [
        simplify(
            CURVES, SHELF, parse(FORMULA), every_ground=every_ground, tolerance=0.01, top=top
        ).result.recipes
        for top in (2, 8)
    ]
    assert len(asked[0]) == 2 < len(asked[1])
    assert [m.recipe for m in asked[0]] == [m.recipe for m in asked[1][:2]]


def test_a_toner_can_be_kept() -> None:
    """Every recipe has the toner that is to be kept."""
    result = simplify(CURVES, SHELF, parse(FORMULA), keep=["ash"]).result
    assert all("ash" in match.recipe.blend for match in (result.closest, *result.recipes))
    everywhere = simplify(CURVES, SHELF, parse(FORMULA), keep=["ash"], every_ground=True).result
    assert all("ash" in match.recipe.blend for match in (everywhere.closest, *everywhere.recipes))


@pytest.mark.parametrize(
    ("formula", "simple"),
    [
        (
            "40 marigold + 20 dusk, 6:1, 4 coats over silver",
            "2 marigold + 1 dusk, 6:1, 4 coats over silver",
        ),
        (
            "66.6 marigold + 33.3 dusk, 6:1, 4 coats over silver",
            "2 marigold + 1 dusk, 6:1, 4 coats over silver",
        ),
        ("12.5 ash, 6.0:1, 4 coats over silver", "1 ash, 6:1, 4 coats over silver"),
        ("41 marigold + 20 dusk, 6:1, 4 coats over silver", None),
        ("2 marigold + 1 dusk, 7:1, 4 coats over silver", None),
        ("2 marigold + 1 dusk, 6:1, 9 coats over silver", None),
        ("2 marigold + 1 dusk + 1 ash, 6:1, 4 coats over silver", None),
    ],
)
def test_what_is_simple_already_is_said(formula: str, simple: str | None) -> None:
    """A formula that is a whole-number recipe in disguise is named as that recipe."""
    result = simplify(CURVES, SHELF, parse(formula))
    assert (result.already_simple and str(result.already_simple)) == simple
    if simple:
        assert result.result.closest.de00 == 0.0


def test_toners_that_do_nothing_are_named() -> None:
    """A trace of a weak toner is told to be one."""
    result = simplify(
        CURVES, SHELF, parse("40 marigold + 20 dusk + 0.1 mist, 6:1, 4 coats over silver")
    )
    assert result.idle == ("mist",)


def test_percentages_read() -> None:
    """Percent signs may stand behind the parts."""
    formula = parse_formula("60% marigold + 30 % dusk + 10% ash, 6:1, 3 coats over silver", SHELF)
    assert formula == parse("60 marigold + 30 dusk + 10 ash, 6:1, 3 coats over silver")


def test_other_grounds_only_where_asked() -> None:
    """Recipes stay over the formula's ground unless others are allowed."""
    own = simplify(CURVES, SHELF, parse(FORMULA)).result
    assert {match.recipe.ground for match in own.recipes} == {"silver"}
    other = simplify(CURVES, SHELF, parse(FORMULA), grounds=["graphite"]).result
    assert {match.recipe.ground for match in other.recipes} == {"graphite"}


@pytest.mark.parametrize("every_ground", [False, True])
def test_names_that_do_not_exist_are_refused(every_ground: bool) -> None:
    """Unknown toners, grounds and kept toners are named."""
    with pytest.raises(FewtoneError, match="'marigold'"):
        simplify(
            CURVES, SHELF, parse("2 marigol, 6:1, 3 coats over silver"), every_ground=every_ground
        )
    with pytest.raises(FewtoneError, match="slver"):
        simplify(CURVES, SHELF, parse(FORMULA), grounds=["slver"], every_ground=every_ground)
    with pytest.raises(FewtoneError, match="umbra"):
        simplify(CURVES, SHELF, parse(FORMULA), keep=["umbra"], every_ground=every_ground)
