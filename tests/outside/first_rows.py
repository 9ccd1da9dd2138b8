"""How well blends are foretold from the rows that `new` marks first, and from all it asks for.

Run as a script for the figures that `new` prints: ``python -m outside.first_rows 6`` from tests/,
the number being how many shelves of ten toners are sprayed, each by a hand that varies by 5 %.
"""

from __future__ import annotations

import csv
import sys
import tempfile
from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import groupby
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

import fewtone
from booth import Booth, Step, delta_e, lamp_grounds, random_blends, random_toners
from fewtone.colorimetry import Light
from fewtone.io.readings import load_readings
from fewtone.io.settings import load_settings
from fewtone.learning import estimate
from fewtone.prediction.forward import lab_of, reflectance

__all__ = ["foretold"]

PANEL_CV, N_TONERS, N_BLENDS = 0.05, 10, 300
LIGHTS: dict[str, tuple[str, ...]] = {"spectral": (), "Lab": ("D65/10",)}


def foretold(lights: Sequence[str], seed: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """ΔE00 of unseen blends over all grounds, learnt from the first rows and from all rows."""
    rng = np.random.default_rng(seed)
    booth = Booth(random_toners(rng, N_TONERS), lamp_grounds(), rng, panel_cv=PANEL_CV)
    grounds = {ground.name: ground.kind for ground in booth.grounds}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "new"
        fewtone.new(
            folder,
            toners=booth.names,
            solid=[ground for ground, kind in grounds.items() if kind == "solid"],
            metallic=[ground for ground, kind in grounds.items() if kind == "metallic"],
        )
        with (folder / "readings.csv").open(encoding="utf-8", newline="") as file:
            rows = [*csv.DictReader(file)]
    steps = [step for _, own in groupby(rows, _panel) for step in _sprayed(booth, [*own])]
    first = [step for step, row in zip(steps, rows, strict=True) if row["note"] == "first"]
    blends = random_blends(rng, N_TONERS, N_BLENDS)
    truth = booth.true_lab(blends.fractions[:, None], blends.load[:, None], np.arange(len(grounds)))
    off = []
    for told in (first, steps):
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            booth.write_shelf(folder, told, lights)
            settings = load_settings(folder)
            curves = estimate(settings, load_readings(folder, settings)).curves
        fractions = np.zeros_like(blends.fractions)
        fractions[:, [curves.toners.index(toner) for toner in booth.names]] = blends.fractions
        place = np.array([curves.grounds.index(ground) for ground in grounds])
        doses = (fractions * blends.load[:, None])[:, None]
        film = reflectance(curves, doses, np.broadcast_to(place, (N_BLENDS, len(place))))
        off.append(delta_e(lab_of(curves, film, Light("D65", 10)), truth).ravel())
    return off[0], off[1]


def _panel(row: dict[str, str]) -> str:
    return row["panel"]


def _sprayed(booth: Booth, rows: Sequence[dict[str, str]]) -> Iterable[Step]:
    """One panel of the list: a bare ground, or a strip, its steps in the rows' order."""
    toner, ground = rows[0]["blend"], rows[0]["ground"]
    if not toner:
        return booth.bare(ground, len(rows))
    coats = [int(row["coats"]) for row in rows]
    strip = booth.strip({toner: 1}, float(rows[0]["medium_parts"]), coats, ground)
    by_coats = {step.coats: step for step in strip}
    return [replace(by_coats[count]) for count in coats]


def main(count: int) -> None:
    """Print median and 90th percentile of both, spectra and Lab."""
    for kind, lights in LIGHTS.items():
        both = [foretold(lights, seed) for seed in range(81, 81 + count)]
        for which, name in enumerate(("first rows", "all rows")):
            off = np.concatenate([pair[which] for pair in both])
            median, p90 = np.percentile(off, [50, 90])
            print(f"{kind}, {name}: {median:.2f} / {p90:.2f}", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]))
