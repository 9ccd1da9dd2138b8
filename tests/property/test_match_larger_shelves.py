"""On shelves of 8 to 32 toners the picks are what evaluating every admissible recipe gives."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fewtone.colorimetry import Light
from fewtone.match.search import search
from fewtone.model.recipe import Recipe
from fewtone.optics.film import Geometry
from fewtone.prediction.recipes import predict
from fewtone.recipes.rules import Rules
from invented import invented_shelf, lab_target
from reference_match import plain_loop
from shared import sized

LIGHT = Light("D65", 10)
KINDS = ("planted", "near", "far", "black", "saturated")


@pytest.mark.trial
@given(
    seed=st.integers(0, 100_000),
    n_toners=st.integers(8, 32),
    hazy=st.sampled_from([0, 0, 1, 4]),
    weak=st.integers(0, 6),
    twins=st.integers(0, 1),
    unsure=st.sampled_from([0.0, 0.01]),
    geometry=st.sampled_from([Geometry.DIRECTIONAL, Geometry.DIFFUSE_SPECULAR_INCLUDED]),
    kind=st.sampled_from(KINDS),
    tolerance=st.sampled_from([0.5, 1.0, 3.0]),
)
@settings(max_examples=sized(70, 250), deadline=None)
def test_picks_equal_the_plain_loop(
    seed: int,
    n_toners: int,
    hazy: int,
    weak: int,
    twins: int,
    unsure: float,
    geometry: Geometry,
    kind: str,
    tolerance: float,
) -> None:
    """Strong, weak, hazy and equal toners, colours in reach and far out of it."""
    rng = np.random.default_rng(seed)
    size, coats = (3 if n_toners <= 10 else 2), (1, int(rng.integers(1, 3)))
    curves, shelf = invented_shelf(
        seed,
        n_toners,
        int(rng.integers(1, 3)),
        medium_parts=(3, 8) if rng.random() < 0.5 else (6,),
        coats=coats,
        max_part=2,
        geometry=geometry,
        hazy=hazy,
        weak=weak,
        twins=twins,
        unsure=unsure,
    )
    names = rng.choice(curves.toners, size, replace=False)
    blend = {
        str(name): int(part) for name, part in zip(names, rng.integers(1, 3, size), strict=True)
    }
    letdown = shelf.mixing.medium_parts[0]
    recipe = Recipe(blend, letdown, int(coats[1]), str(rng.choice(curves.grounds)))
    lab = predict(curves, [recipe], LIGHT).lab[0]
    spread = {"near": 0.7, "far": 12.0}.get(kind, 0.0)
    lab = lab + spread * rng.standard_normal(3)
    target = (*lab.tolist(),)
    if kind in {"black", "saturated"}:
        target = (0.0, 0.0, 0.0) if kind == "black" else (lab[0], 2.5 * lab[1], 2.5 * lab[2])
    rules = Rules.of(shelf, max_toners=size, tolerance=tolerance)
    found = search(curves, shelf, lab_target(target), rules)
    wanted = plain_loop(
        curves,
        shelf,
        target,
        LIGHT,
        toners=curves.toners,
        grounds=curves.grounds,
        medium_parts=shelf.mixing.medium_parts,
        coats=coats,
        max_part=2,
        max_toners=size,
        tolerance=tolerance,
        top=8,
    )
    lines = [None if m is None else str(m.recipe) for m in (found.simplest, found.surest)]
    assert lines == [wanted.simplest, wanted.surest]
    assert str(found.closest.recipe) == wanted.closest
    assert tuple(str(match.recipe) for match in found.recipes) == wanted.trade_off
    assert found.proof.admissible == wanted.admissible
    assert found.proof.proven
