"""What an instrument's file holds, before anything is decided about it.

A file is a list of samples. A sample has a name and any number of values: spectra and Lab, each
with the mode it was read in. Nothing is converted here: `choose` decides what is used and how.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal, TypeAlias

from fewtone.optics.film import Geometry

__all__ = [
    "CONDITIONS",
    "POLARISED",
    "Export",
    "LabValue",
    "Mode",
    "Sample",
    "Scale",
    "Spectrum",
    "geometry_from",
    "micrometre_hint",
]

# Measurement conditions of ISO 13655: which light the instrument sends, and the polariser.
CONDITIONS = ("M0", "M1", "M2", "M3")
POLARISED = "M3"

Scale: TypeAlias = Literal["factor", "percent", ""]

_SPHERE = re.compile(r"sphere|diffuse|\bd[ie]?\s*[:/]\s*8|\b8\s*[:/]\s*d|\bsc[ie]\b")
_EXCLUDED = re.compile(r"exclu|\bsce\b|\bspex\b|\bde\s*[:/]\s*8|\b8\s*[:/]\s*de")
_INCLUDED = re.compile(r"inclu|\bsci\b|\bspin\b|\bdi\s*[:/]\s*8|\b8\s*[:/]\s*di")
_DIRECTIONAL = re.compile(r"\b45\s*°?[a-z]?\s*[:/]\s*0|\b0\s*°?\s*[:/]\s*45")


@dataclass(frozen=True, slots=True)
class Mode:
    """How a value was read.

    Parameters
    ----------
    geometry
        None if the file does not say, is not understood, or names one that is not known here.
    geometry_text
        The geometry in the file's own words; empty if it does not say.
    elsewhere
        The file says clearly that the geometry is another than those known here.
    condition
        ``M0`` to ``M3`` (ISO 13655) or the file's own words; empty if it does not say.
    label
        What the file calls this mode: the id of a colour specification.
    """

    geometry: Geometry | None = None
    geometry_text: str = ""
    condition: str = ""
    label: str = ""
    elsewhere: bool = False

    @property
    def geometry_known(self) -> bool:
        """Whether it is certain in which geometry, or at least not in which, this was read."""
        return self.geometry is not None or self.elsewhere

    def __str__(self) -> str:
        """In words, such as ``M1 45:0 (CS1)``."""
        words = [
            self.condition,
            str(self.geometry or self.geometry_text),
            self.label and f"({self.label})",
        ]
        return " ".join(word for word in words if word) or "not named"

    def answers(self, name: str) -> bool:
        """Whether it goes by this name: its condition, geometry or label.

        Parameters
        ----------
        name
            What was asked for, any case.
        """
        names = (self.condition, str(self.geometry or ""), self.geometry_text, self.label)
        return name.casefold() in {known.casefold() for known in names if known}


@dataclass(frozen=True, slots=True)
class Spectrum:
    """A reflectance spectrum as it stands in the file.

    Parameters
    ----------
    mode
        How it was read.
    wavelength_nm
        As the file gives them, in its order [nm].
    values
        As the file gives them; not a number where it is none.
    scale
        What the file says they are; empty if it does not say.
    """

    mode: Mode
    wavelength_nm: tuple[float, ...]
    values: tuple[float, ...]
    scale: Scale = ""


@dataclass(frozen=True, slots=True)
class LabValue:
    """A CIELAB value as it stands in the file.

    Parameters
    ----------
    mode
        In which the instrument read it.
    values
        L*, a* and b*.
    illuminant, observer
        As the file has them; empty where it does not say.
    """

    mode: Mode
    values: tuple[float, float, float]
    illuminant: str = ""
    observer: str = ""

    @property
    def light(self) -> str:
        """Illuminant and observer as far as they are known, such as ``D50/2``; empty if neither."""
        if not (self.illuminant or self.observer):
            return ""
        return f"{self.illuminant or '?'}/{self.observer or '?'}"


@dataclass(frozen=True, slots=True)
class Sample:
    """One sample.

    Parameters
    ----------
    name
        Its name, white space as single spaces.
    row
        The line it stands on; None in XML, where a sample is named rather than counted.
    spectra, labs
        Its values in the file's order.
    date
        When it was read, ``YYYY-MM-DD``; empty if the file does not say.
    """

    name: str
    row: int | None = None
    spectra: tuple[Spectrum, ...] = ()
    labs: tuple[LabValue, ...] = ()
    date: str = ""


@dataclass(frozen=True, slots=True)
class Export:
    """An instrument's file.

    Parameters
    ----------
    file
        Its name, for messages.
    kind
        ``CxF3``, ``CGATS`` or ``CSV``.
    samples
        In the file's order; at least one.
    """

    file: str
    kind: str
    samples: tuple[Sample, ...]


def geometry_from(text: str) -> Geometry | None:
    """The geometry that free text names; None if it names none that is known here.

    Light that goes the other way round is the same geometry (Helmholtz reciprocity), so 0/45 is
    45:0 and 8/d is d/8. A sphere that does not say what it does with gloss is not known.

    Parameters
    ----------
    text
        What a file says of its geometry.

    Examples
    --------
    >>> geometry_from("45/0, aperture 4 mm"), geometry_from("d/8 specular excluded")
    (<Geometry.DIRECTIONAL: '45:0'>, <Geometry.DIFFUSE_SPECULAR_EXCLUDED: 'de:8'>)
    """
    words = text.casefold().replace("_", " ")
    if _SPHERE.search(words):
        excluded, included = bool(_EXCLUDED.search(words)), bool(_INCLUDED.search(words))
        if excluded == included:
            return None
        return (
            Geometry.DIFFUSE_SPECULAR_EXCLUDED if excluded else Geometry.DIFFUSE_SPECULAR_INCLUDED
        )
    return Geometry.DIRECTIONAL if _DIRECTIONAL.search(words) else None


def micrometre_hint(value: float) -> str:
    """Return ' It looks like micrometres.' where a wavelength does.

    Parameters
    ----------
    value
        A number that should be a wavelength [nm].
    """
    return " It looks like micrometres." if 0.3 <= value <= 2.5 else ""
