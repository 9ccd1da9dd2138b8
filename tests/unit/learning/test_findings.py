"""What learning says where the readings disagree with shelf.toml, and what follows from it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fewtone.io.curves import load_curves, save_curves
from fewtone.learning import Learnt, estimate
from fewtone.model.readings import Readings
from fewtone.model.shelf import ShelfSettings
from fewtone.optics.film import FilmOptics, Geometry
from unit.learning.shelves import CURVES_OF_FOUR, settings, spray

SETTINGS = settings(CURVES_OF_FOUR)
COATS = (1, 2, 3, 4, 6)


def _learnt(
    shelf: ShelfSettings = SETTINGS,
    *,
    hand: float = 0.05,
    coat: float = 0.04,
    black: float = 0.0,
    thin: float = 0.0,
) -> Learnt:
    """Learn strips over white and silver, by a hand, an instrument and a film that are so."""
    rng = np.random.default_rng(5)
    lines, builds = [], []
    for name in CURVES_OF_FOUR:
        for ground in ("white", "silver"):
            panel = float(np.exp(hand * rng.standard_normal()))
            lines += [(f"{name}-{ground}", f"{name}, 6:1, {c} coats over {ground}") for c in COATS]
            each = np.exp(coat * rng.standard_normal(max(COATS)))
            builds += [panel * each[:c].mean() * (c / 3.0) ** -thin for c in COATS]
    readings = spray(CURVES_OF_FOUR, lines, builds=builds)
    noise = np.random.default_rng(6)
    items = tuple(
        replace(item, reflectance=_noisy(item.reflectance, noise) + black)
        for item in readings.items
        if item.reflectance is not None
    )
    return estimate(shelf, Readings(items, readings.wavelength_nm))


def _noisy(reflectance: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    relative, absolute = rng.standard_normal((2, reflectance.size))
    return np.asarray(reflectance * (1.0 + 0.002 * relative) + 0.0005 * absolute)


def _said(learnt: Learnt, words: str) -> bool:
    return any(words in caution for caution in learnt.report.cautions)


def test_where_all_is_as_stated_nothing_is_said() -> None:
    """A careful hand, a true black, coats alike: no sentence, and no hand of its own."""
    learnt = _learnt()
    assert learnt.report.cautions == ()
    assert learnt.curves.hand is None


def test_a_hand_less_steady_than_stated_is_found_and_kept(tmp_path: Path) -> None:
    """Strips that differ by 15 % where 3 was said: told, and with the curves ever after."""
    said = settings(CURVES_OF_FOUR, panel_cv=0.03, coat_cv=0.02)
    learnt = _learnt(said, hand=0.15)
    assert _said(learnt, "shelf.toml says 3")
    assert learnt.curves.hand is not None
    # Eight strips tell a variation to 20 %, the prior pulls it down.
    assert 0.08 < learnt.curves.hand[0] < 0.2
    save_curves(tmp_path, learnt.curves)
    kept = load_curves(tmp_path)
    assert kept.hand == pytest.approx(learnt.curves.hand)
    assert said.with_hand(kept.hand).mixing.panel_cv == pytest.approx(learnt.curves.hand[0])


@pytest.mark.parametrize(("black", "word"), [(0.004, "higher"), (-0.004, "lower")])
def test_a_black_that_is_off_is_said(black: float, word: str) -> None:
    """Every reading higher, or lower, than it is: told with its size."""
    learnt = _learnt(black=black)
    assert _said(learnt, f"{word} than the film explains")
    assert not _said(_learnt(), "than the film explains")


def test_specular_light_that_was_said_to_be_left_out_is_said() -> None:
    """All readings higher, or lower, by what the surface reflects: the geometry is doubted."""
    surface = FilmOptics(SETTINGS.measurement.geometry).index
    reflected = ((surface - 1.0) / (surface + 1.0)) ** 2
    assert _said(_learnt(black=reflected), "specular reflection included")
    measurement = replace(SETTINGS.measurement, geometry=Geometry.DIFFUSE_SPECULAR_INCLUDED)
    assert _said(_learnt(replace(SETTINGS, measurement=measurement)), "without the specular")


def test_later_coats_that_are_thinner_are_said_and_followed() -> None:
    """Six coats that make the film of five: told, and predicted so."""
    learnt = _learnt(thin=0.12)
    assert _said(learnt, "thinner than the first")
    # Eight strips of coats that vary by 4 % tell the power to .01.
    assert learnt.curves.thinning == pytest.approx(0.12, abs=0.03)
    assert _learnt().curves.thinning == 0.0
