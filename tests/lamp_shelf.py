"""A lamp-bench folder with the booth's true curves: learnt without learning, for bench tests."""

from __future__ import annotations

import hashlib
import shutil
from pathlib import Path

import numpy as np

from booth import GRID_NM, lamp_grounds, lamp_toners
from fewtone.io.curves import save_curves
from fewtone.model.curves import Curves
from fewtone.optics.film import FilmOptics, Geometry

__all__ = ["LAMP_BENCH", "lamp_curves", "write_lamp_shelf"]

LAMP_BENCH = Path(__file__).parents[1] / "toners" / "lamp-bench"
_TRAP = {"solid": 1.0, "metallic": 0.5}


def lamp_curves(digest: str = "") -> Curves:
    """The booth's toners and grounds as curves, metallics with a return ratio of 0.5."""
    toners, grounds = lamp_toners(), lamp_grounds()
    return Curves(
        wavelength_nm=GRID_NM,
        toners=tuple(toner.name for toner in toners),
        absorption=np.stack([toner.absorption for toner in toners]),
        grounds=tuple(ground.name for ground in grounds),
        ground_reflectance=np.stack([ground.reflectance for ground in grounds]),
        return_ratio=np.array([_TRAP[ground.kind] for ground in grounds]),
        optics=FilmOptics(Geometry.DIRECTIONAL),
        readings_digest=digest,
        version="test",
    )


def write_lamp_shelf(folder: Path) -> Path:
    """Write shelf.toml, readings.csv and curves.csv into a new folder and return it."""
    folder.mkdir(parents=True)
    for name in ("shelf.toml", "readings.csv"):
        shutil.copy(LAMP_BENCH / name, folder / name)
    digest = hashlib.sha256((folder / "readings.csv").read_bytes()).hexdigest()
    save_curves(folder, lamp_curves(digest))
    return folder
