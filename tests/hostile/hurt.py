"""Ways to hurt a file, each drawn from a random source, so that a seed says it all."""

from __future__ import annotations

import contextlib
import io
import os
import random
import zipfile
from collections.abc import Callable
from pathlib import Path

import numpy as np

__all__ = ["HOSTILE", "NUMBERS", "hurt"]

NUMBERS = (
    "0",
    "-1",
    "1",
    "0.5",
    "1e99999999",
    "1e-99999999",
    "9" * 5000,
    "nan",
    "inf",
    "-inf",
    "²",
    "٣",
    "1,5",
    "1.5.5",
    "0x10",
    "1_000",
    "1e400",
    "1e-400",
    "00",
    "+6",
    "6:1",
    "3:30",
    "1/2/2026",
    "99999999999999999999",
    "0.0000001",
    "",
    " ",
    "--",
    "=1+1",
    "\u2212" + "3",
    "100",
    "1000",
    "50",
)
HOSTILE = (
    "\x1b[31m",
    "\x00",
    "\x07",
    "\x9b31m",
    "\u202e",
    "\ufeff",
    "\ud800",
    "\udcff",
    "=HYPERLINK(1)",
    "@SUM(1)",
    "+1",
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "'",
    '"',
    "\\",
    "{{ 7*7 }}",
    "{% raw %}",
    "$(touch x)",
    "; rm",
    "%s%n",
    "../../x",
    "/dev/zero",
    " " * 400,
    "a" * 3000,
    "маринка",
    "橙色",
    "e\u0301",
    "\u200d",
    "\r",
    "\n",
    "\t",
    ",",
    ";",
    "over",
    "medium",
    "coats",
    "P01",
    " P01",
    "panel",
    "-" * 50,
    "[" * 500,
    "(" * 50,
    "&amp;",
    "]]>",
    "<!--",
    "#",
)


def hurt(file: Path, rng: random.Random) -> str:
    """Hurt one file in place; return what was done, for the report."""
    ways: list[Callable[[Path, random.Random], None]] = [
        _flip,
        _cut,
        _double,
        _drop,
        _insert,
        _number,
        _word,
        _rows,
        _columns,
        _encoding,
        _ends,
        _token,
        _special,
        _small,
    ]
    if file.suffix == ".npz":
        ways = [_flip, _cut, _insert, _arrays, _special, _small]
    if file.suffix == ".xlsx":
        ways = [_flip, _cut, _insert, _members, _members, _members, _members, _special, _small]
    weights = [3] * len(ways)
    if ways[-2] is _special:
        weights[-2] = 1
    way = rng.choices(ways, weights)[0]
    way(file, rng)
    return f"{file.name}: {way.__name__.strip('_')}"


def _edit(file: Path, change: Callable[[bytes], bytes]) -> None:
    file.write_bytes(change(file.read_bytes()))


def _place(data: bytes, rng: random.Random) -> int:
    return rng.randrange(len(data) + 1)


def _flip(file: Path, rng: random.Random) -> None:
    def change(data: bytes) -> bytes:
        bytes_ = bytearray(data)
        for _ in range(rng.choice((1, 1, 3, 30)) if bytes_ else 0):
            bytes_[rng.randrange(len(bytes_))] = rng.randrange(256)
        return bytes(bytes_)

    _edit(file, change)


def _cut(file: Path, rng: random.Random) -> None:
    _edit(file, lambda data: data[: _place(data, rng)])


def _double(file: Path, rng: random.Random) -> None:
    def change(data: bytes) -> bytes:
        at = _place(data, rng)
        piece = data[at : at + rng.choice((1, 20, 500))]
        return data[:at] + piece * rng.choice((2, 5, 50)) + data[at:]

    _edit(file, change)


def _drop(file: Path, rng: random.Random) -> None:
    def change(data: bytes) -> bytes:
        at = _place(data, rng)
        return data[:at] + data[at + rng.choice((1, 10, 200)) :]

    _edit(file, change)


def _insert(file: Path, rng: random.Random) -> None:
    def change(data: bytes) -> bytes:
        at = _place(data, rng)
        return data[:at] + rng.randbytes(rng.choice((1, 4, 100))) + data[at:]

    _edit(file, change)


def _token(file: Path, rng: random.Random) -> None:
    def change(data: bytes) -> bytes:
        at = _place(data, rng)
        return data[:at] + rng.choice(HOSTILE).encode("utf-8", "surrogatepass") + data[at:]

    _edit(file, change)


def _cells(file: Path, rng: random.Random, what: Callable[[list[str]], str]) -> None:
    """Put something in the place of one cell, value or word."""
    text = file.read_text(encoding="utf-8", errors="surrogateescape")
    marks = ',;\t \n=[]<>"'
    starts = [
        i for i, c in enumerate(text) if c in marks and text[i + 1 : i + 2] not in ("", *marks)
    ]
    if not starts:
        return
    start = rng.choice(starts) + 1
    stop = start
    while stop < len(text) and text[stop] not in marks:
        stop += 1
    words = [w for w in text.replace(",", " ").replace('"', " ").split() if len(w) < 40]
    changed = text[:start] + what(words) + text[stop:]
    file.write_bytes(
        changed.encode("utf-8", "surrogateescape" if "\ud800" not in changed else "replace")
    )


def _number(file: Path, rng: random.Random) -> None:
    _cells(file, rng, lambda _: rng.choice(NUMBERS))


def _word(file: Path, rng: random.Random) -> None:
    _cells(file, rng, lambda words: rng.choice((*words, *HOSTILE)).replace("\ud800", "?"))


def _rows(file: Path, rng: random.Random) -> None:
    """Rows in another order, repeated, or out of one file's middle."""
    lines = file.read_bytes().splitlines(keepends=True)
    if len(lines) < 3:
        return
    head, body = lines[:1], lines[1:]
    kind = rng.randrange(4)
    if kind == 0:
        rng.shuffle(body)
    elif kind == 1:
        body += [rng.choice(body)] * rng.choice((1, 5, 30))
    elif kind == 2:
        body *= 2
    else:
        body = rng.sample(body, rng.randrange(1, len(body)))
    file.write_bytes(b"".join([*head, *body]))


def _columns(file: Path, rng: random.Random) -> None:
    """More columns, up to very many, or fewer."""
    lines = file.read_text(encoding="utf-8", errors="surrogateescape").splitlines()
    if not lines:
        return
    if rng.random() < 0.5:
        count = rng.choice((1, 2, 40, 400, 12_000))
        start = rng.choice((0, 300, 395, 701))
        lines[0] += "," + ",".join(str(start + 10 * i) for i in range(count))
    else:
        drop = rng.randrange(max(1, lines[0].count(",") + 1))
        lines = [",".join(c for i, c in enumerate(line.split(",")) if i != drop) for line in lines]
    file.write_bytes("\n".join(lines).encode("utf-8", "surrogateescape"))


def _encoding(file: Path, rng: random.Random) -> None:
    text = file.read_bytes().decode("utf-8", "replace")
    name = rng.choice(("utf-8-sig", "utf-16", "utf-16-le", "utf-32", "latin-1", "cp1252", "utf-7"))
    file.write_bytes(text.encode(name, "replace"))


def _ends(file: Path, rng: random.Random) -> None:
    ends = rng.choice((b"\r\n", b"\r", b"\n\n", b"", b"\x0b", "\u2028".encode()))
    _edit(file, lambda data: data.replace(b"\n", ends))


def _small(file: Path, rng: random.Random) -> None:
    contents = (
        b"",
        b"\n",
        b"\xef\xbb\xbf",
        b"\xff\xfe",
        b"\x00" * 100,
        b",,,\n",
        b"PK\x03\x04",
        b"<",
        b"\n" * 5000,
        b"\xef\xbb\xbf\n,",
    )
    file.write_bytes(rng.choice(contents))


def _special(file: Path, rng: random.Random) -> None:
    """What is no ordinary file, is not there, or is another file's link."""
    kept = file.read_bytes()
    file.unlink()
    kind = rng.randrange(8)
    if kind == 0:
        os.mkfifo(file)
    elif kind == 1:
        file.symlink_to(rng.choice(("/dev/zero", "/dev/full", "/dev/null", "/dev/stdin")))
    elif kind == 2:
        file.mkdir()
    elif kind == 3:
        file.symlink_to(file.name)
    elif kind == 4:
        file.symlink_to("nowhere")
    elif kind == 5:
        real = file.with_name(f"real-{file.name}")
        real.write_bytes(kept)
        real.chmod(0o640)
        file.symlink_to(real)
    elif kind == 6:
        file.write_bytes(kept)
        os.truncate(file, 3_000_000_000)
    # 7: it is gone


def _members(file: Path, rng: random.Random) -> None:
    """A workbook one of whose parts is hurt as text is, so that the archive itself is sound."""
    try:
        with zipfile.ZipFile(file) as archive:
            members = {name: archive.read(name) for name in archive.namelist()}
    except Exception:
        return  # it was hurt before
    sheet = "xl/worksheets/sheet1.xml"
    if not members:
        return
    usual = sheet in members and rng.random() < 0.6
    name = sheet if usual else rng.choice(sorted(members))
    part = file.with_name("part.xml")
    part.write_bytes(members[name])
    kind = rng.randrange(8)
    if kind == 0:
        members[name] = b" " * 50_000_000
    elif kind == 1:
        del members[name]
    elif kind == 2:
        far = rng.choice((b"XFD4", b"A1048576", b"XFD1048576", b"E2"))
        members[name] = members[name].replace(b'r="B3"', b'r="' + far + b'"')
    else:
        rng.choice((_flip, _cut, _double, _drop, _token, _number))(part, rng)
        members[name] = part.read_bytes()
    part.unlink()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        for each, data in members.items():
            archive.writestr(each, data)


def _arrays(file: Path, rng: random.Random) -> None:
    """An archive whose arrays have other shapes, kinds or values, or swell without end."""
    try:
        with np.load(io.BytesIO(file.read_bytes()), allow_pickle=False) as stored:
            arrays = {name: stored[name] for name in stored.files}
    except Exception:
        return
    name = rng.choice(list(arrays))
    kind = rng.randrange(7)
    if kind == 0:
        arrays[name] = np.full_like(arrays[name], np.nan, dtype=float)
    elif kind == 1:
        arrays[name] = arrays[name][..., None]
    elif kind == 2:
        arrays[name] = np.zeros((0, 3))
    elif kind == 3:
        arrays[name] = np.array(["text"])
    elif kind == 4:
        del arrays[name]
    elif kind == 5:
        arrays[name] = np.array([{}, None], dtype=object)
    else:
        with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
            archive.writestr(f"{name}.npy", b"\x93NUMPY\x01\x00" + bytes(60_000_000))
        return
    with contextlib.suppress(ValueError):
        np.savez_compressed(file, **arrays)
