"""Batches: order, area, extra, reducer, what rounding does, and what cannot be poured."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest

from fewtone import parse
from fewtone.colorimetry import delta_e_2000
from fewtone.errors import FewtoneError, UsageError
from fewtone.io.settings import load_settings
from fewtone.model.cup import Cup
from fewtone.model.recipe import Recipe
from fewtone.prediction.recipes import predict
from fewtone.report.phrases import alternative_options
from fewtone.workshop.pour.batch import batch
from lamp_shelf import LAMP_BENCH, lamp_curves

CURVES, SHELF = lamp_curves(), load_settings(LAMP_BENCH)
RECIPE = parse("2 marigold + 1 dusk, 6:1, 4 coats over silver")
# Two ways of adding up the same few float products.
ROUNDING = 1e-9


def test_the_weakest_tint_goes_in_first_and_additives_last() -> None:
    """Toners stand by rising peak absorption, then the medium, then the additives."""
    recipe = parse("3 harbour + 2 mist + 1 poppy, 6:1, 4 coats over silver")
    result = batch(CURVES, SHELF, recipe, volume="600ml")
    names = [pour.component for pour in result.pours]
    peaks = [CURVES.absorption[CURVES.toners.index(name)].max() for name in names[:3]]
    assert peaks == sorted(peaks)
    assert names[3:] == ["medium", "reducer"]
    assert list(result.strengths.values()) == pytest.approx(peaks)


def test_the_own_ratio_by_hand() -> None:
    """2:1 at 6:1 on 10 ml lines: 21 lines of paint at least, 10 % reducer on top, by hand."""
    result = batch(CURVES, SHELF, RECIPE, volume="600ml", rounding=0)
    poured = {pour.component: pour.ml for pour in result.pours}
    assert poured == {"marigold": 60, "dusk": 30, "medium": 540, "reducer": 63}
    assert result.total_ml == 693
    assert result.on == "cup lines"
    assert result.overshoot_ml == 93
    assert result.rounding_de00 == 0
    marigold = next(pour for pour in result.pours if pour.component == "marigold")
    assert marigold.grams == Fraction("61.2")
    assert marigold.cost == Fraction("2.46")
    exact, weighed = result.alternatives
    assert (exact.exact, exact.by_weight) == (True, False)
    assert exact.total_ml == 600
    assert (weighed.exact, weighed.by_weight) == (False, True)
    assert 600 <= weighed.total_ml < 640
    assert weighed.rounding_de00 < exact.rounding_de00


def test_the_cost_is_that_of_all_pours() -> None:
    """Litres by their prices, summed by hand; unknown as soon as one of them is."""
    result = batch(CURVES, SHELF, RECIPE, volume="600ml", rounding=0)
    known = {name: toner.price for name, toner in SHELF.toners.items()}
    known |= {"medium": SHELF.medium.price, "reducer": Decimal(3)}
    priced = replace(
        SHELF, additives=tuple(replace(each, price=Decimal(3)) for each in SHELF.additives)
    )
    found = batch(CURVES, priced, RECIPE, volume="600ml", rounding=0).cost
    litres = {pour.component: pour.ml / 1000 for pour in result.pours}
    assert found == sum(litres[name] * Fraction(known[name] or 0) for name in litres)
    unpriced = replace(priced, medium=replace(priced.medium, price=None))
    assert batch(CURVES, unpriced, RECIPE, volume="600ml", rounding=0).cost is None


def test_a_missing_price_is_told_where_others_are_known() -> None:
    """By name; not where all are known, and not where none is."""

    def told(medium: Decimal | None, others: Decimal | None) -> list[str]:
        shelf = replace(
            SHELF,
            medium=replace(SHELF.medium, price=medium),
            toners={n: replace(toner, price=others) for n, toner in SHELF.toners.items()},
            additives=tuple(replace(each, price=others) for each in SHELF.additives),
        )
        found = batch(CURVES, shelf, RECIPE, volume="600ml", rounding=0)
        return [text for text in found.cautions if "No price" in text]

    assert told(Decimal(20), Decimal(40)) == []
    assert told(None, None) == []
    assert told(None, Decimal(40)) == ["No price, so no total cost: medium."]


def test_the_exact_volume_is_offered_where_it_is_another() -> None:
    """Not where the lines give what was wanted, nor where it was asked for, on lines or scale."""
    offered = [
        [
            alternative_options(way)
            for way in batch(
                CURVES, SHELF, RECIPE, volume=volume, exact=exact, by_weight=weighed
            ).alternatives
        ]
        for volume, exact, weighed in (
            ("600ml", False, False),
            ("693ml", False, False),
            ("600ml", True, False),
            ("600ml", False, True),
            ("600ml", True, True),
        )
    ]
    assert offered == [
        ["--exact", "--by-weight"],
        ["--by-weight"],
        ["--exact --by-weight"],
        ["--exact --by-weight"],
        [],
    ]
    assert batch(CURVES, SHELF, RECIPE, volume="600ml", exact=True).on is None


def test_a_ratio_near_what_is_wanted_is_kept() -> None:
    """670 ml are wanted, 693 keep the ratio: within a twentieth, so nothing is rounded."""
    assert batch(CURVES, SHELF, RECIPE, volume="670ml").total_ml == 693


@pytest.mark.parametrize(("volume", "kept"), [("660ml", True), ("659ml", False)])
def test_the_own_ratio_is_kept_for_a_twentieth_and_no_more(volume: str, kept: bool) -> None:
    """The ratio's 693 ml are 1.05 · 660 ml, by hand; below that rounding saves some of them."""
    easy = replace(SHELF, mixing=replace(SHELF.mixing, tolerance=8.0))
    result = batch(CURVES, easy, RECIPE, volume=volume, rounding=2.0)
    assert (result.total_ml == 693) == kept
    assert (result.rounding_de00 == 0) == kept


def test_rounding_buys_a_smaller_batch() -> None:
    """A formula of odd parts: rounded to lines it takes far less than in its own ratio."""
    formula = parse("41.5 peony + 22 poppy + 6.5 ash, 6:1, 4 coats over silver")
    result = batch(CURVES, SHELF, formula, volume="600ml")
    own = batch(CURVES, SHELF, formula, volume="600ml", rounding=0)
    assert 600 <= result.total_ml < own.total_ml / 4
    assert result.on == own.on == "cup lines"
    assert result.rounding_de00 is not None
    assert 0 < result.rounding_de00 <= result.limit_de00 == 0.1


def test_the_limit_is_never_more_than_a_quarter_of_the_tolerance() -> None:
    """Also where less is the default, or more is asked for, which is told."""
    strict = replace(SHELF, mixing=replace(SHELF.mixing, tolerance=0.2))
    assert batch(CURVES, strict, RECIPE, volume="600ml").limit_de00 == 0.05
    result = batch(CURVES, SHELF, RECIPE, volume="600ml", rounding=0.9)
    assert result.limit_de00 == 0.25
    assert any("a quarter of the tolerance" in caution for caution in result.cautions)
    with pytest.raises(UsageError, match="0 or more"):
        batch(CURVES, SHELF, RECIPE, volume="600ml", rounding=-1)


def test_the_fitting_cup_is_named() -> None:
    """The smallest cup that holds the mix; its own marks; a caution where none holds it."""
    cups = tuple(map(Cup.parse, ("1.5l by 10ml", "32floz-us by 1floz-us", "300 ml in 30 parts")))
    shelf = replace(SHELF, mixing=replace(SHELF.mixing, cup_ml=None, cups=cups))
    small = batch(CURVES, shelf, RECIPE, volume="220ml")
    assert str(small.cup) == "300 ml cup"
    assert [pour.lines for pour in small.pours] == [2, 1, 18, Fraction(21, 10)]
    ounces = batch(CURVES, shelf, RECIPE, volume="600ml")
    assert str(ounces.cup) == "32 floz-us cup"
    assert all(pour.lines.denominator == 1 for pour in ounces.pours[:3] if pour.lines)
    assert str(batch(CURVES, shelf, RECIPE, volume="1.2 l").cup) == "1500 ml cup"
    large = batch(CURVES, shelf, RECIPE, volume="4 l")
    assert any("filled 3 times" in caution for caution in large.cautions)


def test_where_no_cup_holds_it_the_least_is_poured() -> None:
    """735 ml of paint are 21 parts of 35 ml, by hand 2 + 1 + 18; in ounces 840 ml would be next."""
    cups = tuple(map(Cup.parse, ("700ml in 20 parts", "32floz-us by 1floz-us")))
    shelf = replace(SHELF, mixing=replace(SHELF.mixing, cup_ml=None, cups=cups))
    twice = batch(CURVES, shelf, RECIPE, volume="800ml")
    assert float(twice.total_ml) == 808.5
    assert [pour.lines for pour in twice.pours][:3] == [2, 1, 18]
    assert any("filled 2 times" in caution for caution in twice.cautions)


def test_a_rest_is_used_up() -> None:
    """120 ml of marigold make 1386 ml, by hand: 120 · 3/2 · 7 · 1.1; the scarcest rest counts."""
    result = batch(CURVES, SHELF, RECIPE, use_up={"Marigold": "120ml"})
    assert result.total_ml == 1386
    assert result.pours[0].ml == 120
    both = batch(CURVES, SHELF, RECIPE, use_up={"marigold": "120ml", "dusk": "20 ml"})
    assert both.total_ml == 462
    assert batch(CURVES, SHELF, RECIPE, use_up={"medium": "540ml"}).total_ml == 693
    with pytest.raises(UsageError, match="'lagoon' is not a component of this recipe"):
        batch(CURVES, SHELF, RECIPE, use_up={"lagoon": "120ml"})
    with pytest.raises(UsageError, match="leave the extra out"):
        batch(CURVES, SHELF, RECIPE, use_up={"dusk": "120ml"}, extra="40ml")


def test_a_rest_is_held_against_what_is_wanted() -> None:
    """20 ml of dusk make 462 ml, by hand: 20 · 3 · 7 · 1.1; that is 38 ml short of half a litre."""
    short = batch(CURVES, SHELF, RECIPE, use_up={"dusk": "20ml"}, volume="0.5l")
    assert short.total_ml == 462
    assert short.overshoot_ml == -38
    assert any("38 ml short" in caution for caution in short.cautions)
    enough = batch(CURVES, SHELF, RECIPE, use_up={"dusk": "20ml"}, volume="400ml")
    assert enough.total_ml == 462
    assert not any("short" in caution for caution in enough.cautions)


def test_area_times_coats_times_paint_per_coat() -> None:
    """1.4 m² in 4 coats at 110 ml is 616 ml; extra comes on top."""
    result = batch(CURVES, SHELF, RECIPE, area="1.4m2", extra="10%", exact=True)
    assert result.wanted_ml == Fraction("677.6") == result.total_ml
    assert result.extra_ml == Fraction("61.6")


@pytest.mark.parametrize("reducer", [10, 0, 60])
def test_what_rounding_does_to_the_colour(reducer: int) -> None:
    """The ΔE00 told is that between the recipe and the recipe of what is really poured."""
    result = batch(CURVES, SHELF, RECIPE, volume="600ml", exact=True, reducer=f"{reducer}%")
    poured = {pour.component: pour.ml for pour in result.rounded}
    assert all(ml % 10 == 0 for ml in poured.values())
    blend = {name: int(poured[name]) for name in RECIPE.blend}
    rest = poured["medium"] + poured.get("reducer", 0)
    # Additives count as what they usually are; the rest of the cup is letdown.
    usual = Fraction(11, 10)
    whole = (sum(blend.values()) + rest) / usual
    parts = Decimal(float(whole / sum(blend.values()) - 1))
    real = Recipe(blend, parts, RECIPE.coats, RECIPE.ground)
    light = SHELF.measurement.light
    asked = predict(CURVES, [RECIPE], light, build=110 / (100 + reducer)).lab[0]
    made = predict(CURVES, [real], light).lab[0]
    assert result.rounding_de00 == pytest.approx(float(delta_e_2000(asked, made)), abs=ROUNDING)


def test_more_reducer_weakens_a_coat() -> None:
    """15 % instead of 10 % scales the film by 1.10/1.15, in colour and in coats."""
    result = batch(CURVES, SHELF, RECIPE, volume="600ml", reducer="15%", exact=True)
    effect = result.reducer
    assert effect is not None
    assert effect.strength == Fraction(110, 115)
    assert effect.coats_needed == 4 / effect.strength
    thinner = predict(CURVES, [RECIPE], SHELF.measurement.light, build=110 / 115).lab[0]
    assert np.allclose(effect.lab, thinner, atol=ROUNDING)
    assert effect.lab[0] > predict(CURVES, [RECIPE], SHELF.measurement.light).lab[0, 0]
    reducer = next(pour for pour in result.pours if pour.component == "reducer")
    assert reducer.ml == 600 * Fraction(15, 115)


@pytest.mark.parametrize("coats", [1, 2, 4, 9])
@pytest.mark.parametrize("percent", [0, 5, 15, 40, 60, 120])
@pytest.mark.parametrize("thinner", [0.0, 0.1])
def test_the_whole_coats_come_nearest(coats: int, percent: int, thinner: float) -> None:
    """Of all numbers of coats that are sprayed at that thinning, one by one."""
    recipe, curves = RECIPE.with_(coats=coats), replace(CURVES, thinning=thinner)
    effect = batch(curves, SHELF, recipe, volume="600ml", reducer=f"{percent}%").reducer
    assert effect is not None
    light = SHELF.measurement.light
    asked = predict(curves, [recipe], light).lab[0]
    strength = 110 / (100 + percent)
    labs = [
        predict(curves, [recipe.with_(coats=count)], light, build=strength).lab[0]
        for count in range(1, 31)
    ]
    same = predict(
        curves,
        [recipe.with_(coats=Decimal(str(float(effect.coats_needed))))],
        light,
        build=strength,
    )
    np.testing.assert_allclose(same.lab[0], asked, atol=ROUNDING)
    off = delta_e_2000(np.array(labs), asked)
    assert effect.whole_coats == 1 + int(np.argmin(off))
    assert effect.whole_coats_de00 == pytest.approx(float(off.min()), abs=ROUNDING)
    assert effect.de00 == pytest.approx(float(off[coats - 1]), abs=ROUNDING)


def test_the_usual_reducer_changes_nothing() -> None:
    """Asking for the house's own share says nothing about it."""
    assert batch(CURVES, SHELF, RECIPE, volume="600ml", reducer="10").reducer is None


def test_without_a_cup_line_the_volume_is_exact() -> None:
    """A shelf that does not say what its cup shows gets the exact volume and is told."""
    shelf = replace(SHELF, mixing=replace(SHELF.mixing, cup_ml=None))
    result = batch(CURVES, shelf, RECIPE, volume="600ml")
    assert result.total_ml == 600
    assert result.on is None
    assert result.rounding_de00 is None
    assert any("cup_ml" in caution for caution in result.cautions)


def test_less_than_half_a_line_is_told() -> None:
    """A toner that would round to nothing is named."""
    result = batch(CURVES, SHELF, RECIPE, volume="60ml", exact=True)
    assert any("less than half a step" in caution for caution in result.cautions)


def test_a_toner_out_of_stock_is_told_and_still_answered() -> None:
    """Stock is a caution, not an error."""
    toners = dict(SHELF.toners)
    toners["dusk"] = replace(toners["dusk"], in_stock=False)
    result = batch(CURVES, replace(SHELF, toners=toners), RECIPE, volume="600ml")
    assert "dusk is not in stock." in result.cautions


def test_a_missing_density_leaves_grams_out() -> None:
    """Without a density there are no grams from there on, and by weight there is no batch."""
    toners = dict(SHELF.toners)
    toners["dusk"] = replace(toners["dusk"], density=None)
    shelf = replace(SHELF, toners=toners)
    result = batch(CURVES, shelf, RECIPE, volume="600ml")
    by_name = {pour.component: pour for pour in result.pours}
    assert by_name["dusk"].grams is None
    assert by_name["marigold"].running_grams is not None
    assert by_name["medium"].running_grams is None
    assert result.total_grams is None
    with pytest.raises(FewtoneError, match="the density of dusk"):
        batch(CURVES, shelf, RECIPE, volume="600ml", by_weight=True)


def test_an_area_without_paint_per_coat_says_how_to_measure_it() -> None:
    """ml_per_m2 missing: the fix tells how to come by it."""
    shelf = replace(SHELF, mixing=replace(SHELF.mixing, ml_per_m2=None))
    with pytest.raises(FewtoneError) as caught:
        batch(CURVES, shelf, RECIPE, area="1.4m2")
    assert "spray one coat on a panel of known area" in (caught.value.faults[0].fix or "")


@pytest.mark.parametrize(
    ("how", "words"),
    [
        ({}, "how much to mix"),
        ({"volume": "600ml", "area": "1m2"}, "how much to mix"),
        ({"area": "1.4 acre"}, "is not known"),
    ],
)
def test_unclear_requests_are_refused(how: dict[str, str], words: str) -> None:
    """One of volume and area, and one way of landing on lines."""
    with pytest.raises(UsageError, match=words):
        batch(CURVES, SHELF, RECIPE, **how)  # type: ignore[arg-type]


def test_no_coats_cover_no_area() -> None:
    """An area needs coats."""
    with pytest.raises(UsageError, match="covers no area"):
        batch(CURVES, SHELF, RECIPE.with_(coats=0), area="1m2")


def test_names_that_the_shelf_does_not_have() -> None:
    """Unknown toners and grounds are all named, with the likely one."""
    with pytest.raises(FewtoneError) as caught:
        batch(CURVES, SHELF, parse("2 marigol + 1 dusk, 6:1, 4 coats over slver"), volume="1l")
    assert len(caught.value.faults) == 2
    assert "'marigold'" in caught.value.faults[0].message
    assert "'silver'" in caught.value.faults[1].message


def test_a_toner_not_learnt_is_named() -> None:
    """A toner of shelf.toml without curves cannot be put in order of strength."""
    curves = replace(CURVES, toners=("other", *CURVES.toners[1:]))
    with pytest.raises(FewtoneError, match="'primrose' is on the shelf but not learnt"):
        batch(curves, SHELF, parse("primrose, 6:1, 4 coats over silver"), volume="1l")


def test_a_reducer_that_shelf_toml_does_not_list() -> None:
    """Reducer may be added where the house adds none; its density is then not known."""
    result = batch(
        CURVES, replace(SHELF, additives=()), RECIPE, volume="630ml", reducer="15%", exact=True
    )
    assert result.pours[-1].component == "reducer"
    assert any("lists no reducer" in caution for caution in result.cautions)
    assert result.reducer is not None
    assert result.reducer.strength == Fraction(100, 115)


def test_what_a_scale_needs_is_told() -> None:
    """The scale, a density, or both: what shelf.toml lacks and no more."""

    def told(scale: Decimal | None, density: Decimal | None) -> str:
        shelf = replace(
            SHELF,
            mixing=replace(SHELF.mixing, scale_g=scale),
            medium=replace(SHELF.medium, density=density),
        )
        with pytest.raises(FewtoneError) as caught:
            batch(CURVES, shelf, RECIPE, volume="600ml", by_weight=True)
        return str(caught.value)

    assert "needs mixing.scale_g." in told(None, Decimal("0.98"))
    assert "needs the density of medium." in told(Decimal("0.1"), None)
    assert "needs mixing.scale_g, the density of medium." in told(None, None)


def test_no_area_is_no_square_metre() -> None:
    """An area of 0 is refused, and never taken for one that was left out."""
    with pytest.raises(FewtoneError):
        batch(CURVES, SHELF, RECIPE, area=0)
