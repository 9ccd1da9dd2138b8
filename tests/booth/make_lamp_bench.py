"""Make the demo shelf's readings: an invented bench that refinishes lamp bodies.

Run `python tests/booth/make_lamp_bench.py`; it writes toners/lamp-bench/readings.csv, always the
same bytes. shelf.toml beside it is written by hand. The optics is the booth's, not the package's,
so that the demo is a fair trial of what is learnt from it.
"""

from __future__ import annotations

import shutil
import sys
from collections.abc import Sequence
from pathlib import Path

import numpy as np

# As a script, this file's own folder leads the path; the booth is found from the one above.
sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from booth.dyes import lamp_grounds, lamp_toners
from booth.panels import Booth, Step

__all__ = ["SHELF", "lamp_booth", "spray_bench", "write_lab_only", "write_spectral"]

SHELF = Path(__file__).resolve().parents[2] / "toners" / "lamp-bench"
SEED = 20
HOUSE_LETDOWN = 6
# A pale toner shows best in many coats, and thick films separate what thin ones cannot.
COATS = {"white": (1, 2, 3, 4, 6), "silver": (1, 2, 3, 4)}
FIRST_NOTES = {
    "primrose": "first strip of the bench",
    "poppy": "new fluid tip from here on",
    "fern": "humid evening",
    "mist": "barely tints at one coat",
}
# Blends of neighbours over the usual grounds, and a few over the two that see no strips.
BLEND_PANELS: tuple[tuple[dict[str, int], int, int, str, str], ...] = (
    ({"marigold": 2, "dusk": 1}, 6, 4, "silver", "the old workshop lamp"),
    ({"poppy": 2, "ember": 1}, 6, 3, "white", ""),
    ({"harbour": 1, "lagoon": 1}, 8, 3, "silver", ""),
    ({"fern": 3, "primrose": 1}, 6, 2, "brass", ""),
    ({"marigold": 1}, 6, 3, "brass", ""),
    ({"peony": 1, "mist": 1}, 8, 2, "brass", "stirred twice"),
    ({"ember": 1, "ash": 1}, 6, 2, "graphite", ""),
    ({"lagoon": 1}, 8, 2, "graphite", ""),
    ({"umber": 1, "primrose": 2}, 6, 3, "white", ""),
)
# Working days, invented as everything here.
DAYS = ("2025-03-03", "2025-03-04", "2025-03-05", "2025-03-06", "2025-03-10", "2025-03-11")


def lamp_booth(seed: int = SEED, *, panel_cv: float = 0.05, coat_cv: float = 0.04) -> Booth:
    """Return the bench's booth: twelve toners, four grounds, 45:0, a human hand."""
    rng = np.random.default_rng(seed)
    return Booth(lamp_toners(), lamp_grounds(), rng, panel_cv=panel_cv, coat_cv=coat_cv)


def spray_bench(booth: Booth) -> list[Step]:
    """Spray the bench: bare grounds, a strip of every toner over two grounds, some blends."""
    steps: list[Step] = []
    for ground in booth.grounds:
        steps += booth.bare(ground.name, 3, date=DAYS[0], note="bare under clear")
    for place, name in enumerate(booth.names):
        day = DAYS[place * (len(DAYS) - 1) // len(booth.names)]
        for ground_name, coats in COATS.items():
            note = FIRST_NOTES.get(name, "") if ground_name == "white" else ""
            steps += booth.strip({name: 1}, HOUSE_LETDOWN, coats, ground_name, date=day, note=note)
    for blend, letdown, coats_of_it, ground_name, note in BLEND_PANELS:
        steps.append(
            booth.single(blend, letdown, coats_of_it, ground_name, date=DAYS[-1], note=note)
        )
    return steps


def write_spectral(folder: Path) -> None:
    """Write the bench's spectral readings.csv into a folder."""
    booth = lamp_booth()
    booth.write_readings(folder / "readings.csv", spray_bench(booth))


def write_lab_only(folder: Path, lights: Sequence[str] = ("D65/10",)) -> None:
    """Write the same bench as a Lab instrument gives it: the shelf.toml, and Lab readings.

    The first of `lights` must be the shelf's own, D65/10.
    """
    folder.mkdir(parents=True, exist_ok=True)
    shutil.copyfile(SHELF / "shelf.toml", folder / "shelf.toml")
    booth = lamp_booth()
    booth.write_readings(folder / "readings.csv", spray_bench(booth), lights)


if __name__ == "__main__":
    write_spectral(SHELF)
    print(f"wrote {SHELF / 'readings.csv'}")
