"""CxF3: what is read of it, and what hostile or broken XML comes to."""

from __future__ import annotations

import sys
import time
import tracemalloc
from pathlib import Path

import pytest

from exports import NM, colour_object, cxf, lab_value, specification, spectrum
from fewtone.errors import FewtoneError
from fewtone.io.instruments.cxf import read_cxf
from fewtone.io.instruments.take import read_export

VALUES = tuple(round(0.1 + 0.01 * i, 3) for i in range(len(NM)))
GOOD = cxf(
    [colour_object("P014  3", spectrum(VALUES), lab_value((50, 1, -2)))],
    [specification(light=("D50", "2"), condition="M1_Daylight")],
)


def test_an_object_is_a_sample() -> None:
    """Name, date, spectrum with its wavelengths, Lab with its light, and the mode of both."""
    export = read_cxf(GOOD, "bench.cxf")
    (sample,) = export.samples
    assert (export.kind, sample.name, sample.date) == ("CxF3", "P014 3", "2025-03-04")
    (read,), (lab,) = sample.spectra, sample.labs
    assert read.wavelength_nm == NM
    assert read.values == VALUES
    assert (lab.values, lab.light) == ((50, 1, -2), "D50/2")
    assert str(read.mode) == str(lab.mode) == "M1 45:0 (CS1)"


@pytest.mark.parametrize(
    ("geometry", "said"),
    [
        ("<SphereGeometry>Specular_Included</SphereGeometry>", "di:8"),
        ("<SphereGeometry>Specular_Excluded</SphereGeometry>", "de:8"),
        ("<UnknownGeometry>a box</UnknownGeometry>", "None"),
    ],
)
def test_geometries(geometry: str, said: str) -> None:
    """Spheres with and without gloss; what is not known stays so."""
    data = cxf([colour_object("P1", spectrum(VALUES))], [specification(geometry=geometry)])
    (sample,) = read_cxf(data, "x.cxf").samples
    assert str(sample.spectra[0].mode.geometry) == said


def test_wavelengths_of_the_spectrum_come_first() -> None:
    """A spectrum's own start stands before that of its specification."""
    data = cxf([colour_object("P1", spectrum(VALUES, start=' StartWL="380"'))], [specification()])
    (sample,) = read_cxf(data, "x.cxf").samples
    assert sample.spectra[0].wavelength_nm == tuple(nm - 20 for nm in NM)


def test_spectra_point_by_point() -> None:
    """A custom spectrum of reflectance names each of its wavelengths."""
    points = (
        '<SpectralPoint WL="400.5">0.2</SpectralPoint><SpectralPoint WL="431">0.3</SpectralPoint>'
    )
    value = f'<CustomSpectrum ColorSpecification="CS1">{points}</CustomSpectrum>'
    (sample,) = read_cxf(cxf([colour_object("P1", value)], [specification()]), "x.cxf").samples
    assert sample.spectra[0].wavelength_nm == (400.5, 431)
    assert sample.spectra[0].values == (0.2, 0.3)


def test_what_is_not_reflectance_is_passed_over() -> None:
    """Transmittance, and elements and attributes that CxF3 does not have, do not get in the way."""
    data = cxf(
        [
            colour_object(
                "P1", spectrum(VALUES), spectrum(VALUES, "CS2"), "<Sparkle x='1'>7</Sparkle>"
            )
        ],
        [specification(), specification("CS2", kind="Spectrum_Transmittance")],
    )
    (sample,) = read_cxf(data, "x.cxf").samples
    assert len(sample.spectra) == 1


def bomb(levels: int = 9) -> str:
    """Entities that would swell to a billion words."""
    lines = ['<!ENTITY e0 "lol">']
    lines += [f'<!ENTITY e{i} "{f"&e{i - 1};" * 10}">' for i in range(1, levels + 1)]
    return f"<!DOCTYPE CxF [{''.join(lines)}]>"


def with_prologue(prologue: str, name: str = "P1") -> bytes:
    """A good file but for what stands before its root, and an entity as a name."""
    return cxf([colour_object("P1", spectrum(VALUES))], [specification()], prologue).replace(
        b'Name="P1"', f'Name="{name}"'.encode()
    )


HOSTILE = {
    "a billion laughs": (with_prologue(bomb(), "&e9;"), "document type"),
    "an entity from a file": (
        with_prologue('<!DOCTYPE CxF [<!ENTITY x SYSTEM "file:///etc/hostname">]>', "&x;"),
        "document type",
    ),
    "an entity from the net": (
        with_prologue('<!DOCTYPE CxF [<!ENTITY % x SYSTEM "http://127.0.0.1:9/x"> %x;]>'),
        "document type",
    ),
    "a document type elsewhere": (
        with_prologue('<!DOCTYPE CxF SYSTEM "http://127.0.0.1:9/CxF3.dtd">'),
        "document type",
    ),
    "in UTF-16": (
        with_prologue(bomb(), "&e9;").decode().replace("UTF-8", "UTF-16").encode("utf-16"),
        "document type",
    ),
    "deep nesting": (
        GOOD.replace(b"</CxF>", b"<CustomResources>" + b"<a>" * 5000),
        "nested more than",
    ),
    "cut off": (GOOD[: len(GOOD) // 2], "XML breaks off|XML is broken"),
    "not well formed": (GOOD.replace(b"</Resources>", b"</Resource>"), "XML is broken"),
    "another root": (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "not CxF3"),
    "an older CxF": (GOOD.replace(b"CxF3-core", b"CxF2"), "not CxF3"),
    "no samples": (cxf([], []), "no samples"),
    "a value that is none": (GOOD.replace(b"0.15 ", b"NaN "), "not a finite number"),
    "a word for a value": (GOOD.replace(b"0.15 ", b"high "), "not a finite number"),
    "micrometres": (GOOD.replace(b'StartWL="400"', b'StartWL="0.4"'), "whole nanometres"),
    "no step": (GOOD.replace(b'Increment="10"', b'Increment="0"'), "whole nanometres"),
    "no specification": (GOOD.replace(b'Id="CS1"', b'Id="CS9"'), "not in the file"),
}


@pytest.mark.parametrize("kind", HOSTILE)
def test_hostile_and_broken_xml(kind: str, tmp_path: Path) -> None:
    """Refused with a message, in no time, in little memory, and nothing else is opened."""
    data, message = HOSTILE[kind]
    path = tmp_path / "bench.cxf"
    path.write_bytes(data)
    tracemalloc.start()
    begin = time.monotonic()
    with pytest.raises(FewtoneError, match=message) as caught:
        read_export(path)
    taken = time.monotonic() - begin
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert all(fault.file == "bench.cxf" and fault.fix for fault in caught.value.faults)
    # A bomb that went off would take gigabytes and minutes; either bound is far from both.
    assert peak < 50_000_000
    assert taken < 10


def test_without_the_libraries(monkeypatch: pytest.MonkeyPatch) -> None:
    """The message says what to install."""
    monkeypatch.setitem(sys.modules, "defusedxml", None)
    monkeypatch.setitem(sys.modules, "defusedxml.common", None)
    with pytest.raises(FewtoneError, match=r"pip install 'fewtone\[cxf\]'"):
        read_cxf(GOOD, "x.cxf")
    monkeypatch.undo()
    monkeypatch.setitem(sys.modules, "colour_cxf", None)
    with pytest.raises(FewtoneError, match=r"pip install 'fewtone\[cxf\]'"):
        read_cxf(GOOD, "x.cxf")


@pytest.mark.parametrize("suffix", ["cxf", "txt"])
def test_a_huge_file_is_not_read(tmp_path: Path, suffix: str) -> None:
    """200 MB are refused by their size, without being read."""
    path = tmp_path / f"huge.{suffix}"
    with path.open("wb") as file:
        file.truncate(200_000_000)
    tracemalloc.start()
    with pytest.raises(FewtoneError, match="larger than 20 MB"):
        read_export(path)
    assert tracemalloc.get_traced_memory()[1] < 5_000_000
    tracemalloc.stop()


@pytest.mark.parametrize(
    "data", [b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR", b"PK\x03\x04\x14\x00\x00", b"hello"]
)
def test_other_files(tmp_path: Path, data: bytes) -> None:
    """A picture, a spreadsheet, a letter: none is an instrument's file."""
    path = tmp_path / "x"
    path.write_bytes(data)
    with pytest.raises(FewtoneError, match=r"neither CxF3 nor text|neither CGATS text"):
        read_export(path)
