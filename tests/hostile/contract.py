"""What every command keeps, whatever it is given: checked from outside after it has run."""

from __future__ import annotations

import csv
import json
import re
import stat
from collections.abc import Mapping
from dataclasses import dataclass
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

__all__ = [
    "LARGEST_BYTES",
    "LONGEST_S",
    "RAW",
    "Outcome",
    "Snapshot",
    "breaches",
    "snapshot",
    "unsafe",
]

LONGEST_S, LARGEST_BYTES = 10.0, 1_000_000_000
RAW = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")
# What a terminal with colours is sent: bold, dim, and colours of 8 or 24 bits, never named ones.
_COLOURS = re.compile(r"\x1b\[(?:0|[12]|(?:1;)?(?:[34]8;[25];[0-9;]+)+)m")
_KEYS = {"file", "row", "column", "value", "message", "fix"}
# Which files each command may change or make in a shelf; others it may not touch.
_CHANGES = {
    "bottle": ("shelf.toml",),
    "adjust": ("readings.csv",),
    "take": ("readings.csv",),
    "learn": ("curves.csv", "readings.csv"),
    "job": ("book.db",),
    "new": ("shelf.toml", "readings.csv", "README.txt"),
}
_OWN = (".fewtone.lock", "curves.csv", "learnt.json")

Snapshot = Mapping[str, tuple[str, int, bytes]]


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a command did: exit code, streams, seconds of CPU, and the most memory so far.

    `stream` is what standard output was: whole, a terminal, full, gone or closed; or that the
    command was interrupted.
    """

    words: list[str]
    code: int | None
    out: str
    err: str
    cpu_s: float
    peak_bytes: int
    stream: str = "whole"


def snapshot(place: Path) -> Snapshot:
    """Every file below a place: what it is, its mode, its content or where it points."""
    found = {}
    for path in sorted(place.rglob("*")):
        kind = path.lstat()
        if stat.S_ISLNK(kind.st_mode):
            entry = ("link", 0, str(path.readlink()).encode())
        elif stat.S_ISREG(kind.st_mode) and kind.st_size < 100_000_000:
            entry = ("file", stat.S_IMODE(kind.st_mode), path.read_bytes())
        else:
            entry = ("other", stat.S_IMODE(kind.st_mode), str(stat.S_IFMT(kind.st_mode)).encode())
        found[str(path.relative_to(place))] = entry
    return found


def breaches(ran: Outcome, before: Snapshot, after: Snapshot) -> list[str]:
    """What a run did that it must not; empty if nothing."""
    found = []
    interrupted = ran.stream == "interrupted" and ran.code == 130
    if ran.code not in (0, 1, 2, 3) and not interrupted:
        found.append(f"exit code {ran.code}")
    if "Traceback" in ran.out + ran.err:
        found.append("traceback")
    for name, text in (("stdout", ran.out), ("stderr", ran.err)):
        if raw := RAW.search(_COLOURS.sub("", text) if ran.stream == "terminal" else text):
            found.append(f"{name} holds {raw[0]!r}")
    if ran.cpu_s > LONGEST_S:
        found.append(f"{ran.cpu_s:.1f} s of CPU")
    if ran.peak_bytes > LARGEST_BYTES:
        found.append(f"{ran.peak_bytes / 1e9:.2f} GB")
    whole = ran.stream in ("whole", "terminal") or (ran.stream == "interrupted" and not interrupted)
    # Behind `--` all is text.
    options = ran.words[: ran.words.index("--")] if "--" in ran.words else ran.words
    if whole and "--json" in options and "--version" not in options:
        found += _document(ran)
    if ran.code in (1, 2, 130) and not ran.err.strip():
        found.append("an error without a word")
    return found + _files(ran, before, after)


def _document(ran: Outcome) -> list[str]:
    try:
        document: Any = json.loads(ran.out, parse_constant=_no_constant)
    except ValueError as error:
        return [f"not one JSON document: {error}"]
    if ran.code in (1, 2) and not (
        document.get("errors") and all(set(one) == _KEYS for one in document["errors"])
    ):
        return ["errors without the locked keys"]
    return []


def _no_constant(name: str) -> None:
    raise ValueError(f"{name} is no JSON")


def _files(ran: Outcome, before: Snapshot, after: Snapshot) -> list[str]:
    found = []
    told = "Written all the same" in ran.err
    command = ran.words[0] if ran.words else ""
    allowed = _CHANGES.get(command, ()) + (("book.db",) if "--job" in ran.words else ())
    for name in sorted({*before, *after}):
        old, new = before.get(name), after.get(name)
        if old == new or (old is None and f"{name}/book.db" in after):
            continue  # as it was, or the folder that was made for a book
        base = name.rsplit("/", 1)[-1]
        if _is_litter(ran, base):
            found.append(f"left behind: {name}")
        elif (
            base in _OWN
            # What a link leads to is written through it.
            or base.startswith(("uncertainty-", "out.", "real-", "nowhere"))
            or _is_output(ran, base)
        ):
            if new is not None and new[0] == "file":
                found += _inert(base, new[2], command == "sheet")
        elif old is None and command == "new" and ran.code in (0, 1, 2, 130):
            if ran.code != 0 and ran.stream in ("whole", "terminal", "interrupted") and not told:
                found.append(f"left behind: {name}")
        elif base not in allowed:
            found.append(f"touched: {name}")
        elif ran.code in (1, 2, 130) and not told:
            found.append(f"changed and not told: {name}")
        elif old is not None and (new is None or old[:2] != new[:2]):
            found.append(f"another kind or mode: {name}")
        elif old is not None and new is not None and base == "readings.csv" and command == "adjust":
            kept = new[2].splitlines()
            if [
                line
                for line in old[2].splitlines()[1:]
                if line.strip(b" ,;\t") and line not in kept
            ]:
                found.append("rows lost")
    return found


def _is_litter(ran: Outcome, base: str) -> bool:
    """Whether no run may leave a file of this name; a deck's that failed may be gone on with."""
    unfinished = ".unfinished" in base and ran.code == 0
    return ".fewtone-" in base or base.startswith(("fewtone-fault", "book.db-")) or unfinished


def _is_output(ran: Outcome, base: str) -> bool:
    """Whether this file was named to be written over."""
    return "--force" in ran.words and any(word.endswith(base) for word in ran.words)


def _inert(name: str, data: bytes, is_page: bool) -> list[str]:
    if data.startswith(b"%PDF-"):  # its compressed streams may look like any tag
        return [f"runs by {key!r}" for key in (b"/JavaScript", b"/Launch") if key in data]
    text = data.decode("utf-8", "replace")
    if is_page or name.endswith((".html", ".svg")):
        return unsafe(text)
    if name.endswith(".csv"):
        cells = [cell for row in csv.reader(text.splitlines()) for cell in row]
        return [f"a formula: {cell!r}" for cell in cells if re.match(r"[=@]|[+-][^\d.]", cell)][:1]
    return []


def unsafe(text: str) -> list[str]:
    """What of a page an argument or a file made run."""
    page = _Page()
    page.feed(text)
    return page.found


class _Page(HTMLParser):
    """Looks for what an argument or a file may have put into a page to run."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note scripts and handlers that hold the trial's mark."""
        if tag in ("script", "img") and any("alert" in str(value) for _, value in attrs):
            self.found.append(f"<{tag}> of an argument")
        self.found += [f"handler {name}" for name, _ in attrs if name.startswith("on")]

    def handle_data(self, data: str) -> None:
        """Note a script that holds the trial's mark."""
        if self.lasttag == "script" and "alert(1)" in data:
            self.found.append("script of an argument")
