"""A booth departs from what is assumed by as much as its world says, and by nothing else."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from booth import Blends, Booth, World, lamp_grounds, lamp_toners

# A mean of n draws is known to sd/√n; four of those.
PANELS = 400


def _booth(world: World | None = None, *, panel_cv: float = 0.0, coat_cv: float = 0.0) -> Booth:
    rng = np.random.default_rng(1)
    return Booth(
        lamp_toners(), lamp_grounds(), rng, panel_cv=panel_cv, coat_cv=coat_cv, world=world
    )


def _recipes(letdown: int, coats: int, count: int = 1) -> Blends:
    parts = np.zeros((count, len(lamp_toners())), dtype=np.int64)
    parts[:, 2] = 1
    return Blends(parts, np.full(count, letdown), np.full(count, coats))


def test_later_coats_are_thinner() -> None:
    """Third and later coats are .85 of the first two, sprayed or foretold."""
    booth = _booth(World(later_coats=0.85))
    strip = booth.strip({"ember": 1}, 6, (1, 2, 3, 4, 6), "white")
    builds = [step.build for step in strip]
    np.testing.assert_allclose(builds, [1.0, 2.0, 2.85, 3.7, 5.4])
    for step in strip:
        load = booth.true_load(_recipes(6, int(step.coats)))
        np.testing.assert_allclose(load, step.build / 7.0)


def test_strength_grows_with_the_letdown() -> None:
    """Per part a toner is 8 % stronger at 8:1 than at 4:1, and as told at 6:1."""
    world = World(per_doubling=0.08)
    np.testing.assert_allclose(world.strength(8.0) / world.strength(4.0), 1.08)
    np.testing.assert_allclose(world.strength(6.0), 1.0)
    booth, plain = _booth(world), _booth()
    panel = booth.single({"ember": 1}, 8, 2, "white")
    strength = float(world.strength(8.0))
    stronger = plain.true_spectra([replace(panel, build=panel.build * strength)])
    np.testing.assert_allclose(booth.true_spectra([panel]), stronger)
    np.testing.assert_allclose(booth.true_load(_recipes(8, 2)), 2.0 * strength / 9.0)


def test_black_is_added_to_every_reading() -> None:
    """An instrument whose black is off adds a constant, to panels and to bare grounds."""
    panel = _booth().single({"ember": 1}, 6, 3, "silver")
    off = _booth(World(black=0.008)).true_spectra([panel]) - _booth().true_spectra([panel])
    np.testing.assert_allclose(off, 0.008, atol=1e-12)


def test_edge_loss_darkens_the_bare_ground_most() -> None:
    """Film swallows the light that would have come round, so there is less left to lose."""
    steps = [_booth().bare("white", 1)[0], _booth().single({"ash": 1}, 6, 6, "white")]
    bare, film = _booth(World(edge=0.05)).true_spectra(steps) / _booth().true_spectra(steps)
    assert np.all(bare < film)
    assert np.all(film < 1.0)


def test_grounds_differ_from_panel_to_panel() -> None:
    """Reflectance and slope spread by their coefficients of variation; one strip has one ground."""
    booth = _booth(World(ground_cv=0.03, flake_cv=0.10))
    strip = booth.strip({"ember": 1}, 6, (1, 2, 3), "silver")
    assert len({(step.level, step.turn) for step in strip}) == 1
    panels = [booth.single({"ember": 1}, 6, 1, "silver") for _ in range(PANELS)]
    for values, cv in (("level", 0.03), ("turn", 0.10)):
        spread = np.std(np.log([getattr(panel, values) for panel in panels]))
        assert spread == pytest.approx(cv, rel=4 / np.sqrt(2 * PANELS))
    level = replace(panels[0], level=1.05, turn=1.0)
    dense, usual = booth.true_spectra([level]), booth.true_spectra([replace(level, level=1.0)])
    assert np.all(dense > usual)
    turned = booth.true_spectra([replace(level, level=1.0, turn=0.8)])
    assert np.abs(turned / usual - 1.0).max() > 0.05


def test_what_is_said_is_not_what_is(tmp_path: Path) -> None:
    """The shelf's file says what the world says; the panels know nothing of it."""
    world = World(says_panel_cv=0.05, says_film_index=1.5, says_geometry="45:0")
    rng = np.random.default_rng(1)
    grounds = lamp_grounds()
    booth = Booth(
        lamp_toners(), grounds, rng, panel_cv=0.1, geometry="di:8", film_index=1.45, world=world
    )
    booth.write_shelf(tmp_path, booth.bare("white"))
    text = (tmp_path / "shelf.toml").read_text(encoding="utf-8")
    for line in ("panel_cv = 0.05", "film_index = 1.5", 'geometry = "45:0"'):
        assert line in text.splitlines()
    honest = Booth(
        lamp_toners(),
        grounds,
        np.random.default_rng(1),
        panel_cv=0.1,
        geometry="di:8",
        film_index=1.45,
    )
    panel = booth.single({"ember": 1}, 6, 3, "white")
    np.testing.assert_array_equal(booth.true_spectra([panel]), honest.true_spectra([panel]))


def test_fresh_panels_come_from_the_same_world() -> None:
    """Panels sprayed with a careful hand over usual grounds are what `true_load` foretells."""
    booth = _booth(World(per_doubling=0.05, later_coats=0.9, black=0.002))
    blends = _recipes(8, 5)
    fresh = booth.fresh_labs(blends, "silver", times=2, read_noise=False)
    told = booth.true_lab(blends.fractions, booth.true_load(blends), "silver")
    np.testing.assert_allclose(fresh, np.broadcast_to(told, fresh.shape), atol=1e-9)


def test_a_kind_world_changes_nothing() -> None:
    """Draws of grounds are their own: hand and instrument stay as they are in a kind world."""
    kind, unsteady = (
        _booth(world, panel_cv=0.05, coat_cv=0.04) for world in (None, World(ground_cv=0.03))
    )
    steps = [booth.letdown_set(strips=True) for booth in (kind, unsteady)]
    assert [s.build for s in steps[0]] == [s.build for s in steps[1]]
    assert all(step.level == 1.0 == step.turn for step in steps[0])


def test_dark_lab_readings_are_noisier() -> None:
    """Lab made from a noisy spectrum scatters more where it is dark; lights share that noise."""
    booth = _booth(World(dark_noise=True))
    dark = replace(booth.single({"ash": 1}, 6, 1, "graphite"), build=9.0)
    read = booth.read_labs([dark] * PANELS, ("D65/10", "A/10"))
    plain = _booth().read_labs([dark] * PANELS, ("D65/10",))["D65/10"]
    assert np.std(read["D65/10"][:, 0]) > 1.2 * np.std(plain[:, 0])
    together = np.corrcoef(read["D65/10"][:, 0], read["A/10"][:, 0])[0, 1]
    assert together > 0.2


def test_one_phase_function_at_a_time() -> None:
    """Two sorts of pearl in one booth are refused, as its optics holds one."""
    first, second, *rest = lamp_toners()
    odd = (replace(first, asymmetry=0.8), replace(second, asymmetry=0.5), *rest)
    with pytest.raises(ValueError, match="one phase function"):
        Booth(odd, lamp_grounds(), np.random.default_rng(1))
