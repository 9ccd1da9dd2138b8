"""Tables of films that scatter: no film lies outside the ends that they give for it."""

from __future__ import annotations

import numpy as np
import pytest

from fewtone.colorimetry import Light, weights, white_point
from fewtone.optics.film import Geometry
from fewtone.optics.ranges import SHARE_STEPS
from fewtone.recipes.evaluate import evaluator_of
from fewtone.recipes.lattice import Lattice
from fewtone.recipes.rules import Rules
from fewtone.search.bounds.haze import GROUP, HazeRanges, HazeTable
from fewtone.typing import FloatArray
from invented import invented_shelf, lab_target

LIGHT = Light("D65", 10)
WAVES, DEPTHS, GROUNDS = 3, 4 * GROUP, 2
# Sums of numbers of 32 bits, and what the tables are widened by for them.
SINGLE = 3e-4


def test_groups_hold_the_cells_of_a_group_and_of_the_next() -> None:
    """Over groups of loads and over single films, against loops over a table of any numbers."""
    rng = np.random.default_rng(1)
    shape = (WAVES, SHARE_STEPS, DEPTHS, GROUNDS, 5)
    low = rng.uniform(-1.0, 1.0, shape)
    high = low + rng.uniform(0.0, 1.0, shape)
    near: FloatArray = np.empty((*shape[:-1], 10), dtype=np.float32)
    near[:] = np.concatenate([low, high], axis=-1)
    table = HazeTable(near, np.arange(GROUNDS))
    share = rng.integers(0, SHARE_STEPS, (20, WAVES))
    depth = rng.integers(0, DEPTHS, (20, WAVES))
    groups = table.over_groups(share * DEPTHS + depth)
    ground = rng.integers(0, GROUNDS, 20)
    films = table.over_films(share * DEPTHS + depth, ground)
    for i in range(20):
        wanted = [np.zeros((GROUNDS, 5)), np.zeros((GROUNDS, 5))]
        single = [np.zeros(5), np.zeros(5)]
        for wave in range(WAVES):
            first = depth[i, wave] // GROUP * GROUP
            cells = slice(first, first + 2 * GROUP)
            wanted[0] += low[wave, share[i, wave], cells].min(axis=0)
            wanted[1] += high[wave, share[i, wave], cells].max(axis=0)
            single[0] += low[wave, share[i, wave], depth[i, wave], ground[i]]
            single[1] += high[wave, share[i, wave], depth[i, wave], ground[i]]
        for found, end in ((groups, wanted), (films, single)):
            assert found[0][i] == pytest.approx(end[0], abs=SINGLE)
            assert found[1][i] == pytest.approx(end[1], abs=SINGLE)


@pytest.mark.parametrize("geometry", [Geometry.DIRECTIONAL, Geometry.DIFFUSE_SPECULAR_INCLUDED])
def test_no_film_lies_outside_its_ends(geometry: Geometry) -> None:
    """X, Y, Z and their differences of blends at every load, straight from the curves."""
    curves, settings = invented_shelf(7, 4, 5, coats=(1, 6), geometry=geometry, hazy=3)
    rules = Rules.of(settings)
    films = evaluator_of(curves, rules, lab_target((40.0, 0.0, 0.0))).films
    loads = Lattice.of(rules).load_values
    ranges = HazeRanges(films, loads)
    fractions = np.random.default_rng(2).dirichlet(np.full(4, 0.3), 40)
    row, depth = ranges.first_cells((fractions @ ranges.absorption, fractions @ ranges.scattering))
    white = weights(curves.wavelength_nm, LIGHT) / white_point(LIGHT)
    group = np.searchsorted(ranges.starts, np.arange(len(loads)), side="right") - 1
    widest = 0.0
    for place, load in enumerate(loads):
        first = ranges.log_loads[ranges.starts[group[place]]]
        over = [ranges.table(block) for block in ranges.blocks]
        for ground, reflectance in enumerate(curves.ground_reflectance):
            read = curves.optics.reflectance(
                load * fractions @ ranges.absorption,
                reflectance,
                curves.return_ratio[ground],
                scattering=load * fractions @ ranges.scattering,
            )
            sums = read @ white
            true = np.hstack([sums, sums[:, :2] - sums[:, 1:]])
            table = next(t for t in over if ground in t.grounds)
            at = np.full(40, np.flatnonzero(table.grounds == ground)[0])
            own = table.over_films(ranges.cells(row, depth, ranges.log_loads[place]), at)
            groups = table.over_groups(ranges.cells(row, depth, first))
            whole = tuple(end[np.arange(40), at] for end in groups)
            for low, high in (own, whole):
                assert (low <= true).all()
                assert (true <= high).all()
            assert (whole[0] <= own[0] + SINGLE).all()
            assert (own[1] <= whole[1] + SINGLE).all()
            widest = max(widest, float((own[1] - own[0])[:, :3].max()))
    assert widest < 0.2
