"""Targets from files: one reading, spectral or Lab, in the shelf's geometry."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from exports import colour_object, cxf, specification, spectrum
from fewtone.colorimetry import Light, lab_from_xyz, white_point, xyz
from fewtone.errors import FewtoneError
from fewtone.io.targets import read_target
from fewtone.model.shelf import Measurement
from fewtone.model.target import Target
from fewtone.optics.film import Geometry
from fewtone.typing import FloatArray

SHELF = Measurement(light=Light("D65", 10))
GRID: FloatArray = np.arange(400.0, 701.0, 10.0)
SPECTRUM: FloatArray = 0.1 + 0.5 / (1.0 + np.exp(-(GRID - 580.0) / 20.0))
CGATS = """CGATS.17
{said}NUMBER_OF_FIELDS 32
BEGIN_DATA_FORMAT
SAMPLE_NAME {fields}
END_DATA_FORMAT
NUMBER_OF_SETS 1
BEGIN_DATA
door {values}
END_DATA
"""

Files = Callable[[str, str], Path]


@pytest.fixture
def file(tmp_path: Path) -> Files:
    """Write a file of that name."""

    def written(name: str, text: str) -> Path:
        (tmp_path / name).write_text(text)
        return tmp_path / name

    return written


def read(path: Path, **how: object) -> Target:
    """Read a target by its path, as the command line does."""
    return read_target(str(path), SHELF, wavelength_nm=GRID, **how)  # type: ignore[arg-type]


def columns(grid: FloatArray = GRID, values: FloatArray = SPECTRUM, between: str = ",") -> str:
    """Wavelength and reflectance, one a line."""
    lines = [f"{nm:g}{between}{value:.6f}" for nm, value in zip(grid, values, strict=True)]
    return "\n".join([f"nm{between}R", *lines]) + "\n"


def header(percent: bool = False) -> str:
    """A header of wavelengths and one line without a name."""
    values = 100.0 * SPECTRUM if percent else SPECTRUM
    return ",".join(f"{nm:g}" for nm in GRID) + "\n" + ",".join(f"{v:.6f}" for v in values) + "\n"


def cgats(said: str = "") -> str:
    """A CGATS file of one sample."""
    return CGATS.format(
        said=said,
        fields=" ".join(f"SPECTRAL_NM{nm:g}" for nm in GRID),
        values=" ".join(f"{value:.6f}" for value in SPECTRUM),
    )


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("door.csv", columns()),
        ("door.csv", columns(between=";").replace(".", ",")),
        ("door.csv", header()),
        ("door.csv", header(percent=True)),
        ("door.txt", cgats()),
    ],
    ids=["columns", "decimal commas", "header", "percent", "CGATS"],
)
def test_a_spectrum_has_its_colour_in_every_light(file: Files, name: str, text: str) -> None:
    """However it is written: the Lab of the spectrum, in the shelf's light and in others."""
    target = read(file(name, text))
    for light, seen in ((SHELF.light, target), (Light("A", 2), target.in_light(Light("A", 2)))):
        wanted = lab_from_xyz(xyz(SPECTRUM, GRID, light), white_point(light))
        # Six decimals are written.
        assert seen.lab == pytest.approx(tuple(wanted), abs=2e-3)
        assert seen.light == light
    assert target.spectrum is not None
    assert target.spectrum.reflectance == pytest.approx(SPECTRUM, abs=1e-6)
    assert read(file(name, text), light=Light("F11", 10)).light == Light("F11", 10)


def test_finer_and_longer_readings_come_onto_the_shelf_s_wavelengths(file: Files) -> None:
    """1 nm from 360 to 780: a smooth spectrum stays as it is."""
    fine: FloatArray = np.arange(360.0, 781.0)
    values = 0.1 + 0.5 / (1.0 + np.exp(-(fine - 580.0) / 20.0))
    target = read(file("fine.csv", columns(fine, values)))
    assert target.spectrum is not None
    assert target.spectrum.wavelength_nm.tolist() == GRID.tolist()
    # Means under triangles of 10 nm: a twelfth of the curvature, (10 nm)²/12 · R″.
    assert target.spectrum.reflectance == pytest.approx(SPECTRUM, abs=2e-3)
    assert not [text for text in target.cautions if "nm" in text]


def test_a_shorter_range_is_told(file: Files) -> None:
    """From 420 to 680 nm there is a colour, with a caution."""
    inner = slice(2, -2)
    target = read(file("short.csv", columns(GRID[inner], SPECTRUM[inner])))
    assert any("from 420 to 680 nm" in text for text in target.cautions)
    assert target.in_light(Light("A", 10)).light.illuminant == "A"


def test_a_cxf_file_is_a_target(tmp_path: Path) -> None:
    """Spectrum, name and geometry of its one object."""
    path = tmp_path / "reading.cxf"
    objects = [colour_object("door", spectrum(SPECTRUM.tolist()))]
    path.write_bytes(cxf(objects, [specification()]))
    target = read(path)
    assert target.name == "door"
    assert target.spectrum is not None
    assert target.spectrum.reflectance == pytest.approx(SPECTRUM, abs=1e-9)
    path.write_bytes(
        cxf([*objects, colour_object("gate", spectrum(SPECTRUM.tolist()))], [specification()])
    )
    with pytest.raises(FewtoneError, match="2 readings"):
        read(path)


def test_lab_alone_is_taken_in_its_light(file: Files) -> None:
    """A file without a spectrum gives Lab, in the light that it names."""
    target = read(file("lab.csv", "sample,L* D50/2,a* D50/2,b* D50/2\ndoor,40,20,10\n"))
    assert (target.lab, target.light, target.name) == ((40.0, 20.0, 10.0), Light("D50", 2), "door")
    with pytest.raises(FewtoneError, match="in D50/2 alone"):
        target.in_light(Light("A", 10))


@pytest.mark.parametrize(
    ("name", "text", "told"),
    [
        ("two.csv", "sample,L* D50/2,a* D50/2,b* D50/2\nx,40,20,10\ny,41,20,10\n", "2 readings"),
        ("two.csv", "nm,R,S\n" + "".join(f"{nm:g},.2,.3\n" for nm in GRID), "2 readings"),
        ("ir.csv", columns(GRID + 500.0), "do not overlap"),
        ("narrow.csv", columns(GRID + 50.0), "not enough for a colour"),
        ("gap.csv", columns().replace("\n500,", "\n500,;"), "500 nm|number"),
        ("words.csv", "what,is,this\n1,2,3\n", "."),
        ("none.csv", "", "."),
    ],
)
def test_what_holds_no_one_reading_is_refused(file: Files, name: str, text: str, told: str) -> None:
    """The file and what is wrong with it."""
    with pytest.raises(FewtoneError, match=told) as refused:
        read(file(name, text))
    assert all(Path(fault.file or "").name == name for fault in refused.value.faults)


def test_no_such_file(tmp_path: Path) -> None:
    """A path that is none says so rather than that it is no colour."""
    with pytest.raises(FewtoneError, match="no such file"):
        read(tmp_path / "gone.csv")


def test_another_geometry_is_refused_or_let_through_with_a_caution(file: Files) -> None:
    """What the file says counts, and what is said beside any target."""
    path = file("sphere.txt", cgats('MEASUREMENT_GEOMETRY "di:8"\n'))
    with pytest.raises(FewtoneError, match="read in di:8, the shelf in 45:0"):
        read(path)
    target = read(path, anyway=True)
    assert target.geometry == Geometry.DIFFUSE_SPECULAR_INCLUDED
    assert any("di:8" in text for text in target.cautions)
    with pytest.raises(FewtoneError, match="read in de:8"):
        read_target("40,20,10", SHELF, geometry="de:8")
    assert read_target("40,20,10", SHELF, geometry="de:8", anyway=True).cautions
    assert not read_target("40,20,10", SHELF, geometry="45:0").cautions
    with pytest.raises(FewtoneError, match="no such geometry"):
        read_target("40,20,10", SHELF, geometry="45:45")
