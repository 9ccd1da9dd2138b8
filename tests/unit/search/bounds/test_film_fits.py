"""Fits of films that `learn` stored: used for what they are of, and for nothing else."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fewtone.io.curves import CURVES_FILE, load_curves, save_curves
from fewtone.io.uncertainty import uncertainty_file
from fewtone.model.curves import Curves
from fewtone.model.film_fit import FilmFit
from fewtone.recipes.evaluate import evaluator_of
from fewtone.recipes.rules import Rules
from fewtone.search.bounds import exponentials
from fewtone.search.bounds.exponentials import exponentials_of, film_fits
from invented import invented_shelf, lab_target
from shared import learnt_demo

CURVES, SETTINGS = invented_shelf(5, 3, 3, unsure=0.02)
PLANTED = 0.5


def error(curves: Curves) -> float:
    """What a search takes the sums for its grounds to be off by."""
    target = lab_target((40.0, 0.0, 0.0))
    return exponentials_of(evaluator_of(curves, Rules.of(SETTINGS), target).films).error


def planted(ground: int = 1) -> Curves:
    """Curves whose fit over one ground is told to be off by a half: whoever uses it says so."""
    digest, fit = film_fits(CURVES)[ground]
    return replace(CURVES, fits={digest: FilmFit(fit.shares, PLANTED)})


def test_a_stored_fit_is_used() -> None:
    """What a search bounds by is the fit that the curves hold, where they hold one."""
    assert error(CURVES) < 0.01
    assert error(planted()) == pytest.approx(PLANTED, abs=1e-3)


@pytest.mark.parametrize(
    "change",
    [
        lambda curves: replace(curves, optics=replace(curves.optics, index=1.51)),
        lambda curves: replace(curves, optics=replace(curves.optics, edge=0.01)),
        lambda curves: replace(
            curves, ground_reflectance=curves.ground_reflectance * [[1.0], [1.0 - 1e-12], [1.0]]
        ),
        lambda curves: replace(curves, return_ratio=curves.return_ratio * [1.0, 0.99, 1.0]),
    ],
    ids=["index", "edge", "reflectance", "return ratio"],
)
def test_a_fit_of_something_else_is_not(change: object) -> None:
    """Over other grounds and in other optics a fit is made anew, however little they differ."""
    assert callable(change)
    assert error(change(planted())) < 0.01


def test_a_fit_of_another_shape_is_not() -> None:
    """One of fewer exponentials or wavelengths can only be damaged."""
    digest, fit = film_fits(CURVES)[0]
    for shares in (fit.shares[1:], fit.shares[:, 1:]):
        assert error(replace(CURVES, fits={digest: FilmFit(shares, PLANTED)})) < 0.01


def test_learn_stores_the_fits(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of a shelf that was learnt none is made again, and they are the same to the last bit."""
    curves = load_curves(learnt_demo())
    anew = dict(film_fits(replace(curves, fits={})))
    monkeypatch.delattr(exponentials, "_fit")
    stored = dict(film_fits(curves))
    assert len(stored) == len(curves.grounds)
    for digest, fit in anew.items():
        assert np.array_equal(stored[digest].shares, fit.shares)
        assert stored[digest].error == fit.error


def test_without_fits_the_rest_holds(tmp_path: Path) -> None:
    """A file of an earlier version has none; in a damaged one, numbers are no fits."""
    save_curves(tmp_path, CURVES)
    file = uncertainty_file(tmp_path, (tmp_path / CURVES_FILE).read_bytes())
    with np.load(file) as stored:
        arrays = dict(stored)
    earlier = {name: array for name, array in arrays.items() if not name.startswith("fit_")}
    digest, fit = film_fits(CURVES)[0]
    bent = {
        "fit_digests": np.frombuffer(digest, dtype=np.uint8)[np.newaxis],
        "fit_shares": np.array([fit.shares]),
        "fit_errors": np.array([-1.0]),
    }
    for more in ({}, bent, {**bent, "fit_errors": np.array([np.nan])}):
        both: dict[str, Any] = {**earlier, **more}
        np.savez(file, **both)
        loaded = load_curves(tmp_path)
        assert loaded.uncertainty is not None
        assert not loaded.fits
