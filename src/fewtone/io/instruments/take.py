"""Taking an instrument's file into a shelf's readings: read, choose, merge, check, write."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from contextlib import nullcontext
from dataclasses import dataclass
from pathlib import Path
from typing import TypedDict, Unpack

from fewtone.colorimetry import Light
from fewtone.errors import Fault, FewtoneError
from fewtone.io.atomic import locked, write_atomic
from fewtone.io.files import read_bytes
from fewtone.io.instruments.choose import choose
from fewtone.io.instruments.merge import Placed, merge
from fewtone.io.instruments.samples import Export
from fewtone.io.readings import READINGS_FILE, load_readings
from fewtone.io.settings import load_settings
from fewtone.io.table import read_table
from fewtone.model.names import named_options

__all__ = ["Taken", "read_export", "take", "take_text"]

# Some 20,000 spectra; parsed, XML takes some ten times its size in memory.
LARGEST_EXPORT = 20_000_000
_XML_STARTS = tuple("<".encode(encoding) for encoding in ("utf-8", "utf-16-le", "utf-16-be"))
_ENCODING = re.compile(r"""\A(\s*<\?xml\b[^>]{0,200}?)\s+encoding=(?:"[^"]{0,40}"|'[^']{0,40}')""")
_MARKS = (b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff")


class TakeOptions(TypedDict, total=False):
    """How a file is taken.

    Parameters
    ----------
    mode, light, leave_out, force, dry_run
        The parameters of `take` of these names.
    """

    mode: str | None
    light: Light | str | None
    leave_out: Sequence[str]
    force: bool
    dry_run: bool


@dataclass(frozen=True, slots=True)
class Taken:
    """What was taken.

    Parameters
    ----------
    file, kind
        The instrument's file, and what it is: ``CxF3`` or ``CGATS``.
    readings_file
        The shelf's readings.
    placed
        Where each sample went.
    left_out
        Names that were not to count.
    columns_added
        Columns that readings.csv did not have.
    written
        Whether readings.csv was changed.
    cautions
        What should be told.
    """

    file: Path
    kind: str
    readings_file: Path
    placed: tuple[Placed, ...]
    left_out: tuple[str, ...]
    columns_added: tuple[str, ...]
    written: bool
    cautions: tuple[str, ...]


@named_options
def take(
    folder: str | Path,
    file: str | Path,
    *,
    mode: str | None = None,
    light: Light | str | None = None,
    leave_out: Sequence[str] = (),
    force: bool = False,
    dry_run: bool = False,
) -> Taken:
    """Take an instrument's file (CxF3, CGATS or plain text) into a shelf's readings.

    A sample's name says where its reading goes: ``P014`` is the row of panel P014 that has none
    yet, ``P014 3`` its step of 3 coats, and a recipe line a new row on a new panel.

    Parameters
    ----------
    folder
        The shelf's folder.
    file
        The instrument's file.
    mode
        Which measurement mode counts, such as ``M1``, if the file has several.
    light
        Illuminant and observer of the file's Lab, such as ``D50/2``, if it does not say.
    leave_out
        Names of samples that are not to count.
    force
        Whether readings that stand there may be replaced.
    dry_run
        Whether to find out what would be done, and write nothing.

    Returns
    -------
    Where each reading went.

    Raises
    ------
    FewtoneError
        The file, or readings.csv with it, would not do; nothing was written.
    """
    source = Path(file)
    return _take(
        Path(folder),
        source,
        lambda: read_export(source),
        TakeOptions(mode=mode, light=light, leave_out=leave_out, force=force, dry_run=dry_run),
    )


@named_options
def take_text(
    folder: str | Path, text: str, *, name: str = "pasted", **how: Unpack[TakeOptions]
) -> Taken:
    """Take what stands in an instrument's file, where only its text is at hand.

    Parameters
    ----------
    folder
        The shelf's folder.
    text
        All of it; what it says of its own encoding no longer holds.
    name
        What messages call it.
    **how
        As `take` takes it.

    Raises
    ------
    FewtoneError
        The text, or readings.csv with it, would not do; nothing was written.
    """
    # XML begins with its first character, whatever was pasted before it.
    plain = text.lstrip() if text.lstrip().startswith("<") else text
    data = _ENCODING.sub(r"\1", plain, count=1).encode("utf-8", "replace")
    return _take(Path(folder), Path(name), lambda: _parsed(data, name), how)


def _take(shelf_folder: Path, source: Path, read: Callable[[], Export], how: TakeOptions) -> Taken:
    light, leave_out = how.get("light"), how.get("leave_out", ())
    force, dry_run = how.get("force", False), how.get("dry_run", False)
    under = Light.parse(light) if isinstance(light, str) else light
    settings = load_settings(shelf_folder)
    export = read()
    readings, cautions = choose(
        export, settings.measurement, mode=how.get("mode"), light=under, leave_out=leave_out
    )
    path = shelf_folder / READINGS_FILE
    with nullcontext() if dry_run else locked(path):
        data = read_bytes(path)
        merged = merge(
            read_table(path, data), data, settings, readings, file=export.file, force=force
        )
        changed = merged.content != data
        if changed:
            load_readings(shelf_folder, settings, merged.content)
            if not dry_run:
                write_atomic(path, merged.content)
    return Taken(
        source,
        export.kind,
        path,
        merged.placed,
        tuple(leave_out),
        merged.columns_added,
        changed and not dry_run,
        (*cautions, *merged.cautions),
    )


def read_export(path: Path, *, unnamed: str = "") -> Export:
    """Read an instrument's file, CxF3, CGATS or plain text by what stands in it.

    Parameters
    ----------
    path
        The file.
    unnamed
        What a sample of plain text is called where no column names it; refused if empty.

    Raises
    ------
    FewtoneError
        It is neither, too large, or broken.
    """
    return _parsed(read_bytes(path, LARGEST_EXPORT), path.name, unnamed=unnamed)


def _parsed(data: bytes, name: str, *, unnamed: str = "") -> Export:
    """An instrument's file out of its bytes."""
    head = data[:64]
    for mark in _MARKS:
        head = head.removeprefix(mark)
    if head.lstrip().startswith(_XML_STARTS):
        from fewtone.io.instruments.cxf import read_cxf

        return read_cxf(data, name)
    if b"\x00" in head and not data.startswith(_MARKS[1:]):
        raise FewtoneError(
            Fault(
                "This is neither CxF3 nor text.",
                fix="Export the readings as CxF3 (.cxf), CGATS.17 (.txt) or CSV.",
                file=name,
            )
        )
    from fewtone.io.instruments.cgats import read_cgats
    from fewtone.io.instruments.plain import read_plain

    is_cgats = b"BEGIN_DATA" in data.replace(b"\0", b"").upper()
    plain = None if is_cgats else read_plain(data, name, unnamed=unnamed)
    return plain or read_cgats(data, name)
