"""The one way in which a recipe's colour is worked out."""

from __future__ import annotations

import numpy as np

from fewtone.recipes.evaluate import evaluator_of
from fewtone.recipes.rules import Rules
from invented import invented_shelf, lab_target


def test_films_over_all_grounds_are_what_each_is_over_its_own() -> None:
    """Colours of hazy films over all grounds at once equal those worked out one by one."""
    curves, settings = invented_shelf(3, 4, 3, hazy=2)
    evaluator = evaluator_of(curves, Rules.of(settings), lab_target((40.0, 0.0, 0.0)))
    rng = np.random.default_rng(0)
    fractions, loads = rng.dirichlet(np.ones(4), 50), rng.uniform(0.2, 1.0, 50)
    grounds = np.arange(3)
    together = evaluator.lab(fractions[:, np.newaxis], loads[:, np.newaxis], grounds)
    for ground in grounds:
        alone = evaluator.lab(fractions, loads, np.full(50, ground))
        assert np.allclose(together[:, ground], alone, rtol=0, atol=1e-10)
