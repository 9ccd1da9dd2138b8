"""What the finisher writes down of a booth: its panels, readings.csv and shelf.toml."""

from __future__ import annotations

import csv
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from booth.recipes import blend_text

__all__ = ["Step", "shelf_text", "write_table"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Step:
    """One place on a panel that can be read; `build` is its true film in standard coats.

    `level` and `turn` are its ground's reflectance and flake slope, of the usual ones [1].
    """

    panel: str
    ground: str
    blend: Mapping[str, int | float]
    medium_parts: float | None
    coats: float
    build: float
    date: str = ""
    note: str = ""
    level: float = 1.0
    turn: float = 1.0


def write_table(
    path: Path, told: Sequence[Step], columns: Sequence[str], values: Array, decimals: int
) -> None:
    """Write readings.csv: what is told of every panel, and what was read of it."""
    noted = any(step.date or step.note for step in told)
    header = ["panel", "ground", "blend", "medium_parts", "coats"]
    header += ["date", "note"] if noted else []
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow([*header, *columns])
        for step, row in zip(told, values, strict=True):
            words = [step.panel, step.ground, blend_text(step.blend) if step.blend else ""]
            words += ["" if step.medium_parts is None else f"{step.medium_parts:g}"]
            words += [f"{step.coats:g}"]
            words += [step.date, step.note] if noted else []
            # + 0.0 keeps a rounded zero from being written as -0.
            writer.writerow([*words, *(f"{v:.{decimals}f}" for v in row + 0.0)])


def shelf_text(
    *,
    light: str,
    toners: Sequence[str],
    grounds: Mapping[str, str],
    geometry: str,
    film_index: float,
    repeat_sd: float,
    panel_cv: float,
    coat_cv: float,
) -> str:
    """Return a plain shelf.toml; `grounds` maps their names to their kinds."""
    illuminant, observer = light.split("/")
    lines = [
        "format = 1",
        'name = "Booth"',
        'reflectance = "factor"',
        "",
        "[measurement]",
        f'geometry = "{geometry}"',
        f'illuminant = "{illuminant}"',
        f"observer = {observer}",
        f"repeat_sd = {repeat_sd}",
        f"film_index = {film_index}",
        "",
        "[mixing]",
        "medium_parts = [6, 8, 5, 4]",
        "coats = [2, 6]",
        "max_part = 4",
        "tolerance = 1.0",
        f"panel_cv = {panel_cv}",
        f"coat_cv = {coat_cv}",
    ]
    for name in toners:
        lines += ["", f"[toners.{name}]"]
    for ground, kind in grounds.items():
        lines += ["", f"[grounds.{ground}]", f'kind = "{kind}"']
    return "\n".join(lines) + "\n"
