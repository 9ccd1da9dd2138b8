"""Reading CGATS.17 / ISO 28178 text files.

The format
    A line that names the format, keyword lines, the field names between BEGIN_DATA_FORMAT and
    END_DATA_FORMAT, the samples between BEGIN_DATA and END_DATA; all that any number of times.
    Values are set apart by white space; text with spaces stands in double quotes, or between
    tabs, as spreadsheets write it. ``#`` begins a comment. A sample may run over several lines.

What is read
    SAMPLE_NAME, else SAMPLE_ID; LAB_L, LAB_A, LAB_B; pairs of SPECTRAL_NM with SPECTRAL_PCT or
    SPECTRAL_DEC; and one column per wavelength in the spellings in use (``SPECTRAL_NM400``,
    ``NM_400``, ``nm400``, ``SPEC_400``, ``R_400``). Of the keywords: geometry, measurement
    condition, filter, polarisation, illuminant and observer in the standard's WEIGHTING_FUNCTION
    and in the plain spellings in use. What else stands there is none of our business.

Source
    The names of keywords and fields as ANSI CGATS.17 and its open-source readers list them; the
    standard's own text was not at hand.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from itertools import pairwise

from fewtone.errors import Fault, FaultList, FewtoneError
from fewtone.io.files import decode_instrument
from fewtone.io.instruments.samples import (
    CONDITIONS,
    POLARISED,
    Export,
    LabValue,
    Mode,
    Sample,
    Scale,
    Spectrum,
    geometry_from,
)
from fewtone.model.numbers import decimal_from

__all__ = ["read_cgats"]

_TO_SPACE, _TO_TAB = re.compile(r'[^\s"#][^\s"]*'), re.compile(r'[^\t"#][^\t]*')
_WAVELENGTH = re.compile(
    r"(?:SPECTRAL_NM_?|SPECTRAL_|SPEC_|NM_?|R_)(\d+(?:\.\d+)?)(?:NM)?", re.IGNORECASE
)
_LAB = ("LAB_L", "LAB_A", "LAB_B")
_NAMES = ("SAMPLE_NAME", "SAMPLENAME", "SAMPLE_ID", "SAMPLEID")
_PAIRED: Mapping[str, Scale] = {"SPECTRAL_PCT": "percent", "SPECTRAL_DEC": "factor"}
_COUNTS = ("NUMBER_OF_SETS", "NUMBER_OF_FIELDS")
_COUNT = re.compile(r"[0-9]{1,9}")
_ATTRIBUTE = re.compile(r"(\w+)=(\S+)")
_FIX = "Export the file again, as CGATS.17 text."


def read_cgats(data: bytes, file: str) -> Export:
    """Read a CGATS text file.

    Parameters
    ----------
    data
        Its content.
    file
        Its name, for messages.

    Raises
    ------
    FewtoneError
        It is not a whole CGATS file; all that is wrong with its tables.
    """
    tables = _Reader(file).read(decode_instrument(data, file))
    samples = [sample for table in tables for sample in _samples(table)]
    faults = FaultList()
    for table in tables:
        faults += table.faults
    faults.raise_if_any()
    if not samples:
        raise FewtoneError(Fault("There are no samples in this file.", _FIX, file))
    return Export(file, "CGATS", tuple(samples))


@dataclass(slots=True)
class _Table:
    """One table: keywords, field names, and the values of each sample with their line."""

    file: str
    inherited: dict[str, list[str]] = field(default_factory=dict)
    keywords: dict[str, list[str]] = field(default_factory=dict)
    fields: list[str] = field(default_factory=list)
    sets: list[tuple[int, list[str]]] = field(default_factory=list)
    faults: FaultList = field(default_factory=FaultList)

    def fault(self, message: str, row: int, column: str = "", value: str = "") -> None:
        fault = Fault(message, _FIX, self.file, row, column or None, value or None)
        self.faults.append(fault)

    def stated(self, *names: str) -> str:
        """The first of these keywords that the file gives; empty if it gives none."""
        return next((lines[-1] for name in names if (lines := self.lines(name))), "")

    def lines(self, name: str) -> list[str]:
        """What stands behind a keyword, here or else in the tables before."""
        return self.keywords.get(name) or self.inherited.get(name, [])


class _Reader:
    """Walks down the lines and fills tables."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.tables: list[_Table] = []
        self.table = _Table(file)
        self.inside = ""  # the section that is open
        self.started = 0  # the line that the unfinished sample began on
        self.values: list[str] = []

    def read(self, text: str) -> list[_Table]:
        row = 1
        for row, line in enumerate(text.splitlines(), start=1):
            tokens = _tokens(line)
            if tokens:
                self.line(row, tokens[0].upper(), tokens)
        if self.inside:
            self.table.fault(f"The file breaks off: {self.inside} has no end.", row)
        if self.inside or self.table.fields or not self.tables:
            self.tables.append(self.table)
        if not any(table.fields or table.faults for table in self.tables):
            self.table.fault(
                "This is neither CGATS text (it has no BEGIN_DATA_FORMAT) nor a table whose header "
                "names L*, a*, b* or wavelengths.",
                1,
            )
        return self.tables

    def line(self, row: int, word: str, tokens: list[str]) -> None:
        if word in ("BEGIN_DATA_FORMAT", "BEGIN_DATA"):
            if self.inside:
                self.table.fault(f"{word} stands inside {self.inside}.", row)
            if word == "BEGIN_DATA" and not self.table.fields:
                self.table.fault("BEGIN_DATA stands before the fields are named.", row)
            self.inside, tokens = word, tokens[1:]
        if self.inside == "BEGIN_DATA_FORMAT":
            self.table.fields += [t.upper() for t in tokens if t.upper() != "END_DATA_FORMAT"]
            if "END_DATA_FORMAT" in map(str.upper, tokens):
                self.inside = ""
        elif self.inside and word == "END_DATA":
            self.end(row)
        elif self.inside:
            self.data(row, tokens)
        else:
            self.keyword(word, tokens[1:])

    def data(self, row: int, tokens: list[str]) -> None:
        self.started = self.started if self.values else row
        self.values += tokens
        if self.values and len(self.values) >= len(self.table.fields):
            self.sample()

    def sample(self) -> None:
        if len(self.values) == len(self.table.fields):
            self.table.sets.append((self.started, self.values))
        elif self.table.fields:
            self.table.fault(
                f"This sample has {len(self.values)} values for {len(self.table.fields)} fields.",
                self.started,
            )
        self.values = []

    def end(self, row: int) -> None:
        if self.values:
            self.sample()
        for promised, actual, what in (
            (self.table.stated("NUMBER_OF_SETS"), len(self.table.sets), "samples"),
            (self.table.stated("NUMBER_OF_FIELDS"), len(self.table.fields), "fields"),
        ):
            if _COUNT.fullmatch(promised) and int(promised) != actual and not self.table.faults:
                self.table.fault(f"The file promises {promised} {what}, but has {actual}.", row)
        self.tables.append(self.table)
        known = {**self.table.inherited, **self.table.keywords}
        kept = {word: value for word, value in known.items() if word not in _COUNTS}
        self.table, self.inside = _Table(self.file, inherited=kept), ""

    def keyword(self, word: str, tokens: list[str]) -> None:
        self.table.keywords.setdefault(word, []).append(" ".join(tokens))


def _tokens(line: str) -> list[str]:
    """The values of a line, in one walk along it whatever stands there."""
    between = "\t" if "\t" in line.strip() else None
    tokens: list[str] = []
    at, quotes = 0, True
    while at < len(line):
        if line[at].isspace():
            at += 1
        elif line[at] == "#":
            break
        elif line[at] == '"':
            text, after = _quoted(line, at) if quotes else (None, at + 1)
            quotes = text is not None  # without an end, none of those behind it has one
            if text is not None:
                tokens.append(text)
            at = after
        else:
            match = (_TO_TAB if between else _TO_SPACE).match(line, at)
            assert match is not None  # it takes any character that is none of the above
            tokens.append(match[0].strip())
            at = match.end()
    return tokens


def _quoted(line: str, start: int) -> tuple[str | None, int]:
    """What stands between quotes, doubled ones as one, and where it ends; None without an end."""
    pieces, at = [], start + 1
    while (end := line.find('"', at)) >= 0:
        pieces.append(line[at:end])
        if line[end + 1 : end + 2] != '"':
            return '"'.join(pieces), end + 1
        at = end + 2
    return None, start + 1


def _samples(table: _Table) -> Iterator[Sample]:
    fields = table.fields
    for name in sorted({name for name in fields if fields.count(name) > 1} - {"SPECTRAL_NM"}):
        if name not in _PAIRED:
            table.fault(f"The field {name} stands here twice.", 1, name)
            return
    named = next((name for name in _NAMES if name in fields), None)
    if table.sets and named is None:
        table.fault("No field names the samples: neither SAMPLE_NAME nor SAMPLE_ID.", 1)
        return
    if table.sets and "TRANSMI" in table.stated("MEASUREMENT_GEOMETRY").upper():
        table.fault("These are transmittances, and panels are read in reflection.", 1)
        return
    mode = _mode(table)
    illuminant, observer = _light(table)
    date = re.search(r"\d{4}-\d\d-\d\d", table.stated("CREATED"))
    for row, values in table.sets:
        cells = dict(zip(fields, values, strict=True))
        spectrum = _spectrum(table, row, fields, values, mode)
        labs: tuple[LabValue, ...] = ()
        if all(name in cells for name in _LAB):
            lab = [_number(table, row, name, cells[name]) for name in _LAB]
            labs = (LabValue(mode, (lab[0], lab[1], lab[2]), illuminant, observer),)
        yield Sample(
            " ".join(cells[named or ""].split()),
            row,
            (spectrum,) if spectrum else (),
            labs,
            date[0] if date else "",
        )


def _spectrum(
    table: _Table, row: int, fields: list[str], values: list[str], mode: Mode
) -> Spectrum | None:
    wavelength_nm: list[float] = []
    reflectance: list[float] = []
    scale: Scale = ""
    for name, value in zip(fields, values, strict=True):
        if match := _WAVELENGTH.fullmatch(name):
            wavelength_nm.append(float(match[1]))
            reflectance.append(_number(table, row, name, value))
    pairs = pairwise(zip(fields, values, strict=True))
    for (first, wavelength), (second, value) in pairs:
        if first == "SPECTRAL_NM" and second in _PAIRED:
            scale = _PAIRED[second]
            wavelength_nm.append(_number(table, row, first, wavelength))
            reflectance.append(_number(table, row, second, value))
    return Spectrum(mode, tuple(wavelength_nm), tuple(reflectance), scale) if reflectance else None


def _number(table: _Table, row: int, column: str, text: str) -> float:
    """A cell as a number; what is none is noted."""
    number = decimal_from(text)
    if number is None:
        table.fault("This is not a finite number.", row, column, text)
        return float("nan")
    return float(number)


def _attributes(table: _Table) -> dict[str, str]:
    """The ``Name=value`` pairs that some software keeps in MEASUREMENT_SOURCE."""
    return {k.upper(): v for k, v in _ATTRIBUTE.findall(table.stated("MEASUREMENT_SOURCE"))}


def _mode(table: _Table) -> Mode:
    geometry_text = table.stated("MEASUREMENT_GEOMETRY", "GEOMETRY")
    attributes = _attributes(table)
    words = " ".join(
        [
            table.stated("MEASUREMENT_CONDITION", "MEASUREMENTCONDITION"),
            attributes.get("MEASUREMENTCONDITION", ""),
            table.stated("FILTER"),
            attributes.get("FILTER", ""),
        ]
    ).upper()
    condition = next((name for name in CONDITIONS if re.search(rf"\b{name}\b", words)), "")
    if "POL" in words or table.stated("POLARIZATION").upper() == "YES":
        condition = POLARISED
    elif not condition and re.search(r"UV[ -_]?(CUT|EXCL)", words):
        condition = "M2"
    return Mode(geometry_from(geometry_text), geometry_text, condition)


def _light(table: _Table) -> tuple[str, str]:
    """Illuminant and observer of the Lab values; each empty if the file does not say."""
    given: dict[str, str] = {}
    for line in table.lines("WEIGHTING_FUNCTION"):
        for pair in line.split(";"):
            name, _, value = pair.partition(",")
            given[name.strip().upper()] = value.strip()
    attributes = _attributes(table)
    illuminant = (
        given.get("ILLUMINANT")
        or table.stated("ILLUMINATION_NAME", "ILLUMINANT")
        or attributes.get("ILLUMINATION", "")
    )
    observer = (
        given.get("OBSERVER")
        or table.stated("OBSERVER_ANGLE", "OBSERVER")
        or attributes.get("OBSERVERANGLE", "")
    )
    angle = re.search(r"\d+", observer)
    both = re.fullmatch(r"\s*([\w-]+)\s*[/ ]\s*(2|10)\b.*", illuminant)
    if both:
        return both[1], angle[0] if angle else both[2]
    return illuminant.strip(), angle[0] if angle else ""
