"""The lattice of admissible recipes."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from fewtone.recipes.lattice import Lattice, ratios_of
from fewtone.recipes.rules import Rules
from invented import invented_shelf

_, SHELF = invented_shelf(1, 5, 2)


@pytest.mark.parametrize(("size", "max_part"), [(1, 6), (2, 1), (2, 6), (3, 6), (4, 3)])
def test_ratios_are_the_primitive_ones(size: int, max_part: int) -> None:
    """Ratios are all whole parts without a common factor, by rising sum."""
    plain = {
        parts
        for parts in itertools.product(range(1, max_part + 1), repeat=size)
        if math.gcd(*parts) == 1
    }
    ratios = [tuple(int(p) for p in row) for row in ratios_of(size, max_part)]
    assert set(ratios) == plain
    assert len(ratios) == len(plain)
    sums = [sum(row) for row in ratios]
    assert sums == sorted(sums)


def test_the_hard_case_has_the_ratios_that_theory_counts() -> None:
    """Parts up to 6 leave 23 two-toner and 181 three-toner ratios (Möbius inversion by hand)."""
    assert len(ratios_of(2, 6)) == 23
    assert len(ratios_of(3, 6)) == 181


def test_equal_loads_are_one_load_with_several_ways() -> None:
    """2 coats at 5:1 and 3 coats at 8:1 lay down the same film; the key's order ranks them."""
    rules = Rules.of(SHELF, medium_parts=(8, 5), coats=(2, 3))
    loads = Lattice.of(rules).loads
    shared = next(load for load in loads if load.exact == Fraction(1, 3))
    # The shop of this shelf lists 6, 8, 5, 4: 8:1 comes before 5:1.
    assert shared.ways == ((0, 3), (1, 2))
    assert shared.simplest == (0, 3)
    assert shared.most_coats == (0, 3)
    assert [load.exact for load in loads] == sorted(load.exact for load in loads)


def test_strengths_that_lean_on_the_letdown_part_equal_loads() -> None:
    """Toners stronger the further let down: 3 coats at 8:1 come to more than 2 at 5:1."""
    rules = Rules.of(SHELF, medium_parts=(8, 5), coats=(2, 3))
    lattice = Lattice.of(rules, lambda _, m: float((1.0 + m) ** 0.1))
    weak, strong = (load for load in lattice.loads if load.exact == Fraction(1, 3))
    assert (weak.ways, strong.ways) == (((1, 2),), ((0, 3),))
    assert strong.value / weak.value == pytest.approx(1.5**0.1)
    assert np.all(np.diff(lattice.load_values) > 0.0)
    assert lattice.admissible == Lattice.of(rules).admissible


def test_coats_that_get_thinner_part_equal_loads() -> None:
    """Later coats thinner: 3 coats at 8:1 come to less than 2 at 5:1."""
    rules = Rules.of(SHELF, medium_parts=(8, 5), coats=(2, 3))
    loads = Lattice.of(rules, lambda n, _: float(n**-0.1)).loads
    thin, thick = (load for load in loads if load.exact == Fraction(1, 3))
    assert (thin.ways, thick.ways) == (((0, 3),), ((1, 2),))
    assert thin.value / thick.value == pytest.approx(1.5**-0.1)


@pytest.mark.parametrize("max_toners", [1, 2, 3, 9])
@pytest.mark.parametrize("keep", [(), ("toner-03",)])
def test_the_count_is_that_of_a_plain_loop(max_toners: int, keep: tuple[str, ...]) -> None:
    """The number of admissible recipes is exact, and the number of colours is its distinct part."""
    rules = Rules.of(SHELF, max_toners=max_toners, max_part=3, coats=(1, 4), keep=keep)
    seen = [
        (frozenset(zip(names, parts, strict=True)), letdown, coats, ground)
        for size in range(1, min(max_toners, 5) + 1)
        for names in itertools.combinations(rules.toners, size)
        for parts in itertools.product(range(1, 4), repeat=size)
        for letdown in rules.medium_parts
        for coats in range(1, 5)
        for ground in rules.grounds
        if math.gcd(*parts) == 1 and set(keep) <= set(names)
    ]
    lattice = Lattice.of(rules)
    assert lattice.admissible == len(seen)
    colours = {(b, Fraction(c) / (1 + Fraction(m)), g) for b, m, c, g in seen}
    assert lattice.colours == len(colours)


def test_supports_hold_the_toners_that_are_kept() -> None:
    """A toner that must be kept stands in every support."""
    rules = replace(Rules.of(SHELF), keep=("toner-01",))
    supports = Lattice.of(rules).supports(3)
    assert len(supports) == math.comb(4, 2)
    assert (supports == 1).any(axis=1).all()
