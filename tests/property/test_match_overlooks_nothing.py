"""Every recipe within a radius is found: sharper than the picks, which seldom hang on one cut."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from benchmarks.hard_case import hard_shelf, hard_targets
from fewtone.colorimetry import Light
from fewtone.optics.film import Geometry
from fewtone.recipes.evaluate import Evaluator, evaluator_of
from fewtone.recipes.keys import Candidates
from fewtone.recipes.lattice import Lattice
from fewtone.recipes.rules import Rules
from fewtone.search.bounds.exponentials import exponentials_of
from fewtone.search.bounds.haze import HazeRanges
from fewtone.search.bounds.shells import Shells
from fewtone.search.hazy import HazySweep
from fewtone.search.listed import ListedSweep, Lists
from fewtone.search.radius import everything
from fewtone.search.sweep import Sweep, sums_of
from fewtone.typing import FloatArray, IntArray
from invented import invented_shelf, lab_target

LIGHT = Light("D65", 10)


def places(batch: Candidates) -> list[tuple[int, ...]]:
    """Toners, parts, load and ground of each candidate."""
    rows: IntArray = np.column_stack([batch.support, batch.parts, batch.load, batch.ground])
    return [tuple(row) for row in rows.tolist()]


def listing(
    evaluator: Evaluator, lattice: Lattice, supports: IntArray
) -> tuple[list[tuple[int, ...]], FloatArray]:
    """Every candidate of some sets of toners, and its colour."""
    batches = list(everything(lattice, supports))
    labs = [
        evaluator.lab(
            evaluator.fractions(batch.support, batch.parts),
            lattice.load_values[batch.load],
            batch.ground,
        )
        for batch in batches
    ]
    return [place for batch in batches for place in places(batch)], np.concatenate(labs)


def shells_of(evaluator: Evaluator, lattice: Lattice) -> Shells:
    """What makes planes for a shelf."""
    loads = lattice.load_values
    return Shells(exponentials_of(evaluator.films), loads)


# With seed 19 earlier bounds, which drew a weak toner's chord backwards, cut what they must not.
@pytest.mark.parametrize("geometry", list(Geometry))
@pytest.mark.parametrize("seed", [19, pytest.param(101, marks=pytest.mark.trial)])
def test_all_within_a_radius_are_found(seed: int, geometry: Geometry) -> None:
    """Strong and weak toners, thin to thick films, dark and light targets."""
    rng = np.random.default_rng(seed + 10**6)
    weak = int(rng.integers(1, 8))
    curves, shelf = invented_shelf(
        seed, 8, 3, medium_parts=(4, 8, 12), coats=(1, 8), max_part=4, weak=weak, geometry=geometry
    )
    rules = Rules.of(shelf)
    lattice = Lattice.of(rules)
    evaluator = evaluator_of(curves, rules, lab_target((50.0, 0.0, 0.0)))
    shells = shells_of(evaluator, lattice)
    supports = lattice.supports(3)
    listed, lab = listing(evaluator, lattice, supports)
    kinds = sums_of(lattice, 3)
    colours = None
    lists = Lists()
    while colours is None:  # not before it was asked for often enough
        colours = lists.of("all", shells, lattice, supports, np.array(np.nonzero(kinds)))
    darkest = np.argsort(lab[:, 0])[: len(lab) // 10]
    for among in (darkest, darkest, np.arange(len(lab))):
        target = lab[rng.choice(among)] + rng.choice([0, 2]) * rng.standard_normal(3)
        aim = evaluator_of(curves, rules, lab_target(target))
        for radius in (0.5, 4.0, 20.0):
            wanted = np.flatnonzero(aim.difference(lab) <= radius - 1e-6)
            sweep = Sweep(shells, lattice, supports, aim.target_labs, np.full(13, radius))
            rows = [place for part in sweep.candidates() for place in places(part)]
            assert {listed[row] for row in wanted} <= set(rows)
            assert len(rows) == len(set(rows))
            assert len(rows) + sweep.cut.sum() == len(lab)
            out_of_list = ListedSweep(
                colours, shells, lattice, supports, aim.target_labs, np.full(13, radius), kinds
            )
            rows = [place for part in out_of_list.candidates() for place in places(part)]
            assert {listed[row] for row in wanted} <= set(rows)
            assert len(rows) == len(set(rows))
            assert len(rows) + out_of_list.cut.sum() == len(lab)


def test_a_list_holds_each_of_its_own_colours() -> None:
    """Steps of 16 bits are widened by what they round off: asked for itself, no colour is lost."""
    curves, shelf = invented_shelf(7, 4, 2, medium_parts=(2, 4), coats=(2, 8), max_part=3)
    rules = Rules.of(shelf)
    lattice = Lattice.of(rules)
    evaluator = evaluator_of(curves, rules, lab_target((50.0, 0.0, 0.0)))
    shells, supports = shells_of(evaluator, lattice), lattice.supports(2)
    listed, lab = listing(evaluator, lattice, supports)
    kinds, lists, colours = sums_of(lattice, 2), Lists(), None
    while colours is None:
        colours = lists.of("all", shells, lattice, supports, np.array(np.nonzero(kinds)))
    for row in np.argsort(lab[:, 0])[:60]:
        sweep = ListedSweep(
            colours, shells, lattice, supports, lab[row], np.full(kinds.max() + 1, 1e-6), kinds
        )
        found = [place for part in sweep.candidates() for place in places(part)]
        assert listed[row] in found


FORWARDS = 4


@pytest.mark.parametrize("geometry", list(Geometry))
@pytest.mark.parametrize("seed", [3, FORWARDS])
def test_all_hazy_within_a_radius_are_found(seed: int, geometry: Geometry) -> None:
    """Blends with toners that scatter little and much, over more grounds than one table holds."""
    rng = np.random.default_rng(seed)
    curves, shelf = invented_shelf(
        seed, 6, 6, medium_parts=(4, 7, 12), coats=(1, 6), max_part=3, hazy=3, geometry=geometry
    )
    curves = replace(curves, scattering=curves.scattering * np.array([[0.02, 1, 4, 0, 0, 0]]).T)
    if seed == FORWARDS:
        # Haze that scatters forwards, and grounds that send light back slanted.
        ratios = np.append([1.3, 1.5], curves.return_ratio[2:])
        optics = replace(curves.optics, asymmetry=0.8)
        curves = replace(curves, optics=optics, return_ratio=ratios)
    rules = Rules.of(shelf)
    lattice = Lattice.of(rules)
    supports = lattice.supports(3)
    supports = supports[(supports < 3).any(axis=1)]
    evaluator = evaluator_of(curves, rules, lab_target((50.0, 0.0, 0.0)))
    listed, lab = listing(evaluator, lattice, supports)
    ranges = HazeRanges(evaluator.films, lattice.load_values)
    for _ in range(3):
        target = lab[rng.choice(len(lab))] + rng.choice([0, 2]) * rng.standard_normal(3)
        aim = evaluator_of(curves, rules, lab_target(target))
        for radius in (0.5, 4.0, 20.0):
            wanted = np.flatnonzero(aim.difference(lab) <= radius - 1e-6)
            sweep = HazySweep(ranges, lattice, supports, aim.target_labs, np.full(10, radius))
            rows = [place for part in sweep.candidates() for place in places(part)]
            assert {listed[row] for row in wanted} <= set(rows)
            assert len(rows) == len(set(rows))
            assert len(rows) + sweep.cut.sum() == len(lab)
            assert radius > 1.0 or len(rows) < len(lab) / 20


def test_a_recipe_once_overlooked() -> None:
    """On 32 toners a recipe at ΔE00 0.989 was cut by that chord."""
    curves, shelf = hard_shelf(32)
    rules = Rules.of(shelf)
    lattice = Lattice.of(rules)
    evaluator = evaluator_of(curves, rules, lab_target(hard_targets(curves, shelf)[0][1]))
    support = np.array([[5, 7, 20]])
    shells = shells_of(evaluator, lattice)
    sweep = Sweep(shells, lattice, support, evaluator.target_labs, np.full(19, 1.0))
    load, ground = len(lattice.loads) - 1, curves.grounds.index("charcoal")
    found = [place for part in sweep.candidates() for place in places(part)]
    assert (5, 7, 20, 4, 1, 1, load, ground) in found
