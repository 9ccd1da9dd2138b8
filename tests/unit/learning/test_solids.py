"""Grounds that reflect as Lambert has it, and those that send light back slanted.

The readings are the booth's: it follows light between pigments direction by direction.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest

from booth import Booth, Lobe, keyed, keying_paints
from booth.dyes import GRID_NM, TrueGround, random_toners
from booth.paints import PaintGround
from booth.worlds import World
from fewtone.io.readings import load_readings
from fewtone.io.settings import load_settings
from fewtone.learning.estimate import fit
from fewtone.learning.observations import observe

EVEN = np.ones(GRID_NM.size)
COATS = (1, 2, 3, 4)
# What a film over a pile as light as slate shows (tests/unit/optics/test_opaque.py).
SLANTED = 1.3


def _fitted(
    folder: Path, grounds: Sequence[TrueGround | PaintGround], index: float
) -> tuple[float, float]:
    """Return ratio of the first ground, a solid, and the film index, as learnt."""
    rng = np.random.default_rng(3)
    world = World(says_film_index=1.5)
    booth = Booth(random_toners(rng, 2), grounds, rng, film_index=index, world=world)
    steps = [step for ground in grounds for step in booth.bare(ground.name)]
    for toner in booth.names:
        for ground in grounds:
            steps += [booth.single({toner: 1}, 6, coats, ground.name) for coats in COATS]
    booth.write_shelf(folder, steps, ())
    settings = load_settings(folder)
    seen = observe(settings, load_readings(folder, settings), ())
    problem, _, solution = fit(settings, seen)
    solid = seen.grounds.index(grounds[0].name)
    return float(solution.at.return_ratio[solid]), problem.optics.index


def test_a_pile_of_pigment_is_told_from_what_its_films_show(tmp_path: Path) -> None:
    """And no other film index than the stated, right one stands in for it."""
    paints = keying_paints()
    ratio, index = _fitted(tmp_path, [keyed({n: 1}, paints) for n in ("slate", "silver")], 1.5)
    assert ratio > SLANTED
    assert index == pytest.approx(1.5, abs=0.03)


@pytest.mark.parametrize("index", [1.5, 1.55])
def test_a_lambertian_solid_stays_one(tmp_path: Path, index: float) -> None:
    """Under a film of another index than stated, too."""
    grounds = [
        TrueGround("grey", "solid", 0.3 * EVEN, Lobe()),
        TrueGround("silver", "metallic", 0.6 * EVEN, Lobe(0.36, 0.2)),
    ]
    assert _fitted(tmp_path, grounds, index)[0] == 1.0


def test_flake_of_very_broad_slopes_returns_more_than_a_lambertian_ground(tmp_path: Path) -> None:
    """Beside other flake, by as much as its films do (tests/outside/test_scattering_film.py)."""
    grounds = [
        TrueGround("graphite", "metallic", 0.3 * EVEN, Lobe(0.6, 0.15)),
        TrueGround("silver", "metallic", 0.6 * EVEN, Lobe(0.36, 0.2)),
    ]
    assert _fitted(tmp_path, grounds, 1.5)[0] == pytest.approx(1.3, abs=0.2)
