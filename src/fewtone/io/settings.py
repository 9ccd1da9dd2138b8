"""Reading ``shelf.toml``: all its faults in one go, each with its dotted key."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from types import MappingProxyType
from typing import Any

from fewtone.colorimetry import ILLUMINANTS, OBSERVERS, Light
from fewtone.errors import Fault, FaultList, FewtoneError, UsageError
from fewtone.io.files import decode, read_bytes
from fewtone.model.blend import Number, exact_number
from fewtone.model.cup import Cup
from fewtone.model.names import NAME, RESERVED, did_you_mean
from fewtone.model.numbers import carried, decimal_from
from fewtone.model.shelf import (
    LARGEST_PART,
    MOST_COATS,
    WEAKEST_LETDOWN,
    Additive,
    Ground,
    Measurement,
    Medium,
    Mixing,
    ShelfSettings,
    Toner,
)
from fewtone.optics.film import Geometry

__all__ = ["SETTINGS_FILE", "STRENGTHS", "load_settings", "read_settings"]

SETTINGS_FILE = "shelf.toml"
FORMAT = 1
_LARGEST = 1_000_000  # bytes; a hundred toners take some thousands
_MOST_NAMES = 1000  # of toners, of grounds; each is looked for in each row of the readings
# Least and greatest strength of a bottle next to the learnt one: beyond it is another product.
STRENGTHS = (0.2, 5.0)
GROUND_KINDS = ("metallic", "solid")
_NAME_RULE = "a letter, then a-z, 0-9 and hyphens"


def load_settings(folder: Path) -> ShelfSettings:
    """Read and check a shelf's settings.

    Parameters
    ----------
    folder
        The shelf's folder.

    Raises
    ------
    FewtoneError
        All that is wrong with the file.
    """
    path = folder / SETTINGS_FILE
    return read_settings(decode(read_bytes(path, _LARGEST), path.name), path.name)


def read_settings(text: str, file: str) -> ShelfSettings:
    """Read and check settings from their text.

    Parameters
    ----------
    text
        What ``shelf.toml`` says.
    file
        Its name, for messages.

    Raises
    ------
    FewtoneError
        All that is wrong, by key and value.
    """
    try:
        data = tomllib.loads(text, parse_float=_decimal)
    except (RecursionError, ValueError) as error:
        raise _not_toml(file, error) from error
    top = _Section(data, "", file, FaultList())
    try:
        settings = _settings(top)
    except RecursionError as error:  # text about tables that are nested
        raise _not_toml(file, error) from error
    top.faults.raise_if_any()
    return settings


def _decimal(text: str) -> Decimal | str:
    """A number of the file; one that cannot be carried stays text, which no number may be."""
    value = decimal_from(text.replace("_", ""))
    return text if value is None else value


def _not_toml(file: str, error: Exception) -> FewtoneError:
    if isinstance(error, RecursionError):
        problem = "Its tables or lists are nested too deep"
    elif isinstance(error, tomllib.TOMLDecodeError):
        problem = f"This is not valid TOML: {error}"
    else:  # a whole number of thousands of digits
        problem = "A number in it has too many digits"
    row = re.search(r"at line (\d+)", problem)
    return FewtoneError(
        Fault(
            f"{problem}.",
            fix="Mend that line; text stands in double quotes, numbers use a point.",
            file=file,
            row=int(row[1]) if row else None,
        )
    )


def _settings(top: _Section) -> ShelfSettings:
    if top.whole("format", FORMAT, 1, 10_000) > FORMAT:
        top.fault("format", f"This fewtone reads format {FORMAT}.", "Use a newer fewtone.")
    name = top.text("name", "Shelf")
    percent = top.choice("reflectance", "factor", ("factor", "percent")) == "percent"
    measurement = _measurement(top.section("measurement"))
    mixing = _mixing(top.section("mixing"))
    medium = top.section("medium")
    additives = tuple(_additive(section) for section in top.sections("additives"))
    reserved = RESERVED | {additive.name for additive in additives}
    toners = {n: _toner(n, s) for n, s in top.named("toners", reserved)}
    grounds = {n: _ground(n, s) for n, s in top.named("grounds", reserved)}
    settings = ShelfSettings(
        name=name,
        measurement=measurement,
        mixing=mixing,
        toners=MappingProxyType(toners),
        grounds=MappingProxyType(grounds),
        medium=Medium(
            medium.text("label", "Medium"), *(medium.amount(key) for key in ("density", "price"))
        ),
        additives=additives,
        percent=percent,
        deck=top.text("deck", "") or None,
    )
    medium.done()
    top.done()
    return settings


def _measurement(section: _Section) -> Measurement:
    default = Measurement()
    geometry = section.choice("geometry", default.geometry, tuple(Geometry))
    illuminant = section.choice("illuminant", default.light.illuminant, ILLUMINANTS)
    observer = section.whole("observer", default.light.observer, min(OBSERVERS), max(OBSERVERS))
    if observer not in OBSERVERS:
        section.fault("observer", "The observer is 2 or 10 degrees.", "Write 2 or 10.")
        observer = default.light.observer
    repeat_sd = section.real("repeat_sd", default.repeat_sd, 0, 5)
    repeat_reflectance = section.real("repeat_reflectance", default.repeat_reflectance, 0, 0.05)
    film_index = section.real("film_index", default.film_index, 1, 2)
    section.done()
    light = Light(illuminant, observer)
    return Measurement(Geometry(geometry), light, repeat_sd, repeat_reflectance, film_index)


def _mixing(section: _Section) -> Mixing:
    default = Mixing()
    mixing = Mixing(
        medium_parts=section.numbers("medium_parts", default.medium_parts, 0, WEAKEST_LETDOWN),
        coats=section.span("coats", default.coats, 1, MOST_COATS),
        max_part=section.whole("max_part", default.max_part, 1, LARGEST_PART),
        ground_parts=section.whole("ground_parts", default.ground_parts, 2, 20),
        tolerance=section.real("tolerance", default.tolerance, 0, 100),
        panel_cv=section.real("panel_cv", default.panel_cv, 0, 1),
        coat_cv=section.real("coat_cv", default.coat_cv, 0, 1),
        pour_cv=section.real("pour_cv", default.pour_cv, 0, 1),
        cup_ml=section.amount("cup_ml"),
        cups=_cups(section),
        scale_g=section.amount("scale_g"),
        ml_per_m2=section.amount("ml_per_m2"),
    )
    section.done()
    return mixing


def _cups(section: _Section) -> tuple[Cup, ...]:
    cups = []
    for text in section.texts("cups"):
        try:
            cups.append(Cup.parse(text))
        except UsageError as error:
            for fault in error.faults:
                section.fault("cups", fault.message, fault.fix or "Correct it.")
    return tuple(cups)


def _additive(section: _Section) -> Additive:
    name = section.text("name", "")
    if not re.fullmatch(NAME, name) or name in RESERVED:
        section.fault("name", f"An additive needs a name: {_NAME_RULE}, not reserved.", "Name it.")
    percent = section.number("percent", Decimal(0), 0, 1000)
    density, price = section.amount("density"), section.amount("price")
    section.done()
    return Additive(name, Decimal(percent), density, price)


def _toner(name: str, section: _Section) -> Toner:
    toner = Toner(
        name,
        section.text("label", name),
        section.amount("density"),
        section.amount("price"),
        section.flag("in_stock", True),
        Decimal(section.number("strength", 1, *STRENGTHS)),
    )
    section.done()
    return toner


def _ground(name: str, section: _Section) -> Ground:
    kind = section.choice("kind", None, GROUND_KINDS)
    ground = Ground(name, kind, section.text("label", name))
    section.done()
    return ground


def _shown(value: object) -> str:
    """A value as text; a whole number of thousands of digits is none that Python writes."""
    return "a very long number" if isinstance(value, int) and not carried(value) else str(value)


@dataclass(slots=True)
class _Section:
    """A TOML table whose keys are taken one by one; what is left over was not known."""

    data: dict[str, Any]
    path: str
    file: str
    faults: FaultList
    taken: tuple[str, ...] = ()

    def fault(self, key: str, message: str, fix: str) -> None:
        value = self.data.get(key)
        shown = None if value is None else _shown(value)
        self.faults.append(Fault(message, fix, self.file, None, f"{self.path}{key}", shown))

    def take(self, key: str) -> Any:
        self.taken += (key,)
        return self.data.get(key)

    def done(self) -> None:
        for key in self.data:
            if key not in self.taken:
                hint = did_you_mean(key, self.taken)
                known = ", ".join(self.taken)
                self.fault(key, f"This key is not known.{hint}", f"Allowed here: {known}.")

    def number(self, key: str, default: Number, low: float, high: float) -> Number:
        value = self.take(key)
        if value is None:
            return default
        return self._checked(key, value, low, high, default)

    def real(self, key: str, default: float, low: float, high: float) -> float:
        return float(self.number(key, exact_number(default), low, high))

    def whole(self, key: str, default: int, low: int, high: int) -> int:
        value = self.number(key, default, low, high)
        if not isinstance(value, int):
            self.fault(key, f"This must be a whole number from {low} to {high}.", "Round it.")
            return default
        return value

    def amount(self, key: str) -> Decimal | None:
        value = self.take(key)
        if value is None:
            return None
        number = Decimal(self._checked(key, value, 0, 1_000_000, 1))
        if number == 0:
            self.fault(key, "This must be more than 0.", "Correct it, or leave the key out.")
        return number

    def numbers(
        self, key: str, default: tuple[Number, ...], low: float, high: float
    ) -> tuple[Number, ...]:
        value = self.take(key)
        if value is None:
            return default
        if not isinstance(value, list) or not value:
            self.fault(key, "This must be a list of numbers.", "Write it as [6, 8, 5].")
            return default
        checked = tuple(self._checked(key, item, low, high, default[0]) for item in value)
        if len(set(checked)) < len(checked):
            self.fault(key, "A number stands in this list twice.", "Keep each once.")
        return checked

    def span(self, key: str, default: tuple[int, int], low: int, high: int) -> tuple[int, int]:
        ends = self.numbers(key, default, low, high)
        first, last = ends[0], ends[-1]
        if len(ends) == 2 and isinstance(first, int) and isinstance(last, int) and first <= last:
            return first, last
        self.fault(key, "This must be two whole numbers: fewest, most.", "Write it as [2, 6].")
        return default

    def text(self, key: str, default: str) -> str:
        value = self.take(key)
        if value is None:
            return default
        if not isinstance(value, str) or not value.strip():
            self.fault(key, "This must be text.", "Write it in double quotes.")
            return default
        return value

    def texts(self, key: str) -> tuple[str, ...]:
        value = self.take(key)
        if value is None:
            return ()
        if isinstance(value, list) and all(isinstance(item, str) for item in value):
            return tuple(value)
        self.fault(key, "This must be a list of texts.", 'Write it as ["…", "…"].')
        return ()

    def flag(self, key: str, default: bool) -> bool:
        value = self.take(key)
        if value is None or isinstance(value, bool):
            return default if value is None else value
        self.fault(key, "This must be true or false.", "Write true or false, without quotes.")
        return default

    def choice(self, key: str, default: str | None, allowed: Sequence[str]) -> str:
        value = self.take(key)
        if value is None and default is not None:
            return default
        if value not in allowed:
            hint = did_you_mean(_shown(value), allowed) if value is not None else ""
            self.fault(key, f"This must be one of {', '.join(allowed)}.{hint}", "Choose one.")
            return default or allowed[0]
        return str(value)

    def section(self, key: str) -> _Section:
        value = self.take(key)
        return self._inner(key, key, {} if value is None else value)

    def sections(self, key: str) -> list[_Section]:
        value = self.take(key)
        if value is None:
            return []
        if not isinstance(value, list):
            self.fault(key, "This must be an array of tables.", f"Start each with [[{key}]].")
            return []
        return [self._inner(key, f"{key}[{i}]", item) for i, item in enumerate(value, start=1)]

    def named(self, key: str, reserved: Collection[str]) -> list[tuple[str, _Section]]:
        """Sub-tables whose keys are names of our own: toners, grounds."""
        outer = self.section(key)
        if not outer.data:
            self.fault(key, f"The shelf has no {key}.", f"Add a table such as [{key}.silver].")
        if len(outer.data) > _MOST_NAMES:
            message = f"The shelf has {len(outer.data)} {key}; {_MOST_NAMES} are allowed."
            self.fault(key, message, "Keep those that are in use.")
        for name in outer.data:
            if not re.fullmatch(NAME, name):
                outer.fault(name, f"'{name}' is not a name here.", f"Use {_NAME_RULE}.")
            elif name in reserved:
                outer.fault(name, f"'{name}' is a reserved word.", "Choose another name.")
        return [(n, outer._inner(n, n, inner)) for n, inner in outer.data.items()]

    def _inner(self, key: str, label: str, value: Any) -> _Section:
        if not isinstance(value, dict):
            self.fault(key, "This must be a table.", f"Write it as [{self.path}{key}].")
            value = {}
        return _Section(value, f"{self.path}{label}.", self.file, self.faults)

    def _checked(self, key: str, value: Any, low: float, high: float, default: Number) -> Number:
        is_number = isinstance(value, int | Decimal) and not isinstance(value, bool)
        if not is_number or not carried(value) or not low <= value <= high:
            message = f"This must be a number from {low:g} to {high:g}."
            self.fault(key, message, "Write a plain number without quotes.")
            return default
        return exact_number(value)
