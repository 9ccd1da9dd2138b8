"""A real CxF3 file (ISO 17972): 144 printed patches with their spectra and the file's own Lab.

Source: ``sample.cxf`` among the tests of colour-cxf 0.1.1, written by an instrument's software in
2007: 45:0, 380 to 680 nm by 10 nm, Lab under D50 and 2° by ASTM E308 table 5.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest

import fewtone
from fewtone.colorimetry import Light, delta_e_2000, lab_from_xyz, white_point, xyz
from fewtone.io.instruments.choose import choose
from fewtone.io.instruments.take import read_export
from fewtone.io.readings import load_readings
from fewtone.io.settings import load_settings
from fewtone.model.shelf import Measurement
from fewtone.typing import FloatArray
from outside.datasets import wheel

SHA256 = "e6ae6d9e5c31c41a6c623ed7b7ab1bfa1475523c002836b339978cce3afd5aa9"
D50 = Light("D50", 2)
NM = tuple(range(380, 681, 10))
CORE = "{http://colorexchangeformat.com/CxF3-core}"
# Table 5 of ASTM E308 corrects for bandpass and folds the missing tails into the end weights,
# here cubics are summed at 1 nm with held tails: what two rules for the same file may differ by.
MEDIAN_DE00, LARGEST_DE00 = 0.07, 0.36


@pytest.fixture
def sample(tmp_path: Path) -> Path:
    """The file, taken out of the wheel."""
    path = tmp_path / "sample.cxf"
    path.write_bytes(content())
    return path


@cache
def content() -> bytes:
    """Its bytes."""
    with wheel("colour-cxf", "0.1.1", SHA256, "a real CxF3 file") as archive:
        return archive.read("colour_cxf/tests/resources/sample.cxf")


def plainly_read() -> tuple[list[str], FloatArray, FloatArray]:
    """Names, spectra and Lab as the standard library's XML reader finds them."""
    objects = list(ElementTree.fromstring(content()).iter(f"{CORE}Object"))
    spectra = [item.findtext(f".//{CORE}ReflectanceSpectrum", "").split() for item in objects]
    labs = [[item.findtext(f".//{CORE}{axis}", "") for axis in "LAB"] for item in objects]
    names = [item.get("Name", "") for item in objects]
    return names, np.array(spectra, dtype=float), np.array(labs, dtype=float)


def test_the_spectra_give_the_files_lab(sample: Path) -> None:
    """144 spectra come to the file's own Lab."""
    found, cautions = choose(read_export(sample), Measurement())
    assert len(found) == 144
    assert not cautions
    spectra = np.array([one.reflectance for one in found])
    colours = lab_from_xyz(xyz(spectra, np.array(NM), D50), white_point(D50))
    apart = delta_e_2000(colours, np.array([one.lab[D50] for one in found]))
    print(f"\nsample.cxf: median {np.median(apart):.3f}, largest {apart.max():.3f} ΔE00")
    assert np.median(apart) <= MEDIAN_DE00
    assert apart.max() <= LARGEST_DE00


def shelf(folder: Path, columns: str, light: Light) -> Path:
    """A shelf with one waiting row for each of the file's patches."""
    (folder / "shelf.toml").write_text(
        f'[measurement]\nilluminant = "{light.illuminant}"\nobserver = {light.observer}\n'
        '[toners.ink]\n[grounds.paper]\nkind = "solid"\n'
    )
    names, _, _ = plainly_read()
    rows = [f"{name},paper,ink,6,1,{',' * columns.count(',')}" for name in names]
    header = f"panel,ground,blend,medium_parts,coats,{columns}"
    (folder / "readings.csv").write_text("\n".join([header, *rows, ""]))
    return folder


def test_every_spectrum_arrives(sample: Path, tmp_path: Path) -> None:
    """Taken into readings.csv and loaded, each value is the file's own, to the sixth decimal."""
    folder = shelf(tmp_path, ",".join(map(str, NM)), D50)
    taken = fewtone.take(folder, sample)
    assert [one.what for one in taken.placed] == ["filled"] * 144
    readings = load_readings(folder, load_settings(folder))
    loaded = np.array([item.reflectance for item in readings.items])
    _, spectra, _ = plainly_read()
    assert np.abs(loaded - spectra).max() <= 0.5e-6 + 1e-12


def test_every_lab_arrives(sample: Path, tmp_path: Path) -> None:
    """Beside the spectra, the file's Lab goes to the columns of its light, to four decimals."""
    folder = shelf(tmp_path, "L,a,b", D50)
    taken = fewtone.take(folder, sample)
    assert taken.columns_added == tuple(map(str, NM))
    readings = load_readings(folder, load_settings(folder))
    loaded = np.array([dict(item.lab or {})[D50] for item in readings.items])
    _, _, labs = plainly_read()
    assert np.abs(loaded - labs).max() <= 0.5e-4 + 1e-12
