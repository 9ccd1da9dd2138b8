"""Writing: whole or not at all, and what is written reads back."""

from __future__ import annotations

import errno
import os
import stat
from pathlib import Path

import numpy as np
import pytest

from fewtone.errors import FewtoneError, UsageError
from fewtone.io.atomic import files_written, locked, record_writes, write_atomic
from fewtone.io.curves import load_curves, save_curves
from fewtone.io.readings import load_readings
from fewtone.io.settings import load_settings
from fewtone.io.starter import copy_demo_shelf, new_shelf
from fewtone.model.curves import Curves
from fewtone.optics.film import FilmOptics, Geometry

PRINTED = 1e-6  # curves are written with seven digits


def test_a_full_disk_leaves_the_old_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """When writing fails midway the old content stands and no temporary file is left."""
    path = tmp_path / "curves.csv"
    write_atomic(path, "old")

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(FewtoneError, match="as it was"):
        write_atomic(path, "new")
    assert path.read_text() == "old"
    assert list(tmp_path.iterdir()) == [path]


def test_a_file_keeps_what_it_is(tmp_path: Path) -> None:
    """Mode and link stay: the target of a link is written, and the link still points there."""
    real, link = tmp_path / "real.csv", tmp_path / "link.csv"
    real.write_text("old")
    real.chmod(0o600)
    link.symlink_to(real)
    write_atomic(link, "new")
    assert link.is_symlink()
    assert real.read_text() == "new"
    assert real.stat().st_mode & 0o777 == 0o600


def test_what_is_no_file_is_not_replaced(tmp_path: Path) -> None:
    """A pipe stays a pipe: it is refused, not replaced."""
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    with pytest.raises(FewtoneError, match="not an ordinary file"):
        write_atomic(pipe, "x")
    assert stat.S_ISFIFO(pipe.stat().st_mode)


def test_the_folder_is_forced_to_the_disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The new name is synced after the content: first the file, then the folder."""
    synced: list[bool] = []
    sync = os.fsync

    def watched(handle: int) -> None:
        synced.append(stat.S_ISDIR(os.fstat(handle).st_mode))
        sync(handle)

    monkeypatch.setattr(os, "fsync", watched)
    write_atomic(tmp_path / "file", "x")
    assert synced == [False, True]


def test_litter_of_a_killed_writer_is_swept(tmp_path: Path) -> None:
    """The next writer removes what a killed one left, and nothing else."""
    litter, others = tmp_path / ".a.csv.x1.fewtone-part", tmp_path / ".b.csv.x1.fewtone-part"
    litter.write_text("half")
    others.write_text("another file's")
    with locked(tmp_path / "a.csv"):
        assert not litter.exists()
        with locked(tmp_path / "a.csv"):
            write_atomic(tmp_path / "a.csv", "x")
    assert others.exists()


def test_what_was_written_is_known(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Files that took their new content are told, files that did not are not."""
    with record_writes():
        write_atomic(tmp_path / "a", "x")

        def refused(*_: object) -> None:
            raise OSError(errno.EIO, os.strerror(errno.EIO))

        monkeypatch.setattr(Path, "replace", refused)
        with pytest.raises(FewtoneError):
            write_atomic(tmp_path / "b", "x")
        assert files_written() == (tmp_path / "a",)
    assert files_written() == ()


def test_a_folder_that_is_not_there(tmp_path: Path) -> None:
    """Writing into nowhere is a fault with a fix."""
    with pytest.raises(FewtoneError) as caught:
        write_atomic(tmp_path / "no" / "file", "x")
    assert caught.value.faults[0].fix


def curves() -> Curves:
    """Some curves."""
    return Curves(
        wavelength_nm=np.array([400.0, 410.0, 420.0]),
        toners=("marigold", "dusk"),
        absorption=np.array([[1.0, 0.5, 1e-7], [0.0, 2.0 / 3.0, 12345.678]]),
        grounds=("silver", "white"),
        ground_reflectance=np.array([[0.6, 0.7, 1.2], [0.5, 0.8, 0.9]]),
        return_ratio=np.array([0.41, 1.0]),
        optics=FilmOptics(Geometry.DIFFUSE_SPECULAR_EXCLUDED, 1.52, 0.01),
        readings_digest="ab12",
        version="9.8.7",
    )


def test_curves_read_back(tmp_path: Path) -> None:
    """Curves survive the file to the digits that it prints."""
    wanted = curves()
    save_curves(tmp_path, wanted)
    found = load_curves(tmp_path)
    for name in ("wavelength_nm", "absorption", "ground_reflectance", "return_ratio"):
        assert getattr(found, name) == pytest.approx(getattr(wanted, name), rel=PRINTED)
    for name in ("toners", "grounds", "optics", "readings_digest", "version"):
        assert getattr(found, name) == getattr(wanted, name)


def test_curves_are_text_that_states_its_terms(tmp_path: Path) -> None:
    """The file states format, units, geometry and the hash of the readings."""
    text = save_curves(tmp_path, curves()).read_text()
    for words in ("format: 3", "optical depth", "de:8", "film_index: 1.52", "ab12", "9.8.7"):
        assert words in text


@pytest.mark.parametrize(
    "damage",
    [
        ("# format: 3", "# format: 2"),
        ("dusk,absorption", "x"),
        ("0.41", "?"),
        ("0.41", "nan"),
        ("# units", "# x\n#"),
        ("400", "500"),
    ],
)
def test_damaged_curves_are_a_fault(tmp_path: Path, damage: tuple[str, str]) -> None:
    """A file that learn did not write is refused with the way out."""
    path = save_curves(tmp_path, curves())
    path.write_text(path.read_text().replace(*damage))
    with pytest.raises(FewtoneError) as caught:
        load_curves(tmp_path)
    assert "fewtone learn" in (caught.value.faults[0].fix or "")


def test_a_new_shelf_reads(tmp_path: Path) -> None:
    """The folder that `new` writes is valid as it stands, with rows for every toner and ground."""
    folder = tmp_path / "deep" / "shelf"
    written = new_shelf(folder, toners=["ruby-one", "sky"], solid=["white"], metallic=["silver"])
    assert {path.name for path in written} == {"shelf.toml", "readings.csv", "README.txt"}
    settings = load_settings(folder)
    assert list(settings.toners) == ["ruby-one", "sky"]
    assert [ground.kind for ground in settings.grounds.values()] == ["solid", "metallic"]
    readings = (folder / "readings.csv").read_text()
    assert readings.count("ruby-one-white") == readings.count("sky-silver") == 5
    assert readings.count("bare-silver") == 3
    filled = readings.replace(",first,,,", ",first,50,1,2").replace("50,1,2,,,", "50,1,2,,,")
    (folder / "readings.csv").write_text(filled)
    assert load_readings(folder, settings).items


def test_a_new_shelf_never_touches_what_is_there(tmp_path: Path) -> None:
    """Only missing files are written; rows follow the shelf.toml that stands there."""
    new_shelf(tmp_path, toners=["ruby"], solid=["white"], metallic=[])
    (tmp_path / "readings.csv").unlink()
    text = (tmp_path / "shelf.toml").read_text().replace("toners.ruby", "toners.topaz")
    (tmp_path / "shelf.toml").write_text(text)
    assert [path.name for path in new_shelf(tmp_path)] == ["readings.csv"]
    assert "topaz-white" in (tmp_path / "readings.csv").read_text()
    with pytest.raises(FewtoneError, match="nothing was touched"):
        new_shelf(tmp_path)
    assert (tmp_path / "shelf.toml").read_text() == text


@pytest.mark.parametrize("toners", [["Over"], ["medium"], ["a", "A"], [], [""]])
def test_names_that_cannot_be(tmp_path: Path, toners: list[str]) -> None:
    """Names that no recipe line could hold are wrong usage; no file is written."""
    with pytest.raises(UsageError):
        new_shelf(tmp_path, toners=toners)
    assert not list(tmp_path.iterdir())


def test_labels_become_names(tmp_path: Path) -> None:
    """A label gives its name, in any script; one that could not stand in TOML is still itself."""
    labels = ["Ruby Red", 'Blé "fin"', "2K Sky", "\u7d05"]
    new_shelf(tmp_path / "shelf", toners=labels, solid="White", metallic=())
    settings = load_settings(tmp_path / "shelf")
    assert {n: t.label for n, t in settings.toners.items()} == {
        "ruby-red": "Ruby Red",
        "ble-fin": 'Blé "fin"',
        "n2k-sky": "2K Sky",
        "toner-4": "\u7d05",
    }
    assert list(settings.grounds) == ["white"]
    assert "ruby-red-white" in (tmp_path / "shelf" / "readings.csv").read_text()


def test_nothing_is_left_behind_on_error(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """If the second file cannot be written, the first and the folders made for it go too."""
    calls = []

    def full(file: Path, text: str) -> None:
        calls.append(file)
        if len(calls) == 2:
            raise FewtoneError("The disk is full.")
        file.write_text(text)

    monkeypatch.setattr("fewtone.io.starter.write_atomic", full)
    with pytest.raises(FewtoneError, match="full"):
        new_shelf(tmp_path / "a" / "b")
    assert len(calls) == 2
    assert not list(tmp_path.iterdir())


def test_the_demo_shelf_is_copied(tmp_path: Path) -> None:
    """The demo reads, says that it is invented, and is not copied over anything."""
    copy_demo_shelf(tmp_path / "bench")
    settings = load_settings(tmp_path / "bench")
    assert len(settings.toners) >= 10
    assert len(settings.grounds) == 4
    assert load_readings(tmp_path / "bench", settings).wavelength_nm is not None
    assert "invented" in (tmp_path / "bench" / "shelf.toml").read_text().lower()
    with pytest.raises(FewtoneError, match="nothing was touched"):
        copy_demo_shelf(tmp_path / "bench")
