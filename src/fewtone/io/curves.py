"""``curves.csv``: what learning found, as text that a person can read and plot.

Comment lines state format, units, geometry, the hash of the readings and the fewtone version.
Below them one row per toner or ground and quantity, one column per wavelength in nm. How sure
they are stands in a file beside it, see `fewtone.io.uncertainty`.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from fewtone.errors import Fault, FewtoneError
from fewtone.io.atomic import locked, write_atomic
from fewtone.io.files import decode, read_bytes
from fewtone.io.learnt import save_learnt
from fewtone.io.uncertainty import (
    load_uncertainty,
    remove_other_uncertainties,
    save_uncertainty,
    uncertainty_file,
)
from fewtone.model.curves import Curves
from fewtone.optics.film import FilmOptics, Geometry
from fewtone.typing import BoolArray, FloatArray

__all__ = ["CURVES_FILE", "as_stored", "load_curves", "save_curves", "uncertainty_is_lost"]

CURVES_FILE = "curves.csv"
# 3: the internal-return ratio of `fewtone.optics.flake` goes by its full name.
FORMAT = 3
_HEAD = 4000  # bytes that hold the comment lines
_UNITS = (
    "absorption is the absorption optical depth of one standard coat at unit volume fraction [1]; "
    "scattering likewise, for toners that scatter; "
    "reflectance is that of the ground inside the film [1]; "
    "return_ratio is the ground's internal-return ratio [1]; "
    "key_strength is the logarithm of the ground's strength in keyed grounds [1]"
)

_BESIDE = "in uncertainty-*.npz, named by the beginning of this file's SHA-256"

# Logarithms may be negative.
_LEAST = {"key_strength": -20.0}
_QUANTITIES = (
    ("toner", "absorption"),
    ("toner", "scattering"),
    ("ground", "reflectance"),
    ("ground", "return_ratio"),
    ("ground", "key_strength"),
)


def save_curves(folder: Path, curves: Curves, report: Mapping[str, Any] | None = None) -> Path:
    """Write a shelf's curves, whole or not at all; return the file.

    Parameters
    ----------
    folder
        The shelf's folder.
    curves
        What is written, its uncertainty included.
    report
        The document of `learn`, kept beside them as `fewtone.io.learnt` has it; None for nothing.

    Raises
    ------
    FewtoneError
        The folder cannot be written to.
    """
    path = folder / CURVES_FILE
    data = _text(curves).encode()
    with locked(path):
        # The curves come last: until they stand, the old ones and what belongs to them hold.
        save_uncertainty(folder, curves, data)
        if report is not None:
            save_learnt(folder, report, data)
        write_atomic(path, data)
        remove_other_uncertainties(folder, data)
    return path


def as_stored(curves: Curves) -> Curves:
    """The curves as they come back from their file, where numbers have seven digits.

    Parameters
    ----------
    curves
        What would be written; its uncertainty is left out.
    """
    return _parsed(_text(curves).splitlines())


def _text(curves: Curves) -> str:
    text = io.StringIO()
    for key, value in (
        ("format", FORMAT),
        ("written by", f"fewtone {curves.version}, from readings.csv; learn writes it anew"),
        ("units", _UNITS),
        ("geometry", curves.optics.geometry),
        ("film_index", curves.optics.index),
        ("stated_film_index", curves.stated_index),
        ("surface", curves.optics.surface),
        ("edge", curves.optics.edge),
        *([("asymmetry", curves.optics.asymmetry)] if curves.optics.asymmetry else []),
        ("middle_letdown", curves.middle_letdown),
        ("strength_per_doubling_of_letdown", curves.per_doubling),
        ("thinning_of_later_coats", curves.thinning),
        ("metallic", ", ".join(np.array(curves.grounds)[curves.metallic])),
        ("ground_cv of solids, metallics", _pair_text(curves.ground_cv)),
        *([("panel_cv, coat_cv", _pair_text(curves.hand))] if curves.hand else []),
        ("readings_sha256", curves.readings_digest),
        *([("uncertainty", _BESIDE)] if curves.uncertainty is not None else []),
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
    for name, row, return_ratio, strength in zip(
        curves.grounds,
        curves.ground_reflectance,
        curves.return_ratio,
        curves.key_strength,
        strict=True,
    ):
        writer.writerow(["ground", name, "reflectance", *map(_plain, row)])
        writer.writerow(["ground", name, "return_ratio", *[_plain(return_ratio)] * width])
        if strength:
            writer.writerow(["ground", name, "key_strength", *[_plain(strength)] * width])
    return text.getvalue()


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
    curves, data = _read(path, folder)
    sure = load_uncertainty(folder, data, curves)
    if sure.uncertainty is None and not uncertainty_file(folder, data).exists():
        # They may have been learnt anew between one look and the next.
        curves, data = _read(path, folder)
        sure = load_uncertainty(folder, data, curves)
    return sure


def uncertainty_is_lost(folder: Path, curves: Curves) -> bool:
    """Whether a shelf's curves were written with how sure they are, and came back without.

    Parameters
    ----------
    folder
        The shelf's folder.
    curves
        What `load_curves` read from it.
    """
    if curves.uncertainty is not None:
        return False
    note = f"# uncertainty: {_BESIDE}\n".encode()
    return note in read_bytes(folder / CURVES_FILE)[:_HEAD]


def _read(path: Path, folder: Path) -> tuple[Curves, bytes]:
    data = read_bytes(path)
    lines = decode(data, path.name).splitlines()
    try:
        return _parsed(lines), data
    except (KeyError, ValueError, IndexError, csv.Error, FewtoneError) as error:
        raise FewtoneError(
            Fault(
                f"This file is not as `fewtone learn` writes it ({str(error)[:200]}).",
                fix=f"Run `fewtone learn --shelf {folder}` to write it anew.",
                file=path.name,
            )
        ) from error


def _parsed(lines: list[str]) -> Curves:
    notes = _notes(lines)
    rows = list(csv.reader(line for line in lines if not line.startswith("#")))
    if notes["format"] != str(FORMAT):
        raise ValueError(f"format {notes['format'][:20]} is not {FORMAT}")
    return _curves(notes, rows)


def _notes(lines: list[str]) -> dict[str, str]:
    notes: dict[str, str] = {}
    for row, line in enumerate(lines, 1):
        if line.startswith("# "):
            name, colon, said = line[2:].partition(": ")
            if not colon:
                raise ValueError(f"row {row} says nothing that belongs here")
            notes[name] = said
    return notes


def _curves(notes: dict[str, str], rows: list[list[str]]) -> Curves:
    header, *body = rows
    tables: dict[tuple[str, str], dict[str, FloatArray]] = {key: {} for key in _QUANTITIES}
    for kind, name, quantity, *values in body:
        tables[kind, quantity][name] = _numbers(values, least=_LEAST.get(quantity, 0.0))
    wavelength_nm = _numbers(header[3:])
    if len(wavelength_nm) < 2 or not (np.diff(wavelength_nm) > 0).all():
        raise ValueError("the wavelengths do not ascend")
    if any(len(row) != len(wavelength_nm) for rows in tables.values() for row in rows.values()):
        raise ValueError("a row is longer or shorter than the first line")
    absorption, reflectance = tables["toner", "absorption"], tables["ground", "reflectance"]
    return Curves(
        wavelength_nm=wavelength_nm,
        toners=tuple(absorption),
        absorption=np.stack(list(absorption.values())),
        scattering=np.stack(
            [tables["toner", "scattering"].get(name, 0.0 * a) for name, a in absorption.items()]
        ),
        grounds=tuple(reflectance),
        ground_reflectance=np.stack(list(reflectance.values())),
        return_ratio=np.array([tables["ground", "return_ratio"][name][0] for name in reflectance]),
        key_strength=np.array(
            [tables["ground", "key_strength"].get(name, [0.0])[0] for name in reflectance]
        ),
        metallic=_metallic(notes.get("metallic"), tuple(reflectance)),
        optics=FilmOptics(
            Geometry(notes["geometry"]),
            float(notes["film_index"]),
            float(notes["surface"]),
            float(notes["edge"]),
            float(notes.get("asymmetry", 0.0)),
        ),
        stated_index=float(notes["stated_film_index"]),
        middle_letdown=float(notes.get("middle_letdown", 6.0)),
        per_doubling=float(notes.get("strength_per_doubling_of_letdown", 0.0)),
        thinning=float(notes.get("thinning_of_later_coats", 0.0)),
        hand=_pair(notes["panel_cv, coat_cv"]) if "panel_cv, coat_cv" in notes else None,
        ground_cv=_pair(notes.get("ground_cv of solids, metallics", "0, 0")),
        readings_digest=notes["readings_sha256"],
        version=notes["written by"].split()[1].rstrip(","),
    )


def _metallic(names: str | None, grounds: tuple[str, ...]) -> BoolArray:
    """Which grounds hold flake, ``(n_grounds,)``; of a file that does not say so, nothing."""
    if names is None:
        return np.zeros(0, dtype=np.bool_)
    flaked = {name for name in names.split(", ") if name}
    if flaked - set(grounds):
        raise ValueError("what is metallic is not among the grounds")
    return np.array([name in flaked for name in grounds], dtype=np.bool_)


def _pair(text: str) -> tuple[float, float]:
    one, other = _numbers(text.split(", "))
    return float(one), float(other)


def _pair_text(pair: tuple[float, float]) -> str:
    return ", ".join(map(_plain, pair))


def _numbers(cells: list[str], least: float = 0.0) -> FloatArray:
    values = np.array(cells, dtype=float)
    if not (np.isfinite(values) & (values >= least)).all():
        raise ValueError("a number is negative or none")
    return values


def _plain(value: float) -> str:
    return f"{value:.7g}"
