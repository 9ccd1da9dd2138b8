"""``curves.csv``: what learning found, as text that a person can read and plot.

Comment lines state format, units, geometry, the hash of the readings and the fewtone version.
Below them one row per toner or ground and quantity, one column per wavelength in nm. How sure
they are stands beside them in ``uncertainty.npz``.
"""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from pathlib import Path

import numpy as np

from fewtone.errors import Fault, FewtoneError
from fewtone.io.atomic import write_atomic
from fewtone.io.table import decode, read_bytes
from fewtone.io.uncertainty import load_uncertainty, save_uncertainty
from fewtone.model.curves import Curves
from fewtone.optics.film import FilmOptics, Geometry
from fewtone.typing import FloatArray

__all__ = ["CURVES_FILE", "load_curves", "save_curves"]

CURVES_FILE = "curves.csv"
# 3: the internal-return ratio of `fewtone.optics.flake` goes by its full name.
FORMAT = 3
_UNITS = (
    "absorption is the absorption optical depth of one standard coat at unit volume fraction [1]; "
    "scattering likewise, for toners that scatter; "
    "reflectance is that of the ground inside the film [1]; "
    "return_ratio is the ground's internal-return ratio [1]"
)


_QUANTITIES = (
    ("toner", "absorption"),
    ("toner", "scattering"),
    ("ground", "reflectance"),
    ("ground", "return_ratio"),
)


def save_curves(folder: Path, curves: Curves) -> Path:
    """Write a shelf's curves, whole or not at all; return the file.

    Raises
    ------
    FewtoneError
        The folder cannot be written to.
    """
    text = io.StringIO()
    for key, value in (
        ("format", FORMAT),
        ("written by", f"fewtone {curves.version}, from readings.csv; learn writes it anew"),
        ("units", _UNITS),
        ("geometry", curves.optics.geometry),
        ("film_index", curves.optics.index),
        ("surface", curves.optics.surface),
        ("readings_sha256", curves.readings_digest),
    ):
        text.write(f"# {key}: {value}\n")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(["kind", "name", "quantity", *(f"{nm:g}" for nm in curves.wavelength_nm)])
    for name, row in zip(curves.toners, curves.absorption, strict=True):
        writer.writerow(["toner", name, "absorption", *map(_plain, row)])
    for name, row in zip(curves.toners, curves.scattering, strict=True):
        if row.any():
            writer.writerow(["toner", name, "scattering", *map(_plain, row)])
    width = len(curves.wavelength_nm)
    for name, row, return_ratio in zip(
        curves.grounds, curves.ground_reflectance, curves.return_ratio, strict=True
    ):
        writer.writerow(["ground", name, "reflectance", *map(_plain, row)])
        writer.writerow(["ground", name, "return_ratio", *[_plain(return_ratio)] * width])
    path = folder / CURVES_FILE
    data = text.getvalue().encode()
    # The curves come last: until they stand, what says how sure they are belongs to nothing.
    if curves.uncertainty is not None:
        save_uncertainty(folder, curves.uncertainty, data)
    write_atomic(path, data)
    return path


def load_curves(folder: Path) -> Curves:
    """Read a shelf's curves.

    Raises
    ------
    FewtoneError
        There are none yet, or the file is not what `save_curves` writes.
    """
    path = folder / CURVES_FILE
    if not path.is_file():
        raise FewtoneError(
            Fault(
                "This shelf is not learnt yet.",
                fix=f"Run `fewtone learn --shelf {folder}` first.",
                file=str(path),
            )
        )
    data = read_bytes(path)
    lines = decode(data, path.name).splitlines()
    notes = dict(line[2:].split(": ", 1) for line in lines if line.startswith("# "))
    rows = list(csv.reader(line for line in lines if not line.startswith("#")))
    try:
        if int(notes["format"]) != FORMAT:
            raise ValueError(f"format {notes['format']} is not {FORMAT}")
        return replace(_curves(notes, rows), uncertainty=load_uncertainty(folder, data))
    except (KeyError, ValueError, IndexError) as error:
        raise FewtoneError(
            Fault(
                f"This file is not as `fewtone learn` writes it ({error}).",
                fix=f"Run `fewtone learn --shelf {folder}` to write it anew.",
                file=path.name,
            )
        ) from error


def _curves(notes: dict[str, str], rows: list[list[str]]) -> Curves:
    header, *body = rows
    found: dict[tuple[str, str], dict[str, FloatArray]] = {key: {} for key in _QUANTITIES}
    for kind, name, quantity, *values in body:
        found[kind, quantity][name] = np.array(values, dtype=float)
    absorption, reflectance = found["toner", "absorption"], found["ground", "reflectance"]
    return Curves(
        wavelength_nm=np.array(header[3:], dtype=float),
        toners=tuple(absorption),
        absorption=np.stack(list(absorption.values())),
        scattering=np.stack(
            [found["toner", "scattering"].get(name, 0.0 * a) for name, a in absorption.items()]
        ),
        grounds=tuple(reflectance),
        ground_reflectance=np.stack(list(reflectance.values())),
        return_ratio=np.array([found["ground", "return_ratio"][name][0] for name in reflectance]),
        optics=FilmOptics(
            Geometry(notes["geometry"]), float(notes["film_index"]), float(notes["surface"])
        ),
        readings_digest=notes["readings_sha256"],
        version=notes["written by"].split()[1].rstrip(","),
    )


def _plain(value: float) -> str:
    return f"{value:.7g}"
