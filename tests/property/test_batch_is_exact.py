"""Batch arithmetic, for any recipe and any volume: nothing is lost, ratios stay what they are."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from itertools import accumulate, product
from math import isclose
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from fewtone.colorimetry import delta_e_2000
from fewtone.model.blend import Number
from fewtone.model.recipe import Recipe
from fewtone.model.shelf import Additive, Medium, ShelfSettings
from fewtone.prediction.recipes import predict
from fewtone.report.json import batch_document
from fewtone.workshop.pour.batch import Batch, batch
from fewtone.workshop.pour.pours import smallest_on_steps, to_running_steps
from invented import invented_shelf

CURVES, PLAIN = invented_shelf(5, 5, 2)
CUPS = (Decimal(1), Decimal("2.5"), Decimal(5), Decimal(10))
DENSITIES = (Decimal("0.87"), Decimal("0.98"), Decimal(1), Decimal("1.03"))

whole_parts = st.dictionaries(
    st.sampled_from(CURVES.toners), st.integers(1, 9), min_size=1, max_size=4
)
decimal_parts = st.dictionaries(
    st.sampled_from(CURVES.toners), st.decimals("0.5", "60", places=1), min_size=1, max_size=4
)
volumes = st.integers(10, 5000)


@st.composite
def shelves(draw: st.DrawFn) -> ShelfSettings:
    """The invented shelf with a cup, a scale, densities and additives of its own."""
    mixing = replace(PLAIN.mixing, cup_ml=draw(st.sampled_from(CUPS)), scale_g=Decimal("0.1"))
    reducer = draw(st.sampled_from([Decimal(0), Decimal(5), Decimal(10), Decimal("12.5")]))
    density = st.sampled_from(DENSITIES)
    return replace(
        PLAIN,
        mixing=mixing,
        medium=Medium("Medium", draw(density)),
        toners={n: replace(t, density=draw(density)) for n, t in PLAIN.toners.items()},
        additives=(Additive("reducer", reducer, draw(density)),) if reducer else (),
    )


def mixed(shelf: ShelfSettings, parts: dict[str, Number], m: int, ml: int, **how: Any) -> Batch:
    """The batch of a blend, let down m:1, for a volume in ml."""
    recipe = Recipe(parts, m, 4, CURVES.grounds[0])
    return batch(CURVES, shelf, recipe, volume=f"{ml} ml", **how)


@settings(max_examples=60, deadline=None)
@given(shelves(), whole_parts, st.integers(0, 12), volumes)
def test_the_own_ratio_lands_on_lines(
    shelf: ShelfSettings, parts: dict[str, Number], m: int, ml: int
) -> None:
    """With no rounding allowed, pours land on lines in the recipe's ratio and sum to the total."""
    result = mixed(shelf, parts, m, ml, rounding=0)
    cup = Fraction(shelf.mixing.cup_ml or 0)
    poured = {pour.component: pour.ml for pour in result.pours}
    made = {name: volume for name, volume in poured.items() if name != "reducer"}
    assert all((volume / cup).denominator == 1 for volume in made.values())
    assert sum(poured.values()) == result.total_ml == result.pours[-1].running_ml
    assert [p.running_ml for p in result.pours] == list(accumulate(p.ml for p in result.pours))
    first = next(iter(parts))
    for name, part in parts.items():
        assert poured[name] * Fraction(parts[first]) == poured[first] * Fraction(part)
    toner_ml = sum(poured[name] for name in parts)
    assert poured.get("medium", 0) == m * toner_ml
    for additive in shelf.additives:
        assert poured[additive.name] == Fraction(additive.percent) / 100 * (1 + m) * toner_ml
    assert result.rounding_de00 == 0.0


@settings(max_examples=60, deadline=None)
@given(shelves(), whole_parts, st.integers(0, 12), volumes)
def test_no_smaller_batch_has_the_own_ratio_on_lines(
    shelf: ShelfSettings, parts: dict[str, Number], m: int, ml: int
) -> None:
    """Counting lines one by one from the wanted volume finds no smaller batch."""
    cup = Fraction(shelf.mixing.cup_ml or 0)
    whole = Fraction(sum(parts.values()))
    shares = [Fraction(part) / whole for part in parts.values()] + ([Fraction(m)] if m else [])
    loose = 1 + sum((Fraction(a.percent) / 100 for a in shelf.additives), Fraction(0))
    step = 0
    while True:
        blend_ml = cup * step / sum(shares)
        if cup * step * loose >= ml and all((s * blend_ml / cup).denominator == 1 for s in shares):
            break
        step += 1
    assert mixed(shelf, parts, m, ml, rounding=0).total_ml == cup * step * loose


@settings(max_examples=60, deadline=None)
@given(shelves(), whole_parts, st.integers(0, 12), volumes)
def test_the_default_lands_on_lines_within_its_limit(
    shelf: ShelfSettings, parts: dict[str, Number], m: int, ml: int
) -> None:
    """At or above the volume, on lines, never dearer than told, and told by another route."""
    result = mixed(shelf, parts, m, ml)
    cup = Fraction(shelf.mixing.cup_ml or 0)
    assert result.total_ml >= ml
    assert result.total_ml == sum(pour.ml for pour in result.pours)
    if result.on is None:  # nothing near was within the limit, and it says so
        return
    poured = {pour.component: pour.ml for pour in result.pours}
    assert all((v / cup).denominator == 1 for n, v in poured.items() if n != "reducer")
    assert result.rounding_de00 is not None
    assert result.rounding_de00 <= result.limit_de00
    assert result.total_ml <= max(
        mixed(shelf, parts, m, ml, rounding=0).total_ml, Fraction(105, 100) * ml
    )
    assert isclose(cost_of(poured, parts, m), result.rounding_de00, abs_tol=1e-6)


@settings(max_examples=25, deadline=None)
@given(whole_parts.filter(lambda parts: len(parts) <= 2), st.integers(1, 8), st.integers(30, 300))
def test_nothing_smaller_is_within_the_limit(parts: dict[str, Number], m: int, ml: int) -> None:
    """Every way to split every smaller number of lines next to the exact amounts costs more."""
    shelf = replace(PLAIN, mixing=replace(PLAIN.mixing, cup_ml=Decimal(5)))
    result = mixed(shelf, parts, m, ml)
    own = mixed(shelf, parts, m, ml, rounding=0).total_ml
    if result.on is None or own <= Fraction(105, 100) * ml:
        return
    whole = sum(Fraction(part) for part in parts.values())
    for lines in range(-(-ml // 5), int(result.total_ml / 5)):
        ideal = {n: Fraction(p) / whole / (1 + m) * lines for n, p in parts.items()}
        near = [{max(1, int(value)), int(value) + 1} for value in ideal.values()]
        for counts in product(*near):
            if (rest := lines - sum(counts)) >= 1:
                poured = {n: Fraction(5 * c) for n, c in zip(parts, counts, strict=True)}
                poured["medium"] = Fraction(5 * rest)
                assert cost_of(poured, parts, m) > result.limit_de00


def cost_of(poured: dict[str, Fraction], parts: dict[str, Number], m: int) -> float:
    """ΔE00 between the recipe and the recipe that was really poured, each predicted as a recipe."""
    toners = {name: poured[name] for name in parts}
    blend = {name: Decimal(float(volume)) for name, volume in toners.items()}
    medium = Decimal(float(poured.get("medium", Fraction(0)) / sum(toners.values())))
    ground = CURVES.grounds[0]
    lines = [Recipe(parts, m, 4, ground), Recipe(blend, medium, 4, ground)]
    labs = predict(CURVES, lines, PLAIN.measurement.light).lab
    return float(delta_e_2000(labs[0], labs[1]))


@settings(max_examples=60, deadline=None)
@given(shelves(), decimal_parts, st.integers(1, 12), volumes)
def test_the_exact_volume_is_exact(
    shelf: ShelfSettings, parts: dict[str, Number], m: int, ml: int
) -> None:
    """The exact volume is met exactly, in volume as in weight, also as printed in JSON."""
    result = mixed(shelf, parts, m, ml, exact=True)
    assert result.total_ml == sum(pour.ml for pour in result.pours) == ml
    assert result.total_grams == sum(pour.grams or 0 for pour in result.pours)
    document = batch_document(result)
    printed = [Decimal(str(pour["ml"])) for pour in document["pours"]]
    assert sum(printed) == Decimal(str(document["total_ml"]))
    weights = [Decimal(str(pour["grams"])) for pour in document["pours"]]
    assert sum(weights) == Decimal(str(document["total_grams"]))


@settings(max_examples=60, deadline=None)
@given(shelves(), whole_parts, st.integers(1, 12), volumes)
def test_by_weight_lands_on_the_scale(
    shelf: ShelfSettings, parts: dict[str, Number], m: int, ml: int
) -> None:
    """By weight, every pour is a whole number of tenths of a gram, at or above the volume."""
    result = mixed(shelf, parts, m, ml, by_weight=True)
    assert all(
        pour.grams is not None and (pour.grams * 10).denominator == 1
        for pour in result.pours
        if pour.component != "reducer"
    )
    assert (result.rounding_de00 or 0) <= result.limit_de00
    assert result.total_ml >= ml
    for pour in result.pours:
        toner = shelf.toners.get(pour.component)
        if toner and toner.density:
            assert pour.grams == pour.ml * Fraction(toner.density)


@given(
    st.lists(
        st.fractions(min_value="1/50", max_value=1, max_denominator=50), min_size=1, max_size=5
    ),
    st.fractions(min_value="1/10", max_value=20, max_denominator=10),
)
def test_running_totals_are_right_to_half_a_step(amounts: list[Fraction], step: Fraction) -> None:
    """However many pours, the cup is never more than half a step from where it should be."""
    scaled = [amount * 100 for amount in amounts]
    taken = to_running_steps(scaled, step)
    for meant, poured in zip(accumulate(scaled), accumulate(taken), strict=True):
        assert abs(meant - poured) <= step / 2
        assert (poured / step).denominator == 1


@given(st.integers(1, 400))
def test_a_multiple_of_the_unit_is_kept(count: int) -> None:
    """A volume that lands on the lines already is not enlarged."""
    shares = [Fraction(2, 21), Fraction(1, 21), Fraction(18, 21)]
    assert smallest_on_steps(shares, Fraction(10), Fraction(210 * count)) == 210 * count
    assert smallest_on_steps(shares, Fraction(10), Fraction(210 * count - 1)) == 210 * count
    assert isclose(
        float(smallest_on_steps(shares, Fraction(10), Fraction(210 * count + 1))), 210 * (count + 1)
    )
