"""A job: what was asked for, and what was done about it, entry by entry.

What was asked for stands once and never changes. All else is an entry with its time: a recipe that
was chosen, a batch that was poured, a panel with its readings, an adjustment, a note, the end. The
recipe in use is the last that an entry names.
"""

from __future__ import annotations

import datetime
import hashlib
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from fewtone.colorimetry import Light
from fewtone.errors import Fault, FewtoneError, UsageError
from fewtone.match.result import Match
from fewtone.model.recipe import Recipe, parse
from fewtone.model.target import Target
from fewtone.optics.film import Geometry

__all__ = [
    "ENDINGS",
    "KINDS",
    "Entry",
    "Job",
    "job_from",
    "job_name",
    "opened_job",
    "recipe_entry",
]

KINDS = ("recipe", "batch", "panel", "adjustment", "note", "ended")
"""What an entry may be."""
ENDINGS = ("passed", "given up")
"""How a job may end."""

_LONGEST_NAME = 100


def _now() -> str:
    return datetime.datetime.now(datetime.UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


@dataclass(frozen=True, slots=True)
class Entry:
    """One thing that was done.

    Parameters
    ----------
    kind
        One of `KINDS`.
    data
        What it says, as JSON has it: ``recipe``, a recipe line, for all but notes and the end; with
        a chosen recipe ``lab`` and ``de00`` as they were predicted, with an adjustment ``lab``;
        with a panel ``readings``.
    at
        When, in universal time to the second, ISO 8601.
    """

    kind: str
    data: Mapping[str, Any] = field(default_factory=dict)
    at: str = field(default_factory=_now)

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise FewtoneError(
                Fault(
                    "There is no such kind of entry.",
                    fix=f"Kinds are: {', '.join(KINDS)}.",
                    value=self.kind,
                )
            )


@dataclass(frozen=True, slots=True)
class Job:
    """A job as the book holds it.

    Parameters
    ----------
    name
        What it goes by.
    target
        What was asked for.
    tolerance
        ΔE00 that passes.
    shelf
        Name of the shelf.
    readings_sha256, curves_sha256
        Hashes of the readings that the shelf was learnt from, and of its ``curves.csv``, whose text
        the book keeps too.
    opened
        When, as `Entry.at`.
    entries
        What was done, in order.
    """

    name: str
    target: Target
    tolerance: float
    shelf: str
    readings_sha256: str
    curves_sha256: str
    opened: str
    entries: tuple[Entry, ...] = ()

    @property
    def recipe(self) -> Recipe | None:
        """The recipe in use; None if none was chosen yet."""
        lines = [entry.data["recipe"] for entry in self.entries if entry.data.get("recipe")]
        return parse(lines[-1]) if lines else None

    @property
    def chosen(self) -> Recipe:
        """The recipe in use.

        Raises
        ------
        FewtoneError
            None was chosen yet.
        """
        recipe = self.recipe
        if recipe is None:
            raise FewtoneError(
                Fault(
                    f"No recipe was kept with the job '{self.name}'.",
                    fix="Keep the recipe that it is to use with the job.",
                    value=self.name,
                )
            )
        return recipe

    @property
    def predicted(self) -> Entry | None:
        """The entry that chose the recipe in use, with what was predicted of it then."""
        chosen = [entry for entry in self.entries if entry.kind in ("recipe", "adjustment")]
        return chosen[-1] if chosen else None

    @property
    def panels(self) -> tuple[Entry, ...]:
        """The panels that were sprayed and read, in order."""
        return tuple(entry for entry in self.entries if entry.kind == "panel")

    @property
    def ended(self) -> str | None:
        """How it ended; None while it is open."""
        ends = [entry for entry in self.entries if entry.kind == "ended"]
        return None if not ends else str(ends[-1].data.get("how", ""))

    @property
    def words(self) -> str:
        """All words of it that can be searched, in small letters."""
        values = (str(value) for entry in self.entries for value in entry.data.values())
        return "\n".join((self.name, self.target.request, self.shelf, *values)).casefold()


def opened_job(
    name: str,
    target: Target,
    *,
    tolerance: float,
    shelf: str,
    readings_sha256: str,
    curves_text: bytes,
) -> Job:
    """A job that begins now.

    Parameters
    ----------
    name
        What it is to go by.
    target
        What was asked for.
    tolerance
        ΔE00 that passes.
    shelf
        Name of the shelf.
    readings_sha256, curves_text
        Hash of its readings; its ``curves.csv``, whole.

    Raises
    ------
    UsageError
        The name cannot be used.
    """
    return Job(
        name=job_name(name),
        target=target,
        tolerance=tolerance,
        shelf=shelf,
        readings_sha256=readings_sha256,
        curves_sha256=hashlib.sha256(curves_text).hexdigest(),
        opened=_now(),
    )


def recipe_entry(match: Match) -> Entry:
    """The entry of a recipe that was chosen, with what `match` predicts of it."""
    return Entry(
        "recipe",
        {
            "recipe": str(match.recipe),
            "lab": [round(float(value), 4) for value in match.lab],
            "de00": match.de00,
            "pass_probability": match.pass_probability,
        },
    )


def job_name(name: str) -> str:
    """A job's name without the spaces around it.

    Parameters
    ----------
    name
        As it was typed.

    Raises
    ------
    UsageError
        It is empty, too long, or holds what cannot be printed.
    """
    kept = " ".join(name.split())
    if not kept or len(kept) > _LONGEST_NAME or not kept.isprintable() or kept.startswith("-"):
        raise UsageError(
            Fault(
                f"A job's name is 1 to {_LONGEST_NAME} printable characters, the first no hyphen.",
                fix="Give it a name that you will look for next year, such as 'red lamp, hall'.",
                value=name[:_LONGEST_NAME],
            )
        )
    return kept


def job_from(document: Mapping[str, Any]) -> Job:
    """A job from what `job_document` says of it, every part checked.

    Parameters
    ----------
    document
        The JSON object.

    Raises
    ------
    FewtoneError, ValueError, KeyError, TypeError, AttributeError
        It is none; whoever reads it says where.
    """
    lab = _lab(document["lab"])
    return Job(
        name=job_name(_text(document, "name")),
        target=Target(
            lab,
            Light.parse(_text(document, "light")),
            Geometry(_text(document, "geometry")),
            _text(document, "request"),
        ),
        tolerance=_number(document["tolerance"]),
        shelf=_text(document, "shelf"),
        readings_sha256=_text(document, "readings_sha256"),
        curves_sha256=_text(document, "curves_sha256"),
        opened=_text(document, "opened"),
        entries=tuple(_entry(entry) for entry in document["entries"]),
    )


def _entry(document: Mapping[str, Any]) -> Entry:
    data = dict(document["data"])
    if data.get("recipe"):
        parse(data["recipe"])
    if data.get("lab") is not None:
        _lab(data["lab"])
    for name in ("de00", "pass_probability", "total_ml"):
        if data.get(name) is not None:
            _number(data[name])
    if not all(isinstance(reading, str) for reading in data.get("readings", ())):
        raise TypeError("a reading is no text")
    return Entry(_text(document, "kind"), data, _text(document, "at"))


def _lab(values: Iterable[Any]) -> tuple[float, float, float]:
    lightness, a, b = (_number(value) for value in values)
    return lightness, a, b


def _number(value: Any) -> float:
    number = float(value)
    if not math.isfinite(number):
        raise ValueError(f"{value} is no number")
    return number


def _text(document: Mapping[str, Any], name: str) -> str:
    value = document[name]
    if not isinstance(value, str):
        raise TypeError(f"{name} is no text")
    return value
