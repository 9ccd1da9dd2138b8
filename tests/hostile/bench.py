"""A small shelf, quickly learnt, with one file of every kind beside it: what the trials hurt."""

from __future__ import annotations

import contextlib
import csv
import io
from pathlib import Path

from openpyxl import Workbook

import fewtone
from exports import NM, cgats, colour_object, cxf, lab_value, specification, spectrum
from fewtone.cli import main

__all__ = ["RECIPE", "TONERS", "prepare"]

TONERS = ("marigold", "dusk", "harbour")
GROUNDS = ("silver", "white")
RECIPE = "2 marigold + 1 dusk, 6:1, 4 coats over silver"
_SETTINGS = """format = 1
name = "Bench"

[measurement]
geometry = "45:0"
illuminant = "D65"
observer = 10
repeat_sd = 0.1

[mixing]
medium_parts = [6, 8, 4]
coats = [2, 5]
max_part = 3
tolerance = 1.0
cup_ml = 10
scale_g = 0.1
ml_per_m2 = 110

[medium]
density = 0.98
price = 20

[[additives]]
name = "reducer"
percent = 10
density = 0.87

[toners.marigold]
density = 1.02
price = 41.0

[toners.dusk]
label = "Dusk"
density = 1.01

[toners.harbour]
density = 1.03
in_stock = true

[grounds.silver]
kind = "metallic"
label = "Fine silver"

[grounds.white]
kind = "solid"
"""
_EVERY_NM = 20  # half of the wavelengths, so that learning takes tenths of a second


def prepare(folder: Path) -> Path:
    """Write ``folder/shelf``, learnt, and the files beside it; return `folder`.

    The demo shelf's readings of three toners over two grounds, its data invented.
    """
    fewtone.new(folder / "demo", demo=True)
    shelf = folder / "shelf"
    shelf.mkdir()
    (shelf / "shelf.toml").write_text(_SETTINGS, encoding="utf-8")
    demo = (folder / "demo" / "readings.csv").read_text(encoding="utf-8")
    (shelf / "readings.csv").write_text(_fewer(demo), encoding="utf-8")
    for file in (folder / "demo").iterdir():
        file.unlink()
    (folder / "demo").rmdir()
    fewtone.learn(shelf)
    lab = [[f"{TONERS[0]}, 6:1, {coats} coats over white", 60, 10 + coats, 40] for coats in (2, 4)]
    (folder / "lab.txt").write_bytes(
        cgats(
            lab,
            ("SAMPLE_NAME", "LAB_L", "LAB_A", "LAB_B"),
            {
                "WEIGHTING_FUNCTION": "ILLUMINANT,D65;OBSERVER,10 degree",
                "MEASUREMENT_GEOMETRY": "45/0",
            },
        )
    )
    values = [round(0.2 + 0.01 * i, 3) for i in range(len(NM))]
    objects = [
        colour_object(f"{TONERS[1]}, 6:1, 3 coats over silver", spectrum(values)),
        colour_object(f"{TONERS[2]}, 6:1, 3 coats over silver", lab_value((40, 1, -20))),
    ]
    (folder / "spectra.cxf").write_bytes(cxf(objects, [specification(light=("D65", "10_Degree"))]))
    book = str(folder / "book.db")
    exports = [folder / "jobs.json", folder / "jobs.csv"]
    for words in (
        ("keep", "lamp", RECIPE, "--target", "38,-18,9", "--shelf", str(shelf), "--book", book),
        ("note", "lamp", "an invented lamp", "--book", book),
        *(("export", str(export), "--book", book) for export in exports),
    ):
        with (
            contextlib.redirect_stdout(io.StringIO()),
            contextlib.redirect_stderr(io.StringIO()),
            contextlib.suppress(SystemExit),
        ):
            main(["job", *words])
    assert all(export.is_file() for export in exports)
    (folder / "deck.csv").write_text(
        "number,L,a,b,name\n101,38.2,-18.4,9.7,moss\n102,60,20,40,amber\n103,25,5,-30,night\n",
        encoding="utf-8",
    )
    deck = Workbook()
    sheet = deck.active
    assert sheet is not None
    for row in (
        ("number", "L", "a", "b", "name", "light"),
        (101, 38.2, -18.4, 9.7, "moss", None),
        ("L-7", 60, 20, "40", "amber", "D50/2"),
        (103, 25, 5, -30.5, "night", None),
    ):
        sheet.append(row)
    deck.save(folder / "deck.xlsx")
    return folder


def _fewer(text: str) -> str:
    rows = list(csv.DictReader(io.StringIO(text)))
    columns = [c for c in rows[0] if not c.isdigit() or (int(c) - 400) % _EVERY_NM == 0]
    kept = [
        row
        for row in rows
        if row["ground"] in GROUNDS
        and set(row["blend"].replace("+", " ").split()) - {str(n) for n in range(10)}
        <= {*TONERS, "medium"}
    ]
    out = io.StringIO()
    writer = csv.DictWriter(out, columns, extrasaction="ignore", lineterminator="\n")
    writer.writeheader()
    writer.writerows(kept)
    return out.getvalue()
