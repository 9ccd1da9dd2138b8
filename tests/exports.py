"""Instruments' files for tests, written by hand from the formats' public descriptions."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from xml.sax.saxutils import escape, quoteattr

__all__ = ["NM", "cgats", "colour_object", "cxf", "lab_value", "specification", "spectrum"]

NM = tuple(range(400, 701, 10))
NAMESPACE = "http://colorexchangeformat.com/CxF3-core"


def cgats(
    rows: Sequence[Sequence[object]],
    fields: Sequence[str],
    keywords: Mapping[str, str] | None = None,
) -> bytes:
    """A CGATS text file of one table."""
    said = {"MEASUREMENT_GEOMETRY": "45/0"} if keywords is None else keywords
    lines = ["CGATS.17", 'ORIGINATOR "a bench"']
    lines += [f'{word} "{text}"' for word, text in said.items()]
    lines += [f"NUMBER_OF_FIELDS {len(fields)}", "BEGIN_DATA_FORMAT", " ".join(fields)]
    lines += ["END_DATA_FORMAT", f"NUMBER_OF_SETS {len(rows)}", "BEGIN_DATA"]
    lines += [" ".join(f'"{v}"' if isinstance(v, str) else str(v) for v in row) for row in rows]
    return "\n".join([*lines, "END_DATA", ""]).encode()


def specification(
    name: str = "CS1",
    *,
    geometry: str = "<SingleAngle><SingleAngleConfiguration>Annular</SingleAngleConfiguration>"
    "<IlluminationAngle>45</IlluminationAngle><MeasurementAngle>0</MeasurementAngle>"
    "</SingleAngle>",
    condition: str = "",
    light: tuple[str, str] | None = None,
    kind: str = "Spectrum_Reflectance",
    span: str = '<WavelengthRange StartWL="400" Increment="10"/>',
) -> str:
    """A colour specification."""
    tristimulus = (
        f"<TristimulusSpec><Illuminant>{light[0]}</Illuminant><Observer>{light[1]}_Degree"
        "</Observer><Method>E308_Table5</Method></TristimulusSpec>"
        if light
        else ""
    )
    device = (
        f"<Device><DeviceIllumination>{condition}</DeviceIllumination></Device>"
        if condition
        else ""
    )
    return (
        f'<ColorSpecification Id="{name}">{tristimulus}<MeasurementSpec><MeasurementType>{kind}'
        f"</MeasurementType><GeometryChoice>{geometry}</GeometryChoice>{span}{device}"
        "</MeasurementSpec></ColorSpecification>"
    )


def spectrum(values: Sequence[object], name: str = "CS1", start: str = "") -> str:
    """A reflectance spectrum."""
    text = " ".join(map(str, values))
    return f'<ReflectanceSpectrum ColorSpecification="{name}"{start}>{text}</ReflectanceSpectrum>'


def lab_value(lab: Sequence[object], name: str = "CS1") -> str:
    """A CIELAB value."""
    lightness, green_red, blue_yellow = lab
    return (
        f'<ColorCIELab ColorSpecification="{name}"><L>{lightness}</L><A>{green_red}</A>'
        f"<B>{blue_yellow}</B></ColorCIELab>"
    )


def colour_object(name: str, *values: str) -> str:
    """An object with its colour values."""
    return (
        f'<Object ObjectType="Target" Name={quoteattr(name)} Id={quoteattr("id-" + name)}>'
        f"<CreationDate>2025-03-04T10:00:00Z</CreationDate><ColorValues>{''.join(values)}"
        "</ColorValues></Object>"
    )


def cxf(objects: Sequence[str], specifications: Sequence[str], prologue: str = "") -> bytes:
    """A CxF3 file."""
    return (
        f'<?xml version="1.0" encoding="UTF-8"?>{prologue}<CxF xmlns="{NAMESPACE}">'
        f"<FileInformation><Creator>{escape('a bench')}</Creator></FileInformation><Resources>"
        f"<ObjectCollection>{''.join(objects)}</ObjectCollection><ColorSpecificationCollection>"
        f"{''.join(specifications)}</ColorSpecificationCollection></Resources></CxF>"
    ).encode()
