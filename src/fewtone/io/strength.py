"""Writing a bottle's strength into ``shelf.toml`` and leaving every other byte as it is.

The line is changed, or added to its toner's table, as text; the result is read back as TOML and
must be what the file said with this one number set. A file whose toner stands there in another
way (an inline table, a dotted key) is left alone, and the user is told what to write.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

from fewtone.errors import Fault, FewtoneError
from fewtone.io.atomic import locked, write_atomic
from fewtone.io.files import decode, read_bytes
from fewtone.io.settings import SETTINGS_FILE, load_settings

__all__ = ["write_strength"]

_MARK = b"\xef\xbb\xbf"
_LINE = re.compile(r"[^\n]*\n|[^\n]+")
_STRENGTH = re.compile(r"(\s*(?:strength|\"strength\"|'strength')\s*=\s*)[^\s#]+")


def write_strength(folder: Path, toner: str, strength: Decimal) -> bool:
    """Write the strength of a toner's bottle, whole or not at all.

    Parameters
    ----------
    folder
        The shelf's folder.
    toner
        A toner of ``shelf.toml``.
    strength
        Of its bottle in use, relative to the learnt curve [1].

    Returns
    -------
    Whether the file was changed; it is not where it says so already.

    Raises
    ------
    FewtoneError
        The file cannot be used, the line cannot be placed, or the folder cannot be written to.
        Nothing was changed.
    """
    path = folder / SETTINGS_FILE
    with locked(path):
        return _write_strength(folder, path, toner, strength)


def _write_strength(folder: Path, path: Path, toner: str, strength: Decimal) -> bool:
    if load_settings(folder).toners[toner].strength == strength:
        return False
    data = read_bytes(path)
    text = decode(data, path.name)
    wanted = tomllib.loads(text, parse_float=Decimal)
    wanted["toners"][toner]["strength"] = strength
    for edited in _edits(text, toner, f"{strength:f}"):
        if _parsed(edited) == wanted:
            mark = _MARK if data.startswith(_MARK) else b""
            write_atomic(path, mark + edited.encode())
            return True
    raise FewtoneError(
        Fault(
            f"The strength of {toner} cannot be placed: it has no table [toners.{toner}] of its "
            "own lines. Nothing was changed.",
            fix=f"Write strength = {strength:f} for {toner} yourself.",
            file=path.name,
            column=f"toners.{toner}.strength",
        )
    )


def _edits(text: str, toner: str, strength: str) -> Iterator[str]:
    """The text with the line in each table that has the toner's name."""
    lines = _LINE.findall(text)
    quoted = rf"""(?:{toner}|"{toner}"|'{toner}')"""
    title = re.compile(rf"""\[\s*(?:toners|"toners"|'toners')\s*\.\s*{quoted}\s*\]\s*(?:#.*)?""")
    ending = "\r\n" if "\r\n" in text else "\n"
    for start, line in enumerate(lines):
        if not title.fullmatch(line.strip()):
            continue
        # The table ends before the next title; a value that looks like one fails the reading back.
        stop = next(
            (i for i in range(start + 1, len(lines)) if lines[i].lstrip().startswith("[")),
            len(lines),
        )
        for number in range(start + 1, stop):
            match = _STRENGTH.match(lines[number])
            if match:
                changed = match[1] + strength + lines[number][match.end() :]
                yield "".join([*lines[:number], changed, *lines[number + 1 :]])
        # After the table's last key: notes below it may belong to the next table.
        keys = [i for i in range(start, stop) if lines[i].strip() and lines[i].lstrip()[0] != "#"]
        last = lines[keys[-1]]
        before = [*lines[: keys[-1]], last if last.endswith("\n") else last + ending]
        yield "".join([*before, f"strength = {strength}{ending}", *lines[keys[-1] + 1 :]])


def _parsed(text: str) -> object:
    try:
        return tomllib.loads(text, parse_float=Decimal)
    except tomllib.TOMLDecodeError:
        return None
