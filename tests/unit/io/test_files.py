"""The gate for files: ordinary, of bounded size, in a known encoding; and cells that stay cells."""

from __future__ import annotations

import os
import time
from pathlib import Path

import pytest

import fewtone
from fewtone.errors import FewtoneError
from fewtone.io.edit import Edit
from fewtone.io.files import read_bytes, real_path
from fewtone.io.instruments.cgats import read_cgats
from fewtone.io.instruments.cxf import read_cxf
from fewtone.io.readings import reads_spectra
from fewtone.io.settings import load_settings
from fewtone.io.table import inert, read_table

SOON_S = 2.0  # seconds for what took minutes or never ended; a busy machine is allowed much


def test_a_pipe_does_not_block(tmp_path: Path) -> None:
    """A FIFO that nobody writes to is refused at once."""
    pipe = tmp_path / "readings.csv"
    os.mkfifo(pipe)
    with pytest.raises(FewtoneError, match="not an ordinary file"):
        read_bytes(pipe)


def test_a_pipe_for_readings_does_not_block(tmp_path: Path) -> None:
    """Commands that only ask whether there are spectra do not wait for it either."""
    fewtone.new(tmp_path / "demo", demo=True)
    readings = tmp_path / "demo" / "readings.csv"
    settings = load_settings(tmp_path / "demo")
    assert reads_spectra(tmp_path / "demo", settings)
    readings.unlink()
    os.mkfifo(readings)
    assert not reads_spectra(tmp_path / "demo", settings)


def test_links_in_a_circle_lead_nowhere_else(tmp_path: Path) -> None:
    """They are what they are called, and no fault of ours."""
    circle = tmp_path / "circle"
    circle.symlink_to("circle")
    assert real_path(circle) == real_path(tmp_path) / "circle"
    with pytest.raises(FewtoneError, match="cannot be read"):
        read_bytes(circle)


def test_a_device_is_not_read() -> None:
    """A device without end is refused."""
    with pytest.raises(FewtoneError, match="not an ordinary file"):
        read_bytes(Path("/dev/zero"))


@pytest.mark.parametrize("content", [b"", b"\xef\xbb\xbf", b"\xff\xfe", b"\xef\xbb\xbf \r\n"])
def test_a_file_of_nothing_is_empty(tmp_path: Path, content: bytes) -> None:
    """A mark alone is no content."""
    path = tmp_path / "x.csv"
    path.write_bytes(content)
    with pytest.raises(FewtoneError, match="empty"):
        read_table(path)


@pytest.mark.parametrize("name", ["x" * 300, "a\0b", "no/such/file"])
def test_names_that_no_file_can_have(tmp_path: Path, name: str) -> None:
    """A name that the system refuses is a fault that says so."""
    with pytest.raises(FewtoneError, match="cannot be read"):
        read_bytes(tmp_path / name)


@pytest.mark.parametrize("encoding", ["x-none", "utf-7", "big5", "euc-jp", "idna", "utf-32"])
def test_an_encoding_that_is_not_listed(encoding: str) -> None:
    """XML that declares it is refused with the list."""
    data = f'<?xml version="1.0" encoding="{encoding}"?><CxF/>'.encode()
    with pytest.raises(FewtoneError, match="can be read"):
        read_cxf(data, "x.cxf")


@pytest.mark.parametrize(
    "text",
    [
        "a = " + "[" * 5000 + "]" * 5000,
        "a = " + "9" * 5000,
        "a = 0x" + "f" * 9000,
        "[" + "a." * 9000,
    ],
)
def test_toml_beyond_reason(tmp_path: Path, text: str) -> None:
    """Nesting and digits without end are faults of the file."""
    (tmp_path / "shelf.toml").write_text(text)
    with pytest.raises(FewtoneError):
        load_settings(tmp_path)


def test_very_many_toners(tmp_path: Path) -> None:
    """A thousand are looked for in time; more are no shelf."""
    names = [f"x{n}" for n in range(1000)]
    text = "format = 1\n[grounds.white]\nkind = 'solid'\n"
    toners = "".join(f"[toners.{name}]\n" for name in names)
    (tmp_path / "shelf.toml").write_text(text + toners)
    settings = load_settings(tmp_path)
    started = time.process_time()
    for _ in range(200):
        assert settings.toner_names.at("2 x77 + 1 x999", 2) == ("x77", 5)
    assert time.process_time() - started < SOON_S
    (tmp_path / "shelf.toml").write_text(f"{text}{toners}[toners.beyond]\n")
    with pytest.raises(FewtoneError, match="1001 toners; 1000 are allowed"):
        load_settings(tmp_path)


@pytest.mark.parametrize("encoding", ["utf-16-le", "utf-16-be", "utf-16"])
def test_wide_characters_are_no_utf8(tmp_path: Path, encoding: str) -> None:
    """Two bytes a character, with or without the mark that says so: a fault of the file."""
    with pytest.raises(FewtoneError, match="not in UTF-8"):
        read_table(tmp_path / "x.csv", "panel,note\nP1,x\n".encode(encoding))


def test_very_many_columns(tmp_path: Path) -> None:
    """Ten thousand columns are refused at once, some thousands are looked at."""
    started = time.perf_counter()
    with pytest.raises(FewtoneError, match="10000 columns"):
        read_table(tmp_path / "x.csv", ",".join(f"c{i}" for i in range(10_000)).encode())
    table = read_table(tmp_path / "x.csv", ",".join(f"c{i}" for i in range(500)).encode())
    assert len(table.strangers(["panel", "coats"])) == 500
    assert time.perf_counter() - started < SOON_S


def test_very_many_faults(tmp_path: Path) -> None:
    """The first are told, the rest counted."""
    data = b"a\n" + b"x\n" * 20_000
    table = read_table(tmp_path / "x.csv", data)
    for row in table.rows:
        row.number_in("a", 0, 1)
    with pytest.raises(FewtoneError, match="And 19950 more") as caught:
        table.finish()
    assert len(caught.value.faults) == 51


@pytest.mark.parametrize("line", ['"' * 100_001, " " * 100_000, '" ' * 100_001])
def test_a_long_line_of_quotes(line: str) -> None:
    """CGATS is cut into values in one walk along the line."""
    started = time.perf_counter()
    with pytest.raises(FewtoneError):
        read_cgats(line.encode(), "x.txt")
    assert time.perf_counter() - started < SOON_S


@pytest.mark.parametrize(
    "text",
    ["=HYPERLINK(1)", "+1+2", "-x", "@SUM(1)", "\tx", "\uff1d1", "'quoted", "P01", "-3.5", ""],
)
def test_cells_run_nothing_and_come_back(tmp_path: Path, text: str) -> None:
    """A formula is written with an apostrophe before it, and read back without."""
    data = b"panel,note\nP1,x\n"
    edit = Edit(read_table(tmp_path / "x.csv", data), data)
    edit.set(2, "note", text)
    written = edit.content()
    assert written == f"panel,note\nP1,{inert(text)}\n".encode()
    assert written.split(b",")[2][:1] not in (b"=", b"@", b"+", b"\t")
    found = read_table(tmp_path / "x.csv", written).rows[0].text("note")
    assert found.strip() == text.strip()
