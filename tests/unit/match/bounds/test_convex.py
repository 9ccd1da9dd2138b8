"""What the bounds of cells stand on: log-convex tristimulus values, tangents, enclosing boxes."""

from __future__ import annotations

import numpy as np
import pytest

from fewtone.colorimetry import Light, lab_from_xyz, weights, white_point
from fewtone.match import Rules
from fewtone.match.bounds.boxes import boxes, prisms
from fewtone.match.bounds.convex import Probe, Span, cielab_f, log_ratio
from fewtone.match.bounds.simplex_tree import Cell, cells_of
from fewtone.match.evaluate import Evaluator, evaluator_of
from fewtone.match.lattice import Lattice, ratios_of
from fewtone.optics.film import Geometry
from fewtone.typing import FloatArray
from invented import invented_shelf

LIGHT = Light("D65", 10)
TABLE = 1e-7  # the optics' tables are right to 1e-9, in a logarithm of at least 0.01 to 1e-7
EXACT = 1e-12


def shelf_probe(geometry: Geometry, seed: int = 5) -> tuple[Evaluator, Probe, Lattice]:
    """An invented shelf of clear toners and what evaluates it."""
    curves, settings = invented_shelf(seed, 6, 4, coats=(1, 6), geometry=geometry)
    rules = Rules.of(settings)
    lattice = Lattice.of(rules)
    evaluator = evaluator_of(curves, rules, (40.0, 0.0, 0.0), LIGHT)
    return evaluator, Probe(evaluator, lattice.load_values), lattice


def logs_of(evaluator: Evaluator, amounts: FloatArray, ground: int) -> FloatArray:
    """Log F straight from the curves, without the probe."""
    curves = evaluator.curves
    reflectance = curves.optics.reflectance(
        amounts @ curves.absorption, curves.ground_reflectance[ground], curves.return_ratio[ground]
    )
    white = white_point(LIGHT)
    return np.asarray(np.log(reflectance @ weights(curves.wavelength_nm, LIGHT) / white))


@pytest.mark.parametrize("geometry", list(Geometry))
def test_log_tristimulus_values_are_convex_and_fall(geometry: Geometry) -> None:
    """Along any segment of amounts log F is below its chord, and more of any toner darkens."""
    evaluator, _, _ = shelf_probe(geometry)
    rng = np.random.default_rng(1)
    for ground in range(4):
        start, end = rng.exponential(0.15, (2, 500, 6))
        share = rng.random((500, 1))
        between = logs_of(evaluator, start + share * (end - start), ground)
        first, second = logs_of(evaluator, start, ground), logs_of(evaluator, end, ground)
        assert (between <= first + share * (second - first) + TABLE).all()
        assert (logs_of(evaluator, start + end, ground) <= first + TABLE).all()


@pytest.mark.parametrize("geometry", list(Geometry))
def test_tangent_planes_lie_below(geometry: Geometry) -> None:
    """The tangent plane at one blend is below log F at every other blend and load."""
    evaluator, probe, _ = shelf_probe(geometry)
    rng = np.random.default_rng(2)
    fractions, load = rng.dirichlet(np.ones(6), 40), rng.uniform(0.1, 0.8, 40)
    for ground in range(4):
        place = np.full(40, ground, dtype=np.int64)
        logs, slopes = probe.tangents(fractions @ probe.absorption, load, place)
        constant = logs + np.einsum("nct,nt->nc", slopes, load[:, np.newaxis] * fractions)
        others = rng.exponential(0.15, (300, 6))
        plane = constant[:, np.newaxis] - np.einsum("nct,mt->nmc", slopes, others)
        assert (logs_of(evaluator, others, ground) >= plane - TABLE).all()


def test_the_function_of_cielab_joins_at_its_bend() -> None:
    """G of log F gives L*, a* and b* as CIELAB does, on both sides of the bend."""
    ratio = np.array([[1e-4, 0.002, 0.008], [0.0089, 0.2, 1.1]])
    lab = lab_from_xyz(ratio, np.ones(3))
    root = cielab_f(np.log(ratio))
    assert np.allclose(116.0 * root[:, 1] - 16.0, lab[:, 0], rtol=0, atol=EXACT * 100)
    assert np.allclose(500.0 * (root[:, 0] - root[:, 1]), lab[:, 1], rtol=0, atol=EXACT * 1000)
    assert np.allclose(log_ratio(float(lab[1, 0])), np.log(0.2), rtol=0, atol=EXACT * 10)


def leaves(cell: Cell) -> list[Cell]:
    """All leaves below a cell."""
    return [leaf for part in cell.parts for leaf in leaves(part)] if cell.parts else [cell]


@pytest.mark.parametrize(("size", "max_part"), [(2, 6), (3, 4), (3, 6), (4, 3)])
def test_the_leaves_share_out_the_ratios(size: int, max_part: int) -> None:
    """Every ratio is in exactly one leaf, at the barycentric coordinates that it has there."""
    ratios = ratios_of(size, max_part)
    seen = []
    for leaf in leaves(cells_of(size, max_part, 6, 5)):
        seen += leaf.ratios.tolist()
        assert (leaf.shares >= 0.0).all()
        fractions = ratios[leaf.ratios] / ratios[leaf.ratios].sum(axis=1, keepdims=True)
        assert np.allclose(leaf.shares @ leaf.corners, fractions, rtol=0, atol=EXACT)
    assert sorted(seen) == list(range(len(ratios)))


@pytest.mark.parametrize("geometry", list(Geometry))
@pytest.mark.parametrize("lightness", [(0.0, 4.0), (20.0, 23.0), (45.0, 60.0)])
def test_boxes_hold_every_colour_of_a_cell(
    geometry: Geometry, lightness: tuple[float, float]
) -> None:
    """Random blends of a cell, at any load within the lattice's, lie in its box if in the span."""
    evaluator, probe, lattice = shelf_probe(geometry)
    rng = np.random.default_rng(4)
    span = Span(log_ratio(lightness[0]), log_ratio(lightness[1]))
    supports = lattice.supports(3)
    tested = 0
    for leaf in [cells_of(3, 4, 6, 5), *leaves(cells_of(3, 4, 6, 5))[::3]]:
        support = supports[rng.integers(len(supports), size=20)]
        ground = rng.integers(4, size=20)
        tables, slopes = [], []
        for corner in leaf.corners:
            fractions = np.zeros((20, 6))
            np.put_along_axis(fractions, support, np.tile(corner, (20, 1)), axis=1)
            rays = probe.rays(fractions, ground, None, span)
            tables.append(rays.table)
            slopes.append(rays.slopes[np.arange(20)[:, np.newaxis], :, support])
        prism = prisms(
            probe,
            np.stack(tables, axis=1),
            np.stack(slopes).transpose(2, 0, 3, 1),
            leaf.corners,
            ground,
            span,
        )
        low, high = boxes(prism, span, lightness, probe.most_load)
        shares = rng.dirichlet(np.ones(3), 400) @ leaf.corners
        load = rng.uniform(probe.least_load, probe.most_load, 400)
        for row in range(20):
            amounts = np.zeros((400, 6))
            amounts[:, support[row]] = shares * load[:, np.newaxis]
            root = cielab_f(logs_of(evaluator, amounts, int(ground[row])))
            lab = np.stack(
                [
                    116.0 * root[:, 1] - 16.0,
                    500.0 * (root[:, 0] - root[:, 1]),
                    200.0 * (root[:, 1] - root[:, 2]),
                ]
            )
            inside = lab[:, (lab[0] >= lightness[0]) & (lab[0] <= lightness[1])]
            tested += inside.shape[1]
            assert (inside >= low[:, [row]]).all()
            assert (inside <= high[:, [row]]).all()
    # With the surface's reflection included nothing is darker than L* 23.
    assert tested > 50 or (geometry == "di:8" and lightness[1] <= 23.0)
