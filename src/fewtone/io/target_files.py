"""A target from a file: the one spectrum, or the one CIELAB reading, that it holds.

What is read
    The instruments' files that `fewtone.io.instruments` reads (CxF3, CGATS.17, CSV with a header
    of wavelengths), and CSV of two columns: wavelength [nm] and reflectance, one a line.

The rules
    One sample, in one measurement mode. Percent and factor are told apart as for readings. Where
    the spectrum reaches over the shelf's wavelengths it is brought onto them, so that target and
    prediction are summed alike; where it does not, its own wavelengths count.
"""

from __future__ import annotations

import csv
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np

from fewtone.colorimetry import Light
from fewtone.errors import Fault, FewtoneError
from fewtone.io.files import decode_instrument, read_bytes
from fewtone.io.instruments.choose import choose
from fewtone.io.instruments.samples import Export, Mode, Sample, Spectrum
from fewtone.io.instruments.take import LARGEST_EXPORT, read_export
from fewtone.io.readings import LEAST_NM, MOST_NM
from fewtone.model.numbers import decimal_from
from fewtone.model.shelf import Measurement
from fewtone.model.target import Target, target_geometry
from fewtone.optics.film import Geometry
from fewtone.spectra import learning_grid, resampling, resampling_onto
from fewtone.typing import FloatArray

__all__ = ["read_target_file"]

_FEWEST_LINES = 4
_DELIMITERS = (";", "\t", ",")


def read_target_file(
    path: Path,
    measurement: Measurement,
    *,
    light: Light | None = None,
    wavelength_nm: FloatArray | None = None,
    geometry: Geometry | str | None = None,
    anyway: bool = False,
) -> Target:
    """Read the target that a file holds.

    Parameters
    ----------
    path
        The file.
    measurement
        How the shelf is read.
    light
        Illuminant and observer that a spectrum is taken to be seen in, the shelf's if None; or
        those of Lab values, if the file does not say.
    wavelength_nm
        The shelf's wavelengths [nm], shape ``(n_wavelengths,)``, if they are known.
    geometry
        The geometry that it was read in, where it is said beside the file.
    anyway
        Whether a geometry other than the shelf's is let through, with a caution.

    Raises
    ------
    FewtoneError
        The file cannot be read, holds no reading or several, or its wavelengths have nothing to
        do with the shelf's.
    UsageError
        Its geometry is not the shelf's.
    """
    export = _two_columns(path) or read_export(path, unnamed=path.stem)
    if len(export.samples) > 1:
        raise FewtoneError(_several(path, [sample.name for sample in export.samples]))
    modes = {s.mode for s in export.samples[0].spectra} or {v.mode for v in export.samples[0].labs}
    in_file = {mode.geometry for mode in modes if mode.geometry is not None}
    if geometry is None and in_file and measurement.geometry not in in_file:
        geometry = sorted(in_file)[0]
    read_in, cautions = target_geometry(geometry, measurement, anyway=anyway, request=path.name)
    readings, about = choose(export, replace(measurement, geometry=read_in), light=light)
    cautions += tuple(text for text in about if "is taken to be the shelf's" not in text)
    name = "" if readings[0].name == path.stem else readings[0].name
    if readings[0].wavelength_nm is None or readings[0].reflectance is None:
        labs = readings[0].lab
        where = next(
            (light_read for light_read in (light, measurement.light, *labs) if light_read in labs),
            None,
        )
        assert where is not None, "a reading without a spectrum has Lab"
        return Target(labs[where], where, read_in, path.name, name, cautions)
    read, values = readings[0].wavelength_nm, readings[0].reflectance
    cautions += _range_cautions(path, read, wavelength_nm)
    if wavelength_nm is not None and _reaches_over(read, wavelength_nm):
        values, read = values @ resampling_onto(read, wavelength_nm), wavelength_nm
    else:
        values, read = values @ resampling(read), learning_grid(read)
    try:
        target = Target.of_spectrum(read, values, light or measurement.light, read_in, path.name)
    except FewtoneError as error:
        raise FewtoneError(*(replace(fault, file=path.name) for fault in error.faults)) from error
    return replace(target, name=name, cautions=cautions)


def _several(path: Path, names: list[str]) -> Fault:
    shown = ", ".join(names[:5]) + (" …" if len(names) > 5 else "")
    return Fault(
        f"This file holds {len(names)} readings, and a target is one.",
        fix="Export that one reading by itself.",
        file=path.name,
        value=shown,
    )


def _reaches_over(read: FloatArray, wavelength_nm: FloatArray) -> bool:
    return bool(read[0] <= wavelength_nm[0] and wavelength_nm[-1] <= read[-1])


def _range_cautions(
    path: Path, read: FloatArray, wavelength_nm: FloatArray | None
) -> tuple[str, ...]:
    """What should be told where target and shelf are read over different ranges."""
    if wavelength_nm is None or _reaches_over(read, wavelength_nm):
        return ()
    ranges = (
        f"The target is read from {read[0]:g} to {read[-1]:g} nm, the shelf from "
        f"{wavelength_nm[0]:g} to {wavelength_nm[-1]:g} nm"
    )
    if read[-1] <= wavelength_nm[0] or wavelength_nm[-1] <= read[0]:
        raise FewtoneError(
            Fault(
                f"{ranges}: they do not overlap.",
                fix="Read the target over the visible range, 400 to 700 nm.",
                file=path.name,
            )
        )
    return (f"{ranges}: each is taken to go on beyond its ends as it ends.",)


def _two_columns(path: Path) -> Export | None:
    """A file of wavelength and reflectance line by line; None if it is none."""
    data = read_bytes(path, LARGEST_EXPORT)
    if b"\0" in data[:64] or data.lstrip()[:1] == b"<":
        return None
    lines = [line for line in decode_instrument(data, path.name).splitlines() if line.strip()]
    for delimiter in _DELIMITERS:
        rows = list(csv.reader(lines, delimiter=delimiter))
        if rows and decimal_from(rows[0][0].strip()) is None:
            rows = rows[1:]  # a header
        numbers = [[decimal_from(cell.strip()) for cell in row if cell.strip()] for row in rows]
        width = max(map(len, numbers), default=0)
        if len(numbers) < _FEWEST_LINES or width < 2:
            continue
        first = [row[0] for row in numbers if row and row[0] is not None]
        rising = len(first) == len(numbers) and all(a < b for a, b in pairwise(first))
        if not rising or not LEAST_NM <= first[0] <= first[-1] <= MOST_NM:
            continue
        if width > 2:
            names = [str(number) for number in range(1, width)]
            raise FewtoneError(_several(path, names))
        values = [row[1] if len(row) > 1 else None for row in numbers]
        if None in values:
            line = values.index(None)
            raise FewtoneError(
                Fault(
                    "This wavelength has no reflectance that is a number.",
                    fix="Write one number for each wavelength.",
                    file=path.name,
                    value=f"{first[line]} nm",
                )
            )
        spectrum = Spectrum(
            Mode(),
            tuple(np.array(first, dtype=float).tolist()),
            tuple(np.array(values, dtype=float).tolist()),
        )
        return Export(path.name, "CSV", (Sample(path.stem, None, (spectrum,)),))
    return None
