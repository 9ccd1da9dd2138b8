"""The one gate for files that are read: ordinary ones, of bounded size, in a known encoding."""

from __future__ import annotations

import os
import stat
from pathlib import Path

from fewtone.errors import Fault, FewtoneError

__all__ = [
    "LARGEST_FILE",
    "XML_ENCODINGS",
    "decode",
    "decode_instrument",
    "read_bytes",
    "real_path",
]

LARGEST_FILE = 20_000_000  # bytes; a shelf's readings are some thousand lines

# What files may be written in. Users' files: UTF-8. Instruments' text: that, UTF-16 with its mark,
# or the Western code page of older software. XML: what it declares, of these.
_UTF8, _UTF16, _WESTERN = "utf-8-sig", "utf-16", "cp1252"
XML_ENCODINGS = ("utf-8", "utf-16", "us-ascii", "iso-8859-1", "windows-1252")
_UTF8_MARK, _UTF16_MARKS = b"\xef\xbb\xbf", (b"\xff\xfe", b"\xfe\xff")


def read_bytes(path: Path, largest: int = LARGEST_FILE) -> bytes:
    """Read a file, never more than `largest` bytes of it, and never from a pipe or a device.

    Parameters
    ----------
    path
        The file.
    largest
        The most that it may hold [bytes].

    Raises
    ------
    FewtoneError
        It is missing, unreadable, no ordinary file, empty or larger than any such file could be.
    """
    try:
        # A pipe that nobody writes to would block for ever at being opened.
        handle = os.open(
            path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
        )
        with os.fdopen(handle, "rb") as file:
            kind = os.fstat(handle)
            if not stat.S_ISREG(kind.st_mode):
                raise _refused(path, "This is not an ordinary file", "Name the file itself.")
            # A file may grow while it is read.
            data = b"" if kind.st_size > largest else file.read(largest + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise FewtoneError(
            Fault(
                f"This file cannot be read: {reason}.",
                fix="Check its name and place, and that you may read it.",
                file=str(path),
            )
        ) from error
    if max(kind.st_size, len(data)) > largest:
        raise _refused(
            path,
            f"This file is larger than {largest / 1_000_000:g} MB, which no such file needs to be",
            "Check that it is the right file.",
        )
    if not data.removeprefix(_UTF8_MARK).strip() or data in _UTF16_MARKS:
        raise FewtoneError(Fault("This file is empty.", fix="Fill it in.", file=str(path)))
    return data


def decode(data: bytes, file: str) -> str:
    """Decode UTF-8, with or without a byte-order mark; a fault says where it is something else.

    Parameters
    ----------
    data
        The file's content.
    file
        Its name, for the message.

    Raises
    ------
    FewtoneError
        It is not UTF-8, or holds null bytes, as UTF-16 without its mark does.
    """
    at = data.find(b"\0")
    try:
        text = data.decode(_UTF8)
    except UnicodeDecodeError as error:
        at = error.start
    if at < 0:
        return text
    raise FewtoneError(
        Fault(
            "This file is not in UTF-8.",
            fix="Save it again as 'CSV UTF-8' (or as UTF-8 text).",
            file=file,
            row=data.count(b"\n", 0, at) + 1,
            value=repr(data[at : at + 1])[2:-1],
        )
    )


def decode_instrument(data: bytes, file: str) -> str:
    """Decode an instrument's text: UTF-16 by its mark, UTF-8, or else the Western code page.

    Every byte of that code page is taken for something; a name that comes out wrong is found
    when no panel has it.

    Parameters
    ----------
    data
        The file's content.
    file
        Its name, for the message.
    """
    if data.startswith(_UTF16_MARKS):
        try:
            return data.decode(_UTF16)
        except UnicodeDecodeError:
            pass
    try:
        return decode(data, file)
    except FewtoneError:
        return data.decode(_WESTERN, errors="replace")


def real_path(path: Path) -> Path:
    """Where a path leads, links followed; those that lead round in a circle are left as they are.

    Parameters
    ----------
    path
        Of a file or folder, which need not be there.
    """
    return Path(os.path.realpath(path))


def _refused(path: Path, problem: str, fix: str) -> FewtoneError:
    return FewtoneError(Fault(f"{problem}; it was not read.", fix=fix, file=str(path)))
