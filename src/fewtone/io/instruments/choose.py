"""From what an instrument's file holds to readings that a shelf can use.

The rules
    One measurement mode counts (`modes`).
    Spectra are factors or percent as the file says; where it does not, or where its figures say
    otherwise, all of its spectra are judged together.
    Lab needs its illuminant and observer, from the file or from the caller. Where a sample has
    both, its spectrum is checked against its Lab.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from types import MappingProxyType

import numpy as np

from fewtone.colorimetry import Light, delta_e_2000, lab_from_xyz, white_point, xyz
from fewtone.errors import Fault, FaultList, FewtoneError, UsageError
from fewtone.io.instruments.modes import in_mode
from fewtone.io.instruments.samples import (
    Export,
    LabValue,
    Sample,
    Spectrum,
    micrometre_hint,
)
from fewtone.io.readings import FACTOR_LIMIT, LARGEST_FACTOR, LEAST_FACTOR, LEAST_NM, MOST_NM
from fewtone.model.names import Names
from fewtone.model.shelf import Measurement
from fewtone.typing import FloatArray, frozen

__all__ = ["ChosenReading", "choose"]

# Above this a file's spectrum and its own Lab do not belong together. Printed patches agree to
# 0.36 at worst; a wavelength scale that is 5 nm off costs more than 1 on most colours.
_AGREEMENT_DE00 = 1.0
# So many neighbours at the very same top of the scale were not read: the sensor was full.
_SATURATED_RUN = 3
_TOP_OF_SCALE = 0.995
_FEWEST_WAVELENGTHS = 4


@dataclass(frozen=True, slots=True)
class ChosenReading:
    """One sample as a reading.

    Parameters
    ----------
    name
        The sample's name.
    row
        Its line in the instrument's file, if lines count there.
    wavelength_nm, reflectance
        Its spectrum [nm, factor], shape ``(n_read,)`` each; None if there is none.
    lab
        CIELAB under each light that it was given for.
    date
        ``YYYY-MM-DD`` or empty.
    """

    name: str
    row: int | None
    wavelength_nm: FloatArray | None
    reflectance: FloatArray | None
    lab: Mapping[Light, tuple[float, float, float]]
    date: str


def choose(
    export: Export,
    measurement: Measurement,
    *,
    mode: str | None = None,
    light: Light | None = None,
    leave_out: Sequence[str] = (),
) -> tuple[tuple[ChosenReading, ...], tuple[str, ...]]:
    """Choose what of a file is used, and check it.

    Parameters
    ----------
    export
        The file.
    measurement
        How the shelf is read.
    mode
        The measurement mode that counts, by its condition (``M1``) or label.
    light
        The light of Lab values whose light the file does not say.
    leave_out
        Names of samples that are not to count.

    Returns
    -------
    The readings in the file's order, and cautions.

    Raises
    ------
    FewtoneError
        The file's geometry is not the shelf's, its modes leave a choice, or values are wrong.
    UsageError
        A name to leave out, or the mode, is not in the file.
    """
    samples = _kept(export, leave_out)
    chooser = _Chooser(export.file, measurement, light)
    samples, about_modes = in_mode(export.file, samples, measurement.geometry, mode)
    divisor = chooser.divisor([spectrum for sample in samples for spectrum in sample.spectra])
    readings = [chooser.reading_of(sample, divisor) for sample in samples]
    chooser.faults.raise_if_any()
    return tuple(readings), (*about_modes, *chooser.cautions)


def _kept(export: Export, leave_out: Sequence[str]) -> list[Sample]:
    names = Names.of("sample", (sample.name for sample in export.samples), "this file")
    faults: list[Fault] = []
    wanted = names.resolve(leave_out, faults, fix="Write its name as the file has it.")
    if faults:
        raise UsageError(*(replace(fault, file=export.file) for fault in faults))
    kept = [sample for sample in export.samples if sample.name not in wanted]
    if not kept:
        raise UsageError(Fault("All samples are left out.", file=export.file))
    return kept


class _Chooser:
    """Applies the rules to one file and notes what is wrong."""

    def __init__(self, file: str, measurement: Measurement, light: Light | None) -> None:
        self.file, self.measurement, self.light = file, measurement, light
        self.faults = FaultList()
        self.cautions: list[str] = []

    def fault(
        self, sample: Sample, message: str, fix: str, column: str | None = None, value: str = ""
    ) -> None:
        text = f"Sample '{sample.name}': {message}"
        self.faults.append(Fault(text, fix, self.file, sample.row, column, value or None))

    def caution(self, text: str) -> None:
        if text not in self.cautions:
            self.cautions.append(text)

    def divisor(self, spectra: Sequence[Spectrum]) -> float:
        """What turns the file's figures into factors: 1 or 100, judged over all of it."""
        largest = [
            max((value for value in spectrum.values if math.isfinite(value)), default=0.0)
            for spectrum in spectra
        ]
        scales = {spectrum.scale for spectrum in spectra}
        if not largest:
            return 1.0
        if all(value > FACTOR_LIMIT for value in largest):
            if scales != {"percent"}:
                given = "says they are factors, but" if "factor" in scales else "does not say, but"
                self.caution(
                    f"{self.file}: reflectance is taken as percent: the file {given} every "
                    f"spectrum exceeds {FACTOR_LIMIT:g}."
                )
            return 100.0
        if "percent" in scales and max(largest) > FACTOR_LIMIT:
            return 100.0
        if max(largest) > FACTOR_LIMIT or "percent" in scales:
            what = (
                f"The file says percent, but none of its spectra exceeds {FACTOR_LIMIT:g}"
                if max(largest) <= FACTOR_LIMIT
                else "Some spectra of this file read like percent, others like factors"
            )
            raise FewtoneError(
                Fault(
                    f"{what}: whether reflectance is percent or factor is not clear.",
                    fix="Export the file again with one scale for all samples.",
                    file=self.file,
                    value=f"largest figures from {min(largest):g} to {max(largest):g}",
                )
            )
        if "" in scales:
            self.caution(f"{self.file}: reflectance is taken as a factor; the file does not say.")
        return 1.0

    def reading_of(self, sample: Sample, divisor: float) -> ChosenReading:
        spectrum = sample.spectra[0] if sample.spectra else None
        if spectrum is None and not sample.labs:
            self.fault(
                sample, "It has neither a spectrum nor Lab.", "Export spectra or CIELAB (L*a*b*)."
            )
        wavelength_nm = reflectance = None
        if spectrum is not None and self.wavelengths_hold(sample, spectrum):
            wavelength_nm = frozen(spectrum.wavelength_nm)
            reflectance = frozen(np.array(spectrum.values) / divisor)
            self.check_reflectance(sample, wavelength_nm, reflectance)
        lab = self.labs(sample, needed=spectrum is None)
        if wavelength_nm is not None and reflectance is not None and not self.faults:
            self.compare(sample, wavelength_nm, reflectance, lab)
        return ChosenReading(
            sample.name, sample.row, wavelength_nm, reflectance, MappingProxyType(lab), sample.date
        )

    def wavelengths_hold(self, sample: Sample, spectrum: Spectrum) -> bool:
        wavelength_nm = spectrum.wavelength_nm
        fix = "Export the spectra in nm, each wavelength once, in rising order."
        for value in wavelength_nm:
            if not LEAST_NM <= value <= MOST_NM:
                self.fault(
                    sample,
                    f"A wavelength must lie between {LEAST_NM:g} and {MOST_NM:g} nm."
                    + micrometre_hint(value),
                    fix,
                    value=f"{value:g}",
                )
                return False
        for before, after in pairwise(wavelength_nm):
            if after <= before:
                self.fault(
                    sample,
                    f"Its wavelengths must rise, but {after:g} nm stands after {before:g} nm.",
                    fix,
                    value=f"{after:g}",
                )
                return False
        if len(wavelength_nm) < _FEWEST_WAVELENGTHS:
            self.fault(
                sample,
                f"Its spectrum has {len(wavelength_nm)} wavelengths; at least "
                f"{_FEWEST_WAVELENGTHS} are needed.",
                "Export the instrument's full range.",
            )
            return False
        return True

    def check_reflectance(
        self, sample: Sample, wavelength_nm: FloatArray, reflectance: FloatArray
    ) -> None:
        fix = "Calibrate the instrument and read the panel again."
        for nm, value in zip(wavelength_nm.tolist(), reflectance.tolist(), strict=True):
            if not LEAST_FACTOR <= value <= LARGEST_FACTOR:
                self.fault(
                    sample,
                    f"A reflectance factor must lie between {LEAST_FACTOR:g} and "
                    f"{LARGEST_FACTOR:g}.",
                    fix,
                    f"{nm:g} nm",
                    f"{value:g}",
                )
                return
        top = float(reflectance.max())
        full = top >= _TOP_OF_SCALE and _longest_run(reflectance == top) >= _SATURATED_RUN
        if full and not (reflectance == top).all():
            first = float(wavelength_nm[int(reflectance.argmax())])
            self.fault(
                sample,
                f"From {first:g} nm on, {_SATURATED_RUN} or more neighbours stand at the same "
                "highest value: the instrument was saturated.",
                "Keep glints out of its view, or turn the panel, and read it again.",
                f"{first:g} nm",
                f"{top:g}",
            )

    def labs(self, sample: Sample, *, needed: bool) -> dict[Light, tuple[float, float, float]]:
        """Lab by light; what has no light counts for nothing unless it is all there is."""
        by_light: dict[Light, tuple[float, float, float]] = {}
        for lab in sample.labs:
            light = self.light_of(sample, lab, needed=needed)
            if light is None:
                continue
            lightness, green_red, blue_yellow = lab.values
            if not 0 <= lightness <= 200 or max(abs(green_red), abs(blue_yellow)) > 200:
                self.fault(
                    sample,
                    "L* must lie between 0 and 200, a* and b* between -200 and 200.",
                    "Read the panel again.",
                    f"Lab {light}",
                    ", ".join(f"{value:g}" for value in lab.values),
                )
            elif light in by_light and by_light[light] != lab.values:
                self.fault(
                    sample,
                    f"It has two different Lab values under {light}.",
                    "Export one of them, or name a measurement mode (`mode`).",
                )
            by_light[light] = lab.values
        return by_light

    def light_of(self, sample: Sample, lab: LabValue, *, needed: bool) -> Light | None:
        if not (lab.illuminant and lab.observer):
            if self.light is None and needed:
                self.fault(
                    sample,
                    "The file does not say under which illuminant and observer its Lab is"
                    f"{': ' + lab.light if lab.light else ''}.",
                    "Say it (`light`), such as D50/2.",
                )
            return self.light
        try:
            light = Light.parse(lab.light)
        except FewtoneError as error:
            if needed:
                self.fault(sample, error.faults[0].message, "Export Lab under D65/10 or D50/2.")
            return None
        if self.light not in (None, light):
            raise UsageError(
                Fault(
                    f"The file says its Lab is under {light}, not {self.light}.",
                    fix="Leave `light` out.",
                    file=self.file,
                    value=str(self.light),
                )
            )
        return light

    def compare(
        self,
        sample: Sample,
        wavelength_nm: FloatArray,
        reflectance: FloatArray,
        labs: Mapping[Light, tuple[float, float, float]],
    ) -> None:
        """Caution where a spectrum is not that of the Lab that stands beside it."""
        for light, lab in labs.items():
            try:
                colour = lab_from_xyz(xyz(reflectance, wavelength_nm, light), white_point(light))
            except FewtoneError:
                return  # too short a range for a colour: merging says whether it can be used
            apart = float(delta_e_2000(colour, np.array(lab)))
            if apart > _AGREEMENT_DE00:
                self.caution(
                    f"{self.file}: the spectrum and the Lab of '{sample.name}' lie {apart:.1f} "
                    f"ΔE00 apart under {light}: check wavelengths, scale and light of the export."
                )


def _longest_run(same: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]) -> int:
    longest = run = 0
    for value in same.tolist():
        run = run + 1 if value else 0
        longest = max(longest, run)
    return longest
