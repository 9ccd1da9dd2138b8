"""Which of a file's measurement modes counts.

The rules
    The mode in the shelf's geometry counts; if several fit, one must be named. Readings through a
    polariser are refused: they do not show the panel as it is seen. A file that does not say its
    geometry is taken to be in the shelf's, with a caution.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from fewtone.errors import Fault, FewtoneError, UsageError
from fewtone.io.instruments.samples import POLARISED, Mode, Sample
from fewtone.optics.film import Geometry

__all__ = ["in_mode"]


def in_mode(
    file: str, samples: Sequence[Sample], geometry: Geometry, wanted: str | None
) -> tuple[list[Sample], list[str]]:
    """Keep the values of one mode alone.

    Parameters
    ----------
    file
        The file's name, for messages.
    samples
        Its samples.
    geometry
        That of the shelf.
    wanted
        The mode that was asked for, by its condition (``M1``), geometry or label; None for the
        only one that fits.

    Returns
    -------
    The samples with what is left of their values, and cautions.

    Raises
    ------
    FewtoneError
        No mode fits the shelf, or several do.
    UsageError
        No mode has the name that was asked for.
    """
    modes = _modes(samples)
    if wanted is not None and not any(mode.answers(wanted) for mode in modes):
        raise UsageError(
            Fault(
                f"No measurement mode of this file goes by '{wanted}': it has {_list(modes)}.",
                fix="Name one of them (`mode`).",
                file=file,
                value=wanted,
            )
        )
    asked = [mode for mode in modes if wanted is None or mode.answers(wanted)]
    fitting = [mode for mode in asked if mode.geometry == geometry or not mode.geometry_known]
    if asked and not fitting:
        raise _other_geometry(file, geometry, asked)
    seen = [mode for mode in fitting if mode.condition != POLARISED]
    if fitting and not seen:
        raise FewtoneError(
            Fault(
                "These readings were taken through a polariser (M3), which hides what flake "
                "and gloss send back: they do not show the panel as it is seen.",
                fix="Read the panels without the polariser.",
                file=file,
            )
        )
    seen = _one_condition(file, samples, seen)
    cautions = [
        f"{file}: its geometry is {described}; it is taken to be the shelf's, {geometry}."
        for described in dict.fromkeys(
            f"said as '{mode.geometry_text}', which is not understood"
            if mode.geometry_text
            else "not said"
            for mode in seen
            if mode.geometry is None
        )
    ]
    if left := [mode for mode in modes if mode not in seen]:
        cautions.append(f"{file}: not used are readings in {_list(left)}.")
    kept = [
        replace(
            sample,
            spectra=tuple(spectrum for spectrum in sample.spectra if spectrum.mode in seen),
            labs=tuple(lab for lab in sample.labs if lab.mode in seen),
        )
        for sample in samples
    ]
    return kept, cautions


def _other_geometry(file: str, geometry: Geometry, modes: Sequence[Mode]) -> FewtoneError:
    read = " and ".join(
        dict.fromkeys(str(mode.geometry or f"'{mode.geometry_text}'") for mode in modes)
    )
    return FewtoneError(
        Fault(
            f"These readings were taken in {read}, and the shelf is read in {geometry}: "
            "readings in two geometries never meet.",
            fix=f"Read the panels in {geometry}, or keep a shelf of its own for this instrument "
            "(geometry in shelf.toml).",
            file=file,
            value=read,
        )
    )


def _one_condition(file: str, samples: Sequence[Sample], modes: Sequence[Mode]) -> list[Mode]:
    """The modes that count; a file that leaves open which of several counts is refused."""
    spectral = [
        [spectrum.mode for spectrum in sample.spectra if spectrum.mode in modes]
        for sample in samples
    ]
    # Where there are spectra they decide; Lab beside them may say less about how it was read.
    deciding = {mode for read in spectral for mode in read} or set(modes)
    conditions = {mode.condition for mode in deciding}
    if len(conditions) > 1 or any(len(read) > 1 for read in spectral):
        raise FewtoneError(
            Fault(
                f"This file has several measurement modes: {_list(modes)}.",
                fix=f"Say which one counts (`mode`), such as {_example(modes)}; always the same "
                "one for a shelf.",
                file=file,
            )
        )
    return [mode for mode in modes if mode.condition in {*conditions, ""}]


def _modes(samples: Iterable[Sample]) -> tuple[Mode, ...]:
    spectra = (spectrum.mode for sample in samples for spectrum in sample.spectra)
    labs = (lab.mode for sample in samples for lab in sample.labs)
    return tuple(dict.fromkeys([*spectra, *labs]))


def _list(modes: Sequence[Mode]) -> str:
    return ", ".join(dict.fromkeys(str(mode) for mode in modes))


def _example(modes: Sequence[Mode]) -> str:
    conditions = [mode.condition for mode in modes if mode.condition]
    if len(set(conditions)) == len(modes):
        return conditions[0]
    return next((mode.label for mode in modes if mode.label), "M1")
