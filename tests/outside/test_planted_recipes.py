"""Planted recipes: the recipe that match finds truly gives the colour that was asked for.

Two hundred recipes, eighty in the short run, are sprayed in the independent booth without
film-build noise; their true colours are the targets. The shelf knows only the demo's noisy letdown
strips. What counts is the true colour of the closest pick, again by the booth's own optics. Targets
darker than L* 10 are left out: there ΔE00 sees little and readings less.

No outside source holds such data; the booth (adding–doubling in angle, a broad lobe for flake)
stands in for it and shares no code with the package.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

import fewtone
from booth import Booth, delta_e, lamp_grounds, lamp_toners, random_blends
from booth.make_lamp_bench import write_lab_only
from shared import sized

pytestmark = pytest.mark.trial

RECIPES = sized(80, 200)
SEED = 2611
DARKEST = 10.0
WITHIN = 1.0  # ΔE00


def achieved(folder: Path) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """ΔE00 between target and true colour of the closest pick, shape ``(RECIPES,)``."""
    fewtone.learn(folder)
    shelf = fewtone.load(folder)
    rng = np.random.default_rng(SEED)
    booth = Booth(lamp_toners(), lamp_grounds(), rng)
    planted = random_blends(rng, len(booth.names), 2 * RECIPES)
    ground = rng.integers(0, len(booth.grounds), 2 * RECIPES)
    targets = booth.true_lab(planted.fractions, planted.load, ground)
    targets = targets[targets[:, 0] >= DARKEST][:RECIPES]
    assert len(targets) == RECIPES
    picks = [shelf.match(target.tolist()).closest.recipe for target in targets]
    found = [
        booth.true_lab(
            booth.fractions({name: int(part) for name, part in pick.blend.items()}),
            float(pick.load),
            pick.ground,
        )
        for pick in picks
    ]
    return np.asarray(delta_e(np.array(found), targets))


@pytest.mark.parametrize(
    ("lights", "share"),
    [
        pytest.param((), 0.95, id="spectra"),
        pytest.param(("D65/10",), 0.85, id="Lab"),
        pytest.param(("D65/10", "A/10"), 0.85, id="Lab under two lights"),
    ],
)
def test_planted_recipes(
    lights: tuple[str, ...], share: float, tmp_path: Path, report_figure: Callable[[str], None]
) -> None:
    """The closest pick's true colour is within 1.0 of nearly every planted target."""
    folder = tmp_path / "bench"
    if lights:
        write_lab_only(folder, lights)
    else:
        fewtone.new(folder, demo=True)
    off = achieved(folder)
    median, p90 = np.quantile(off, [0.5, 0.9])
    report_figure(
        f"planted recipes, {' and '.join(lights) or 'spectra'}: ΔE00 median {median:.2f}, "
        f"p90 {p90:.2f}, within {WITHIN:g} in {np.mean(off <= WITHIN):.1%}"
    )
    assert np.mean(off <= WITHIN) >= share
