"""Which sweep films call for."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np

from fewtone.recipes.evaluate import evaluator_of
from fewtone.recipes.lattice import Lattice
from fewtone.recipes.rules import Rules
from fewtone.search.hazy import HazySweep
from fewtone.search.radius import sweeps_of
from fewtone.search.sweep import Sweep
from invented import invented_shelf, lab_target


def test_only_films_with_haze_are_swept_as_hazy() -> None:
    """Sets of toners are parted by whether one of them scatters, at whatever wavelength."""
    curves, shelf = invented_shelf(3, 5, 2, coats=(2, 3), hazy=2)
    scattering = curves.scattering.copy()
    scattering[1, 1:] = 0.0
    curves = replace(curves, scattering=scattering)
    rules = Rules.of(shelf)
    evaluator = evaluator_of(curves, rules, lab_target((40.0, 0.0, 0.0)))
    supports = np.array(list(itertools.combinations(range(5), 2)))
    hazy = [row < 2 for row in evaluator.toners.tolist()]
    sweeps = list(sweeps_of(evaluator, Lattice.of(rules), supports, np.ones(20)))
    clear, scatters = sweeps
    assert (type(clear), type(scatters)) == (Sweep, HazySweep)
    assert {tuple(pair) for pair in clear.supports.tolist()} == {
        pair for pair in map(tuple, supports.tolist()) if not any(hazy[i] for i in pair)
    }
    assert len(clear.supports) + len(scatters.supports) == len(supports)
