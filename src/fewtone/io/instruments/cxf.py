"""Reading CxF3 files (ISO 17972-1) through `colour-cxf`, behind `defusedxml`.

The file comes from outside, so it is looked through before it is parsed: no document type, hence
no entity and no reference to another file; no nesting deeper than CxF needs; the root that CxF3
has. The same bytes then go to colour-cxf with the same parser of the standard library.

What is read of each object: ReflectanceSpectrum, CustomSpectrum of reflectance, ColorCIELab, each
with its colour specification: geometry, device illumination, wavelengths, illuminant, observer.
A value that colour-cxf could not convert is a fault where it is used, and nothing elsewhere.
"""

from __future__ import annotations

import io
import math
import re
import warnings
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from fewtone.errors import Fault, FaultList, FewtoneError
from fewtone.io.files import XML_ENCODINGS
from fewtone.io.instruments.samples import (
    POLARISED,
    Export,
    LabValue,
    Mode,
    Sample,
    Spectrum,
    geometry_from,
)
from fewtone.optics.film import Geometry

if TYPE_CHECKING:
    from colour_cxf import cxf3

__all__ = ["read_cxf"]

NAMESPACE = "http://colorexchangeformat.com/CxF3-core"
_DEEPEST = 64  # CxF3's own elements nest about ten deep; custom resources a little more
_FIX = "Export the file again, as CxF3."
_SPHERE = {
    "SPECULAR_INCLUDED": Geometry.DIFFUSE_SPECULAR_INCLUDED,
    "SPECULAR_EXCLUDED": Geometry.DIFFUSE_SPECULAR_EXCLUDED,
}


def read_cxf(data: bytes, file: str) -> Export:
    """Read a CxF3 file.

    Parameters
    ----------
    data
        Its content.
    file
        Its name, for messages.

    Raises
    ------
    FewtoneError
        The libraries are not installed, the XML is broken or unsafe, or it is not CxF3.
    """
    try:
        _check_encoding(data, file)
        _look_through(data, file)
        document = _parsed(data, file)
    except ImportError as error:
        raise FewtoneError(
            Fault(
                f"Reading CxF needs libraries that are not installed ({error.name}).",
                fix="Install them with: pip install 'fewtone[cxf]'",
                file=file,
            )
        ) from error
    try:
        return _export(document, file)
    except (AttributeError, TypeError, ValueError) as error:
        # An element that calls itself another type (xsi:type) is read as what it says it is.
        raise FewtoneError(
            Fault(
                f"Something in this file is not what CxF3 has in its place ({error}).", _FIX, file
            )
        ) from error


def _check_encoding(data: bytes, file: str) -> None:
    """Refuse an encoding that the parser does not have, or that is none."""
    head = data[:400].replace(b"\x00", b"")
    match = re.search(rb"<\?xml[^>]*encoding\s*=\s*[\"']([^\"']*)", head)
    encoding = match[1].decode("ascii", "replace").lower() if match else "utf-8"
    if encoding not in XML_ENCODINGS:
        raise FewtoneError(
            Fault(
                f"This XML says that it is in {encoding}; {', '.join(XML_ENCODINGS)} can be read.",
                fix="Export the file again in UTF-8.",
                file=file,
                value=encoding,
            )
        )


def _look_through(data: bytes, file: str) -> None:
    """Refuse broken or hostile XML before anything is built from it."""
    from xml.etree.ElementTree import ParseError

    from defusedxml.common import DefusedXmlException
    from defusedxml.ElementTree import iterparse

    depth = 0
    try:
        events = iterparse(io.BytesIO(data), events=("start", "end"), forbid_dtd=True)
        for event, element in events:
            depth += 1 if event == "start" else -1
            if event == "end":
                element.clear()
            elif depth == 1 and element.tag != f"{{{NAMESPACE}}}CxF":
                raise FewtoneError(
                    Fault(f"This XML is not CxF3: it begins with {element.tag[:100]}.", _FIX, file)
                )
            if depth > _DEEPEST:
                raise FewtoneError(
                    Fault(f"This XML is nested more than {_DEEPEST} deep.", _FIX, file)
                )
    except DefusedXmlException as error:
        raise FewtoneError(
            Fault(
                "This XML has a document type (DTD), which CxF does not need and which can "
                "pull in other files or swell without end; it was not read.",
                fix="Export the file again; do not use one whose origin you do not know.",
                file=file,
            )
        ) from error
    except (LookupError, UnicodeError, ValueError) as error:  # bytes that are not as it says
        raise FewtoneError(Fault(f"This XML is broken ({error}).", _FIX, file)) from error
    except ParseError as error:
        row = error.position[0]
        broken = "breaks off" if "no element found" in str(error) else "is broken"
        raise FewtoneError(
            Fault(f"This XML {broken} ({error}).", "Export or copy it again.", file, row)
        ) from error


def _parsed(data: bytes, file: str) -> cxf3.CxF:
    from colour_cxf import cxf3
    from xsdata.exceptions import ConverterWarning
    from xsdata.formats.dataclass.parsers import XmlParser
    from xsdata.formats.dataclass.parsers.config import ParserConfig
    from xsdata.formats.dataclass.parsers.handlers import XmlEventHandler

    # colour_cxf.read_cxf refuses a file for one element it does not know, which many programs
    # add, and picks its XML parser by what is installed. Its classes are read here instead.
    config = ParserConfig(fail_on_unknown_properties=False, fail_on_unknown_attributes=False)
    parser = XmlParser(config=config, handler=XmlEventHandler)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", ConverterWarning)
            return parser.from_bytes(data, cxf3.CxF)
    except ValueError as error:  # what every fault of xsdata is
        raise FewtoneError(Fault(f"This is not CxF3 ({error}).", _FIX, file)) from error


def _export(document: cxf3.CxF, file: str) -> Export:
    resources = document.resources
    collection = resources.object_collection if resources else None
    if resources is None or collection is None or not collection.object_value:
        raise FewtoneError(Fault("There are no samples (Object) in this file.", _FIX, file))
    specifications = {}
    if resources.color_specification_collection:
        for specification in resources.color_specification_collection.color_specification:
            specifications[specification.id or ""] = specification
    faults = FaultList()
    samples = []
    for item in collection.object_value:
        name = " ".join(str(item.name or item.id or "").split())
        reader = _Object(file, name, specifications, faults)
        values = list(item.color_values.choice) if item.color_values else []
        samples.append(
            Sample(
                name,
                None,
                tuple(reader.spectra(values)),
                tuple(reader.labs(values)),
                _date(item),
            )
        )
    faults.raise_if_any()
    return Export(file, "CxF3", tuple(samples))


class _Object:
    """Reads the values of one object; what is wrong with them is noted."""

    def __init__(
        self,
        file: str,
        name: str,
        specifications: dict[str, cxf3.ColorSpecification],
        faults: FaultList,
    ) -> None:
        self.file, self.name, self.faults = file, name, faults
        self.specifications = specifications

    def fault(self, message: str, value: object = None) -> None:
        shown = None if value is None else str(value)
        self.faults.append(Fault(f"Sample '{self.name}': {message}", _FIX, self.file, value=shown))

    def specification(self, name: str | None) -> cxf3.ColorSpecification | None:
        if name not in self.specifications:
            self.fault("The colour specification that it names is not in the file.", name)
            return None
        return self.specifications[name]

    def spectra(self, values: Sequence[object]) -> Iterator[Spectrum]:
        from colour_cxf import cxf3

        for value in values:
            if not isinstance(value, cxf3.ReflectanceSpectrum | cxf3.CustomSpectrum):
                continue
            specification = self.specification(value.color_specification)
            if specification is None or not _of_reflectance(specification):
                continue
            if isinstance(value, cxf3.CustomSpectrum):
                numbers = [self.number(point.value) for point in value.spectral_point]
                wavelength_nm = [self.number(point.wl) for point in value.spectral_point]
            else:
                numbers = [self.number(number) for number in _listed(value.value)]
                wavelength_nm = self.wavelengths(value, specification, len(numbers))
            if numbers and wavelength_nm:
                yield Spectrum(_mode(specification), tuple(wavelength_nm), tuple(numbers), "factor")

    def wavelengths(
        self,
        spectrum: cxf3.ReflectanceSpectrum,
        specification: cxf3.ColorSpecification,
        count: int,
    ) -> list[float]:
        measured = specification.measurement_spec
        span = measured.wavelength_range if measured else None
        step = span.increment if span else None
        # The spectrum's own start comes before that of its specification.
        first = spectrum.start_wl
        if first is None and span is not None:
            first = span.start_wl
        if isinstance(first, int) and isinstance(step, int) and step > 0:
            return [float(first + step * i) for i in range(count)]
        grid_text = f"start {first}, step {step}"
        self.fault(
            "Its wavelengths are not told: StartWL and Increment must be whole nanometres.",
            grid_text,
        )
        return []

    def labs(self, values: Sequence[object]) -> Iterator[LabValue]:
        from colour_cxf import cxf3

        for value in values:
            if not isinstance(value, cxf3.ColorCielab):
                continue
            specification = self.specification(value.color_specification)
            if specification is None or not _of_reflectance(specification):
                continue
            lab = self.number(value.l), self.number(value.a), self.number(value.b)
            yield LabValue(_mode(specification), lab, *_light(specification))

    def number(self, value: object) -> float:
        """A number, or not-a-number with a fault."""
        try:
            number = float(str(value))
        except ValueError:
            number = math.nan
        if not math.isfinite(number):
            self.fault("This is not a finite number.", value)
        return number


def _listed(values: object) -> Sequence[object]:
    """A list of numbers, which is still text if one of them could not be converted."""
    return values if isinstance(values, list) else str(values).split()


def _of_reflectance(specification: cxf3.ColorSpecification) -> bool:
    measured = specification.measurement_spec
    kind = measured.measurement_type.value if measured and measured.measurement_type else None
    # Where the file does not say, a reflectance spectrum is what it is called.
    return kind is None or "reflectance" in _word(kind).casefold()


def _mode(specification: cxf3.ColorSpecification) -> Mode:
    from colour_cxf import cxf3

    label = specification.id or ""
    measured = specification.measurement_spec
    if measured is None:
        return Mode(label=label)
    device = measured.device
    condition = ""
    if device:
        if device.device_illumination:
            condition = _word(device.device_illumination.value).split("_")[0]
        elif device.device_filter and "UVEXCLUDED" in _word(device.device_filter.value).upper():
            condition = "M2"
        if device.device_polarization is True:
            condition = POLARISED
    choice = measured.geometry_choice.choice if measured.geometry_choice else None
    if isinstance(choice, cxf3.EsphereType):
        return Mode(_SPHERE.get(choice.name), f"sphere {choice.value}", condition, label)
    if isinstance(choice, cxf3.SingleAngleType):
        geometry_text = f"{_angle(choice.illumination_angle)}:{_angle(choice.measurement_angle)}"
        geometry = geometry_from(geometry_text)
        return Mode(geometry, geometry_text, condition, label, elsewhere=geometry is None)
    if isinstance(choice, cxf3.MultiAngleType):
        return Mode(None, "several angles", condition, label, elsewhere=True)
    geometry_text = "" if choice is None else _word(choice)
    return Mode(geometry_from(geometry_text), geometry_text, condition, label)


def _light(specification: cxf3.ColorSpecification) -> tuple[str, str]:
    """Illuminant and observer; each empty if the file does not say."""
    from colour_cxf import cxf3

    tristimulus = specification.tristimulus_spec
    if tristimulus is None:
        return "", ""
    lit = tristimulus.illuminant_or_custom_illuminant
    illuminant = _word(lit.value) if isinstance(lit, cxf3.Illuminant) else "custom" if lit else ""
    observer = _word(tristimulus.observer.value) if tristimulus.observer else ""
    return illuminant, observer.removesuffix("_Degree")


def _word(value: object) -> str:
    """The text of an enumeration's member, or of what could not be converted to one."""
    return str(getattr(value, "value", value))


def _angle(value: object) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)


def _date(item: cxf3.Object) -> str:
    when = item.creation_date.value if item.creation_date else None
    year, month, day = (getattr(when, part, None) for part in ("year", "month", "day"))
    if isinstance(year, int) and isinstance(month, int) and isinstance(day, int):
        return f"{year:04d}-{month:02d}-{day:02d}"
    return ""
