"""What the hard case is recorded by: listing every colour, also in parts."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from benchmarks import bench_match
from benchmarks.hard_case import Triple, hard_targets
from fewtone.model.curves import Curves
from fewtone.model.shelf import ShelfSettings
from invented import invented_shelf


def small_shelf() -> tuple[Curves, ShelfSettings]:
    """Five toners of which two are twins, so that recipes of different parts tie."""
    curves, settings = invented_shelf(3, 5, 2, medium_parts=(4, 6), coats=(1, 3), max_part=3)
    return replace(curves, absorption=curves.absorption[[0, 1, 2, 3, 1]]), settings


def few_targets(curves: Curves, settings: ShelfSettings) -> list[tuple[str, Triple]]:
    """Three colours of the shelf, and one out of reach."""
    return hard_targets(curves, settings)[::5]


def test_parts_listed_apart_come_to_what_is_listed_at_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In whatever order they come, the last one merges them all, and the search finds the same."""
    recorded = tmp_path / "picks.json"
    monkeypatch.setattr(bench_match, "hard_shelf", small_shelf)
    monkeypatch.setattr(bench_match, "hard_targets", few_targets)
    monkeypatch.setattr(bench_match, "LISTED_PICKS", recorded)
    *_, verdict = bench_match._exact()
    assert verdict == "identical picks and trade-off: 4 of 4 targets"
    at_once = recorded.read_text(encoding="utf-8")
    recorded.unlink()
    for part in (3, 1, 2):
        assert not recorded.exists()
        *_, said = bench_match._exact_part(part, 3, tmp_path)
    assert recorded.read_text(encoding="utf-8") == at_once
    assert said == verdict
