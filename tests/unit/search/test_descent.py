"""The walk from a recipe to nearer ones."""

from __future__ import annotations

import numpy as np
import pytest

from fewtone.colorimetry import Light
from fewtone.model.recipe import parse
from fewtone.prediction.recipes import predict
from fewtone.recipes.evaluate import evaluator_of
from fewtone.recipes.lattice import Lattice
from fewtone.recipes.rules import Rules
from fewtone.search.descent import Descent
from invented import invented_shelf, lab_target

LIGHT = Light("D65", 10)
CURVES, SHELF = invented_shelf(2, 6, 3, coats=(2, 4))


@pytest.mark.parametrize(
    ("start", "line"),
    [
        # A part more, a part moved, another toner, one more toner; over another ground.
        ("2 toner-01 + 1 toner-03", "3 toner-01 + 1 toner-03, 6:1, 3 coats over silver"),
        ("2 toner-01 + 1 toner-03", "1 toner-01 + 2 toner-03, 6:1, 3 coats over white"),
        ("2 toner-01 + 1 toner-05", "2 toner-01 + 1 toner-03, 8:1, 3 coats over silver"),
        ("1 toner-01", "2 toner-01 + 1 toner-03, 6:1, 3 coats over charcoal"),
    ],
)
def test_it_ends_at_a_recipe_that_was_planted_a_step_away(start: str, line: str) -> None:
    """Of far more toners than a recipe may have; whatever film it starts from."""
    wanted, rules = parse(line), Rules.of(SHELF, max_toners=2)
    target = lab_target(predict(CURVES, [wanted], LIGHT).lab[0])
    descent = Descent([evaluator_of(CURVES, rules, target)], rules)
    end = descent.from_recipe(parse(f"{start}, 4:1, 2 coats over charcoal"))
    least = np.gcd.reduce(end.parts)
    parts = {rules.toners[i]: int(end.parts[i] // least) for i in np.flatnonzero(end.parts)}
    assert parts == {name: int(part) for name, part in wanted.blend.items()}
    assert rules.grounds[end.ground] == wanted.ground
    load = Lattice.of(rules).load_values[end.load]
    assert load == pytest.approx(float(wanted.coats) / (1.0 + float(wanted.medium_parts)))
    assert end.de00 == 0.0


def test_it_keeps_what_is_to_be_kept() -> None:
    """Though what was planted a step away has another toner in its place."""
    rules = Rules.of(SHELF, max_toners=2, keep=["toner-05"])
    line = "2 toner-01 + 1 toner-03, 8:1, 3 coats over silver"
    target = lab_target(predict(CURVES, [parse(line)], LIGHT).lab[0])
    descent = Descent([evaluator_of(CURVES, rules, target)], rules)
    end = descent.from_recipe(parse("2 toner-01 + 1 toner-05, 4:1, 2 coats over charcoal"))
    assert end.parts[rules.toners.index("toner-05")] > 0
