"""An instrument whose white or black moves along the rows is told; a steady one is not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from fewtone.colorimetry import lab_from_xyz, white_point, xyz
from fewtone.learning.diagnosis.drift import Course, Drift, find_drift
from fewtone.learning.estimate import estimate, fit, judge
from fewtone.learning.observations import observe
from fewtone.learning.uncertainty import shared_covariance
from fewtone.model.readings import Reading, Readings
from fewtone.typing import FloatArray
from unit.learning.shelves import D65, GRID, curves_of, settings, spray

CURVES = curves_of(450.0, 530.0, 600.0)
LINES = [
    (f"{toner}-{ground}-{coats}", f"{toner}, 6:1, {coats} coats over {ground}")
    for coats in (1, 2, 4)
    for toner in CURVES
    for ground in ("white", "silver")
]
SIZES = {"white": 0.015, "black": 0.004}
READINGS = spray(CURVES, LINES)
COUNT = len(READINGS.items)
EVENLY = np.linspace(0.0, 1.0, COUNT)


def _moved(kind: str, along: FloatArray, dates: Sequence[str] = ()) -> Readings:
    items: list[Reading] = []
    for i, (item, share) in enumerate(zip(READINGS.items, along, strict=True)):
        assert item.reflectance is not None
        by = SIZES[kind] * share
        read = item.reflectance * (1.0 + by) if kind == "white" else item.reflectance + by
        items.append(replace(item, reflectance=read, date=dates[i] if dates else ""))
    return replace(READINGS, items=tuple(items))


def _read(item: Reading, more: float) -> Reading:
    assert item.reflectance is not None
    return replace(item, reflectance=item.reflectance + more)


def _found(readings: Readings) -> Drift | None:
    shelf = settings(CURVES)
    problem, prior, solution = fit(shelf, observe(shelf, readings))
    covariance = shared_covariance(problem, prior, solution.at)
    everybody = np.ones(len(problem.seen.panels), dtype=np.bool_)
    return find_drift(problem, solution.at, covariance, everybody)


@pytest.mark.parametrize("kind", ["white", "black"])
def test_a_drift_is_named_with_its_size(kind: str) -> None:
    """Its size is found though curves, grounds and a constant black follow it as they can."""
    drift = _found(_moved(kind, EVENLY))
    assert drift is not None
    assert (drift.kind, drift.course.since) == (kind, "")
    assert drift.change == pytest.approx(SIZES[kind], rel=0.2)
    assert f"instrument's {kind} seems to have drifted:" in str(drift)


@pytest.mark.parametrize("kind", ["white", "black"])
def test_a_step_is_named_with_its_row(kind: str) -> None:
    """An instrument that moved at once is told from one that drifts, and where."""
    first = 10
    drift = _found(_moved(kind, (np.arange(COUNT) >= first).astype(float)))
    assert drift is not None
    assert drift.kind == kind
    assert drift.change == pytest.approx(SIZES[kind], rel=0.2)
    assert f"from row {READINGS.items[first].row} on" in str(drift)


def test_what_is_left_of_a_drift_is_taken_off_too(monkeypatch: pytest.MonkeyPatch) -> None:
    """A great one is told to a twentieth by the fit that it bends, to a hundredth without it."""
    monkeypatch.setitem(SIZES, "black", 0.015)
    moved = _moved("black", (np.arange(COUNT) >= 8).astype(float))
    first = _found(moved)
    assert first is not None
    assert first.change < 0.97 * SIZES["black"]
    shelf = settings(CURVES)
    drift = judge(shelf, moved, observe(shelf, moved)).diagnosis.drift
    assert drift is not None
    assert drift.change == pytest.approx(SIZES["black"], rel=0.01)


def test_dates_say_the_order() -> None:
    """Rows that were sorted after they were read drift by their dates, whatever the format."""
    order = np.random.default_rng(3).permutation(COUNT)
    along = EVENLY[np.argsort(order)]
    times = [f"2031-05-06T{8 + int(9 * share):02d}:{int(540 * share) % 60:02d}" for share in along]
    drift = _found(_moved("white", along, times))
    assert drift is not None
    assert drift.change == pytest.approx(SIZES["white"], rel=0.2)
    # The same order in words that are no dates stays unknown: the rows are taken for it.
    unknown = _found(_moved("white", along, [f"no. {n}" for n in range(COUNT)]))
    assert unknown is None or abs(unknown.change) < 0.8 * SIZES["white"]


def test_a_drift_within_each_day_is_told_so() -> None:
    """An instrument that is calibrated every morning and warms up."""
    half = COUNT // 2
    along = np.concatenate([np.linspace(0.0, 1.0, half), np.linspace(0.0, 1.0, COUNT - half)])
    days = ["2031-05-06"] * half + ["2031-05-07"] * (COUNT - half)
    drift = _found(_moved("black", along, days))
    assert drift is not None
    assert drift.course.daily
    assert "within each day" in str(drift)


def test_bare_grounds_that_read_unlike_films_are_no_step() -> None:
    """They are read first, and what the film model misses between the two is of no time."""
    bare, films = READINGS.items[:2], READINGS.items[2:]
    off = [_read(item, -SIZES["black"]) for item in bare * 6]
    items = [
        replace(item, row=row, panel=f"{item.panel}-{row}" if item.is_bare else item.panel)
        for row, item in enumerate((*off, *films), 2)
    ]
    drift = _found(replace(READINGS, items=tuple(items)))
    assert drift is None or not drift.course.since


def test_a_steady_instrument_is_left_in_peace() -> None:
    """Nothing moved."""
    assert _found(READINGS) is None


def _labs(readings: Readings) -> FloatArray:
    spectra = np.stack([np.asarray(item.reflectance) for item in readings.items])
    return lab_from_xyz(xyz(spectra, GRID, D65), white_point(D65))


@pytest.mark.parametrize("kind", ["white", "black"])
def test_a_drift_is_taken_off(kind: str) -> None:
    """Spectra and Labs become those of the instrument as it was at first."""
    course = Course(EVENLY, 0.0)
    moved = _moved(kind, EVENLY)
    seen = observe(settings(CURVES), moved)
    lab, true = _labs(moved), _labs(READINGS)
    seen = replace(seen, lights=(D65,), lab=lab[:, np.newaxis])
    undone = Drift(kind, SIZES[kind], 0.001, course).undone(seen)
    np.testing.assert_allclose(undone.lab[:, 0], true, atol=1e-9)
    np.testing.assert_allclose(undone.spectral, observe(settings(CURVES), READINGS).spectral)


@pytest.mark.parametrize("kind", ["white", "black"])
def test_curves_are_learnt_with_a_drift_taken_off(kind: str) -> None:
    """They are those of a steady instrument, far nearer than the fit that takes all as read."""
    shelf, moved = settings(CURVES), _moved(kind, EVENLY)
    steady = estimate(shelf, READINGS).curves.absorption
    as_read = fit(shelf, observe(shelf, moved))[2].at.absorption
    learnt = estimate(shelf, moved)
    assert any(f"instrument's {kind}" in caution for caution in learnt.report.cautions)
    assert learnt.report.suspects == ()
    off, off_as_read = (
        float(np.abs(np.log(curves / steady)).mean())
        for curves in (learnt.curves.absorption, as_read)
    )
    assert off < 0.35 * off_as_read
