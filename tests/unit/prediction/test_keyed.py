"""Curves with keyed grounds beside those that were learnt."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fewtone.colorimetry import delta_e_2000
from fewtone.model.recipe import parse
from fewtone.prediction.forward import lab_of
from fewtone.prediction.keyed import as_if_read, mixing_covariance, with_keyed
from fewtone.prediction.recipes import predict
from invented import invented_shelf

MIX, OTHER = "2 silver + 1 gold", "1 charcoal + 1 white"
CURVES, SETTINGS = invented_shelf(3, 4, 4, unsure=0.01)
# Central differences against one-sided ones of a tenth of the deviation.
DIFFERENCE = 0.02


def test_only_what_is_not_learnt_and_can_be_worked_out_is_added() -> None:
    """Learnt grounds stay as they are; a parent that is not learnt leaves its mixes out."""
    assert with_keyed(CURVES, ["silver", "2 silver + 1 moss"]) is CURVES
    wide = with_keyed(CURVES, [MIX, OTHER, MIX])
    assert wide.grounds == (*CURVES.grounds, MIX, OTHER)
    assert wide.predicted_grounds == (MIX, OTHER)
    assert np.array_equal(wide.ground_reflectance[:4], CURVES.ground_reflectance)
    assert 0.0 < wide.return_ratio[4] < 1.0
    assert with_keyed(wide, [MIX]) is wide


def test_what_was_learnt_is_as_sure_as_before() -> None:
    """Recipes over the parents keep their colour and its deviation, to the last digit."""
    recipe = parse("2 toner-00 + 1 toner-01, 6:1, 3 coats over gold")
    before, after = (
        predict(curves, [recipe], SETTINGS.measurement.light, deviations=True)
        for curves in (CURVES, with_keyed(CURVES, [MIX, OTHER]))
    )
    assert np.array_equal(before.lab, after.lab)
    assert before.lab_sd is not None
    assert after.lab_sd == pytest.approx(before.lab_sd, rel=1e-12)


def test_a_mix_deviates_as_its_parents_do() -> None:
    """Each learnt direction moves a mix as far as moving the parents along it does."""
    sure = CURVES.uncertainty
    assert sure is not None
    wide = with_keyed(CURVES, [MIX]).uncertainty
    assert wide is not None
    # Directions of nothing before: some stand between, before those that no panel tells of.
    assert wide.lasting == sure.lasting
    learnt = np.flatnonzero(wide.absorption.any(axis=(1, 2)))
    for k, row in enumerate(learnt[:4]):
        step = 0.1
        moved = replace(
            CURVES,
            ground_reflectance=CURVES.ground_reflectance + step * sure.ground_reflectance[k],
            return_ratio=CURVES.return_ratio + step * sure.return_ratio[k],
        )
        there, here = with_keyed(moved, [MIX]), with_keyed(CURVES, [MIX])
        by = (there.ground_reflectance[4] - here.ground_reflectance[4]) / step
        size = np.abs(by).max() + 1e-6
        assert wide.ground_reflectance[row, 4] == pytest.approx(by, abs=DIFFERENCE * size)


def test_directions_that_no_panel_tells_of_stay_last() -> None:
    """What lasts through a job is counted from the end, before and after mixes are added."""
    sure = CURVES.uncertainty
    assert sure is not None
    some = replace(sure, lasting=2)
    wide = with_keyed(replace(CURVES, uncertainty=some), [MIX]).uncertainty
    assert wide is not None
    assert wide.lasting == 2
    for before, after in (
        (some.absorption, wide.absorption),
        (some.ground_reflectance, wide.ground_reflectance[:, :4]),
    ):
        assert np.array_equal(after[-2:], before[-2:])
        assert np.array_equal(after[: len(before) - 2], before[:-2])
        assert len(after) > len(before)


def test_a_stronger_parent_counts_for_more_and_unknown_strengths_make_unsure() -> None:
    """The learnt log strength enters the law; an unread mix is far less sure than its parents."""
    strong = replace(CURVES, key_strength=np.array([0.0, 1.0, 0.0, 0.0]))
    plain, silvery = (
        with_keyed(curves, ["1 charcoal + 1 silver"]).ground_reflectance[4].mean()
        for curves in (CURVES, strong)
    )
    assert silvery > plain
    bare = predict(
        with_keyed(CURVES, [MIX]),
        [parse(f"toner-00, 6:1, 0 coats over {name}") for name in ("silver", MIX)],
        SETTINGS.measurement.light,
        deviations=True,
    )
    assert bare.lab_sd is not None
    assert bare.lab_sd[1, 0] > 3.0 * bare.lab_sd[0, 0]


def test_once_read_it_is_as_sure_as_its_parents() -> None:
    """Of a guess that reads as predicted, what the parents leave open is left."""
    sure = CURVES.uncertainty
    assert sure is not None
    read = as_if_read(with_keyed(CURVES, [MIX])).uncertainty
    assert read is not None
    assert np.array_equal(read.absorption, sure.absorption)
    assert np.array_equal(read.ground_reflectance[:, :4], sure.ground_reflectance)
    spread = np.sqrt((read.ground_reflectance[:, 4] ** 2).sum(axis=0)).mean()
    parents = np.sqrt((sure.ground_reflectance[:, [1, 3]] ** 2).sum(axis=0)).mean()
    assert 0.1 * parents < spread < 3.0 * parents


def test_the_law_s_misses_take_as_few_directions_as_hold_most_of_them() -> None:
    """.97 of their variance; no fewer directions could (C. Eckart and G. Young, 1936)."""
    sure, wide = CURVES.uncertainty, with_keyed(CURVES, [MIX])
    assert sure is not None
    assert wide.uncertainty is not None
    variances = np.linalg.svd(mixing_covariance(CURVES.wavelength_nm), compute_uv=False)
    held = np.cumsum(variances) / variances.sum()
    fewest = int((held < 0.97).sum()) + 1
    # Beside those of each ground's strength and of the mix's return ratio.
    added = len(wide.uncertainty.absorption) - len(sure.absorption)
    assert added - len(CURVES.grounds) - 1 == fewest
    own = wide.uncertainty.ground_reflectance[:, 4] / wide.ground_reflectance[4]
    end = len(own) - sure.lasting - 1
    shapes = own[end - fewest : end]
    assert (shapes**2).sum() == pytest.approx(held[fewest - 1] * variances.sum(), rel=1e-9)


def test_the_law_misses_by_no_more_than_a_few_units() -> None:
    """ΔE00 of grey mixes drawn about it, which is what the optics state for it in all."""
    covariance, light = mixing_covariance(CURVES.wavelength_nm), SETTINGS.measurement.light
    log = np.random.default_rng(6).multivariate_normal(np.zeros(len(covariance)), covariance, 4000)
    drawn, grey = (lab_of(CURVES, 0.3 * np.exp(part), light) for part in (log, 0.0 * log[:1]))
    assert 0.5 < delta_e_2000(drawn, grey[0]).mean() < 3.0


def test_a_slanted_solid_makes_its_mixes_no_less_sure() -> None:
    """Its return ratio beyond 1 is no deviation from 1."""
    sure = []
    for ratio in (1.0, 1.3):
        curves, _ = invented_shelf(5, 3, 2, unsure=0.02)
        assert curves.uncertainty is not None
        of_flake = curves.uncertainty.return_ratio * [0.0, 1.0]
        curves = replace(
            curves,
            return_ratio=np.append(ratio, curves.return_ratio[1:]),
            ground_reflectance=curves.ground_reflectance * [[0.4], [1.0]],
            uncertainty=replace(curves.uncertainty, return_ratio=of_flake),
        )
        wide = with_keyed(curves, ["2 white + 1 silver"])
        assert wide.uncertainty is not None
        off = wide.uncertainty.ground_reflectance[:, -1]
        sure.append(np.sqrt((off**2).sum(axis=0)))
    assert sure[1] == pytest.approx(sure[0], rel=0.3)
