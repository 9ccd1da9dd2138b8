"""The picks are what evaluating every admissible recipe gives."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest
from hypothesis import example, given, settings
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


@dataclass(frozen=True)
class Problem:
    """A small shelf, its rules, and how the target is made."""

    seed: int
    n_toners: int
    n_grounds: int
    letdowns: tuple[int, ...]
    coats: tuple[int, int]
    max_part: int
    max_toners: int
    tolerance: float
    geometry: Geometry
    twins: int
    top: int
    hazy: int
    unsure: float
    target: str
    weak: int = 0
    thinning: float = 0.0


problems = st.builds(
    Problem,
    seed=st.integers(0, 10_000),
    n_toners=st.integers(2, 6),
    n_grounds=st.integers(1, 3),
    # 4, 5 and 9: coats 1 over 5 parts, 2 over 10 and so on have the same load.
    letdowns=st.lists(st.sampled_from([4, 5, 6, 9]), min_size=1, max_size=3, unique=True).map(
        tuple
    ),
    coats=st.sampled_from([(1, 1), (1, 3), (2, 4), (3, 6)]),
    max_part=st.integers(1, 4),
    max_toners=st.integers(1, 3),
    tolerance=st.sampled_from([0.0, 0.5, 1.0, 3.0, 12.0]),
    geometry=st.sampled_from(list(Geometry)),
    twins=st.integers(0, 1),
    top=st.sampled_from([1, 3, 8, 50]),
    hazy=st.sampled_from([0, 0, 0, 1, 2]),
    weak=st.sampled_from([0, 0, 1, 2, 3]),
    thinning=st.sampled_from([0.0, 0.0, 0.15]),
    # Without uncertainty, well known, and so unsure that nothing passes well.
    unsure=st.sampled_from([0.0, 0.0, 0.003, 0.01, 0.1]),
    target=st.sampled_from(
        ["planted", "planted", "near", "near", "black", "white", "grey", "blue", "anything"]
    ),
)
FIXED_TARGETS = {
    "black": (0.0, 0.0, 0.0),
    "white": (100.0, 0.0, 0.0),
    "grey": (45.0, 0.0, 0.0),
    "blue": (50.0, 100.0, -100.0),
}


def check(problem: Problem) -> None:
    """Simplest, surest, closest, the trade-off and the count equal those of the plain loop."""
    curves, shelf = invented_shelf(
        problem.seed,
        problem.n_toners,
        problem.n_grounds,
        medium_parts=problem.letdowns,
        coats=problem.coats,
        max_part=problem.max_part,
        geometry=problem.geometry,
        twins=problem.twins,
        hazy=problem.hazy,
        weak=min(problem.weak, problem.n_toners - problem.twins),
        unsure=problem.unsure,
    )
    curves = replace(curves, thinning=problem.thinning)
    rng = np.random.default_rng(problem.seed)
    target = FIXED_TARGETS.get(problem.target)
    if target is None:
        size = int(rng.integers(1, min(problem.max_toners, problem.n_toners) + 1))
        names = rng.choice(curves.toners, size, replace=False)
        blend = {str(name): int(rng.integers(1, problem.max_part + 1)) for name in names}
        recipe = Recipe(
            blend,
            int(rng.choice(problem.letdowns)),
            int(rng.integers(problem.coats[0], problem.coats[1] + 1)),
            str(rng.choice(curves.grounds)),
        )
        lab = predict(curves, [recipe], LIGHT).lab[0]
        spread = {"planted": 0.0, "near": 0.5, "anything": 15.0}[problem.target]
        target = tuple(lab + spread * rng.standard_normal(3))
    rules = Rules.of(
        shelf, max_toners=problem.max_toners, tolerance=problem.tolerance, top=problem.top
    )
    found = search(curves, shelf, lab_target(target), rules)
    wanted = plain_loop(
        curves,
        shelf,
        target,
        LIGHT,
        toners=curves.toners,
        grounds=curves.grounds,
        medium_parts=problem.letdowns,
        coats=problem.coats,
        max_part=problem.max_part,
        max_toners=problem.max_toners,
        tolerance=problem.tolerance,
        top=problem.top,
    )
    lines = [None if m is None else str(m.recipe) for m in (found.simplest, found.surest)]
    assert lines == [wanted.simplest, wanted.surest]
    assert str(found.closest.recipe) == wanted.closest
    assert tuple(str(match.recipe) for match in found.recipes) == wanted.trade_off
    assert found.proof.admissible == wanted.admissible
    assert found.proof.proven
    assert all(count >= 0 for _, count in found.proof.cut)
    assert (found.miss is None) == (wanted.simplest is not None)


@given(problem=problems)
@example(
    Problem(3, 5, 3, (4, 9), (1, 4), 3, 3, 12.0, Geometry.DIRECTIONAL, 1, 50, 0, 0.01, "black")
)
@example(
    Problem(4, 5, 3, (4, 9), (1, 4), 3, 3, 1.0, Geometry.DIRECTIONAL, 1, 50, 1, 0.003, "planted")
)
@settings(max_examples=150)
def test_picks_equal_the_plain_loop(problem: Problem) -> None:
    """On every kind of small shelf, rules and target."""
    check(problem)


@pytest.mark.trial
@given(problem=problems)
@settings(max_examples=sized(200, 500))
def test_more_picks_equal_the_plain_loop(problem: Problem) -> None:
    """The same at greater length."""
    check(problem)
