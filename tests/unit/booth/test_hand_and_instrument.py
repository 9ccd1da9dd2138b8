"""The booth's hand and instrument vary as they are said to."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from booth import (
    Blends,
    Booth,
    TrueToner,
    lamp_grounds,
    lamp_toners,
    other_toners,
    random_blends,
    random_toners,
)

TESTS = Path(__file__).parents[2]
# A standard deviation from n draws is known to 1/√(2n); four of those.
SPREAD_OF_4000 = 4 / np.sqrt(2 * 4000)


def _booth(*, panel_cv: float = 0.0, coat_cv: float = 0.04) -> Booth:
    rng = np.random.default_rng(1)
    return Booth(lamp_toners(), lamp_grounds(), rng, panel_cv=panel_cv, coat_cv=coat_cv)


def test_knows_nothing_of_the_package() -> None:
    """Importing the whole booth, the bench's script included, never imports the package."""
    code = "import booth, booth.make_lamp_bench, sys; sys.exit('fewtone' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], cwd=TESTS, check=False).returncode == 0


def test_steps_of_a_strip_share_the_hand() -> None:
    """With no spread per coat, every step of a strip is heavy by the same factor."""
    booth = _booth(panel_cv=0.05, coat_cv=0.0)
    strip = booth.strip({"ember": 1}, 6, (1, 2, 3, 4, 6), "white")
    shares = np.array([step.build / step.coats for step in strip])
    np.testing.assert_allclose(shares, shares[0], rtol=1e-12)
    assert shares[0] != pytest.approx(1.0, abs=1e-3)
    assert len({step.panel for step in strip}) == 1


def test_later_steps_contain_the_earlier_coats() -> None:
    """A coat's own spread is carried by all later steps, and steps may be left out."""
    full = _booth(coat_cv=0.04).strip({"ember": 1}, 6, (1, 2, 3, 4), "white")
    some = _booth(coat_cv=0.04).strip({"ember": 1}, 6, (2, 4), "white")
    assert [step.build for step in some] == [full[1].build, full[3].build]
    assert np.all(np.diff([step.build for step in full]) > 0.8)


def test_film_build_spreads_as_said() -> None:
    """Panels of their own spread by the panel's factor and the coats' together, about mean 1."""
    booth = _booth(panel_cv=0.05, coat_cv=0.04)
    builds = np.array([booth.single({"ash": 1}, 6, 4, "white").build / 4 for _ in range(4000)])
    expected = np.hypot(0.05, 0.04 / 2.0)
    assert np.std(builds) == pytest.approx(expected, rel=SPREAD_OF_4000)
    assert np.mean(builds) == pytest.approx(1.0, abs=4 * expected / np.sqrt(4000))


def test_spectral_noise_is_relative_and_absolute() -> None:
    """Repeated readings spread by √((.002·R)² + .0005²) and are right on average."""
    booth = _booth()
    steps = booth.bare("brass", 1000)
    read, true = booth.read_spectra(steps), booth.true_spectra(steps[:1])[0]
    expected = np.hypot(0.002 * true, 0.0005)
    ratio = np.std(read, axis=0) / expected
    assert np.mean(ratio) == pytest.approx(1.0, abs=4 / np.sqrt(2 * read.size))
    np.testing.assert_array_less(np.abs(read.mean(axis=0) - true), 5 * expected / np.sqrt(1000))


def test_lab_noise_is_per_coordinate_and_light() -> None:
    """Lab readings spread by 0.1 per coordinate, each light on its own."""
    booth = _booth()
    read = booth.read_labs(booth.bare("silver", 2000), ("D65/10", "A/10"))
    both = np.concatenate(list(read.values()), axis=1)
    np.testing.assert_allclose(both.std(axis=0), 0.1, rtol=4 / np.sqrt(2 * 2000))
    assert np.max(np.abs(np.corrcoef(both.T) - np.eye(6))) < 4 / np.sqrt(2000)


def test_fresh_panels_without_spread_are_the_truth() -> None:
    """A steady hand and a perfect instrument read the true colour of every recipe."""
    booth = _booth(coat_cv=0.0)
    blends = random_blends(booth.rng, 12, 20)
    fresh = booth.fresh_labs(blends, "brass", times=2, read_noise=False)
    true = booth.true_lab(blends.fractions, blends.load, "brass")
    np.testing.assert_allclose(fresh, np.stack([true, true]), atol=1e-9)


def test_pour_error_moves_letdown_and_ratio() -> None:
    """Pour errors spread a panel's load by √2·m/(1+m) of the error when one toner is alone."""
    parts = np.zeros((1, 12), dtype=np.int64)
    parts[0, 10] = 1
    blends = Blends(parts, np.array([6]), np.array([4]))
    booth = _booth(coat_cv=0.0)
    lightness = booth.fresh_labs(blends, "white", times=4000, pour_cv=0.02, read_noise=False)
    step = 1e-3
    heavy, light = (
        booth.true_lab(blends.fractions, blends.load * (1 + s), "white")[0, 0]
        for s in (step, -step)
    )
    expected = abs(heavy - light) / (2 * step) * 0.02 * np.sqrt(2) * 6 / 7
    # 1 % more for the curvature that the slope leaves out.
    assert np.std(lightness[:, 0, 0]) == pytest.approx(expected, rel=SPREAD_OF_4000 + 0.01)


@pytest.mark.parametrize("family", [random_toners, other_toners])
def test_families_are_translucent(family: Callable[..., tuple[TrueToner, ...]]) -> None:
    """Every absorber is non-negative, peaks where said, and only the hazy ones scatter."""
    for seed in range(20):
        toners = family(np.random.default_rng(seed), 10, hazy=3)
        assert sum(bool(toner.scattering.any()) for toner in toners) == 3
        for toner in toners:
            assert toner.absorption.min() > 0.0
            assert 1.0 < toner.absorption.max() < 9.0


def test_recipe_lines_are_in_lowest_terms() -> None:
    """Random recipes have whole parts without a common factor, in falling order."""
    blends = random_blends(np.random.default_rng(5), 12, 500)
    assert np.all(np.gcd.reduce(blends.parts, axis=1) == 1)
    assert set((blends.parts > 0).sum(axis=1)) == {1, 2, 3}
    line = Blends(np.array([[1, 0, 3]]), np.array([8]), np.array([1])).line(0, "abc", "brass")
    assert line == "3 c + 1 a, 8:1, 1 coat over brass"
