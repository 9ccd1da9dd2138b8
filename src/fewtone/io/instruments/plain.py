"""Reading the plain CSV or tab-separated text that handheld instruments export.

The format
    Any lines, then a header, then one sample a line. The header is the first line that names L, a
    and b (``L*``, ``LAB_L``, ``L* D65/10``, ``L*(10°/D65)`` …) or at least eight wavelengths
    (``400``, ``400 nm``, ``R400``, ``SPECTRAL_NM400`` …). Commas, semicolons or tabs set cells
    apart; decimals have a point or, behind semicolons and tabs, a comma.

What is read
    The sample's name, Lab under each light that the header names, the spectrum; and illuminant,
    observer, geometry, condition and date from columns of these names, or the first three from
    lines above the header such as ``Illuminant: D65``. What else stands there is left alone.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from fewtone.colorimetry import ILLUMINANTS
from fewtone.errors import Fault, FaultList, FewtoneError
from fewtone.io.files import decode_instrument
from fewtone.io.instruments.samples import Export, LabValue, Mode, Sample, Spectrum, geometry_from
from fewtone.model.numbers import decimal_from

__all__ = ["read_plain"]

_FURTHEST = 80  # lines in which a header must come
_MOST_CELLS = 3000
_FEWEST_WAVELENGTHS = 8
_DELIMITERS = ("\t", ";", ",")
_COORDINATE = re.compile(r"(?:cie[ _-]?)?(?:lab[ _-]?)?([lab])\*?(?:[ _]?([^a-z].*|[acdf].*))?")
_WAVELENGTH = re.compile(r"(?:%?r|nm|spectral ?(?:nm)?|refl\w*)?[ _@]{0,2}([0-9]{3,4})(?: ?nm)?")
_LIGHT = re.compile(r"[a-z]{1,3}[a-z0-9-]*|[0-9]+")
_NAMES = (
    "sample name",
    "sample",
    "name",
    "panel",
    "sample id",
    "id",
    "title",
    "label",
    "measurement",
    "reading",
    "no",
    "number",
)
_FIX = (
    "Export the readings with a header line that names the columns L*, a*, b* or the wavelengths."
)


@dataclass(slots=True)
class _Header:
    """What the columns hold, by their place."""

    row: int
    cells: list[str]
    labs: dict[str, dict[str, int]] = field(default_factory=dict)
    wavelengths: list[tuple[float, int]] = field(default_factory=list)

    def column(self, *names: str) -> int | None:
        """The first column that goes by one of these names, the first name first."""
        plain = [_plain(cell) for cell in self.cells]
        return next((plain.index(name) for name in names if name in plain), None)


def read_plain(data: bytes, file: str, *, unnamed: str = "") -> Export | None:
    """Read plain text with a header; None where no line of it is one.

    Parameters
    ----------
    data
        Its content.
    file
        Its name, for messages.
    unnamed
        What a sample is called where no column names it; refused if empty.

    Raises
    ------
    FewtoneError
        There is a header, but the lines under it do not fit it.
    """
    lines = decode_instrument(data, file).splitlines()
    header_and_mark = _header(lines)
    if header_and_mark is None:
        return None
    header, delimiter = header_and_mark
    faults = FaultList()
    samples = list(_samples(lines, header, delimiter, file, faults, unnamed))
    faults.raise_if_any()
    if not samples:
        raise FewtoneError(Fault("There are no samples under the header.", _FIX, file, header.row))
    return Export(file, "CSV", tuple(samples))


def _header(lines: Sequence[str]) -> tuple[_Header, str] | None:
    for row, line in enumerate(lines[:_FURTHEST], start=1):
        for delimiter in _DELIMITERS:
            cells = _cells(line, delimiter)
            if len(cells) < 3 or len(cells) > _MOST_CELLS:
                continue
            header = _Header(row, cells)
            for column, cell in enumerate(cells):
                _take_in(header, column, cell)
            header.labs = {light: lab for light, lab in header.labs.items() if len(lab) == 3}
            if header.labs or len(header.wavelengths) >= _FEWEST_WAVELENGTHS:
                return header, delimiter
    return None


def _take_in(header: _Header, column: int, cell: str) -> None:
    text = _plain(cell)
    if match := _WAVELENGTH.fullmatch(text):
        header.wavelengths.append((float(match[1]), column))
        return
    head, _, tail = text.rpartition(" ")
    swaps = re.fullmatch(r"[lab]\*?", tail) and _light(head)
    swapped = f"{tail} {head}" if swaps else text  # ``d65/10 l*``
    match = _COORDINATE.fullmatch(swapped)
    if match and (not match[2] or _light(match[2])):
        lab = header.labs.setdefault(_light(match[2] or ""), {})
        lab.setdefault(match[1], column)


def _light(text: str) -> str:
    """Illuminant and observer in a header's cell, as ``D65/10``; empty if it names none."""
    words = _LIGHT.findall(text)
    illuminant = next((word.upper() for word in words if word.upper() in ILLUMINANTS), "")
    observer = next((word for word in words if word in ("2", "10")), "")
    return f"{illuminant}/{observer}" if illuminant and observer else ""


def _samples(
    lines: Sequence[str],
    header: _Header,
    delimiter: str,
    file: str,
    faults: FaultList,
    unnamed: str,
) -> Iterator[Sample]:
    above = "\n".join(lines[: header.row - 1])
    named = header.column(*_NAMES)
    if named is None and not unnamed:
        faults.append(
            Fault(
                "No column of this file names the samples.",
                "Name one 'sample' in its header line; a sample's name is its panel's.",
                file,
                header.row,
            )
        )
        return
    for row, line in enumerate(lines[header.row :], start=header.row + 1):
        cells = _cells(line, delimiter)
        if not any(cells):
            continue
        if len(cells) != len(header.cells) and any(cells[len(header.cells) :]):
            faults.append(
                Fault(
                    f"This line has {len(cells)} cells, the header {len(header.cells)}.",
                    "Export decimals with a point, or cells set apart by semicolons or tabs.",
                    file,
                    row,
                )
            )
            continue
        cells += [""] * (len(header.cells) - len(cells))
        read = _Line(header, cells, above, file, row, faults)
        yield read.sample(unnamed if named is None else " ".join(cells[named].split()))


@dataclass(frozen=True, slots=True)
class _Line:
    """One line under the header."""

    header: _Header
    cells: list[str]
    above: str
    file: str
    row: int
    faults: FaultList

    def sample(self, name: str) -> Sample:
        if not name:
            self.fault("This sample has no name.", "")
        geometry_text = self.stated("geometry", "measurement geometry")
        mode = Mode(
            geometry_from(geometry_text), geometry_text, self.cell("condition", "mode").upper()
        )
        labs = tuple(self.labs(mode))
        spectra = tuple(self.spectra(mode))
        date = re.search(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", self.cell("date", "date/time", "time"))
        return Sample(name, self.row, spectra, labs, date[0] if date else "")

    def labs(self, mode: Mode) -> Iterator[LabValue]:
        for light, columns in self.header.labs.items():
            values = [self.number(columns[c]) for c in "lab" if self.cells[columns[c]]]
            if len(values) < 3:
                continue
            illuminant, _, observer = light.partition("/")
            if not light:
                both = _light(self.stated("light", "illuminant/observer", "illuminant").lower())
                illuminant, _, observer = both.partition("/")
                illuminant = illuminant or self.stated("illuminant").upper()
                angle = re.search(r"[0-9]+", self.stated("observer"))
                observer = observer or (angle[0] if angle else "")
            yield LabValue(mode, (values[0], values[1], values[2]), illuminant, observer)

    def spectra(self, mode: Mode) -> Iterator[Spectrum]:
        filled = [(nm, column) for nm, column in self.header.wavelengths if self.cells[column]]
        if filled:
            values = tuple(self.number(column) for _, column in filled)
            yield Spectrum(mode, tuple(nm for nm, _ in filled), values)

    def cell(self, *names: str) -> str:
        column = self.header.column(*names)
        return "" if column is None else self.cells[column]

    def stated(self, *names: str) -> str:
        """A cell of this line, or what a line above the header says of it."""
        if cell := self.cell(*names):
            return cell
        for name in names:
            match = re.search(rf"(?im)^\W*{name}\W+(\S[^\r\n]{{0,80}})$", self.above)
            if match:
                return match[1].strip(" \t;,\"'")
        return ""

    def number(self, column: int) -> float:
        text = self.cells[column]
        number = decimal_from(text)
        if number is None:
            self.fault("This is not a finite number.", text, self.header.cells[column])
            return float("nan")
        return float(number)

    def fault(self, message: str, value: str, column: str = "") -> None:
        fix = "Correct it, or export the file again."
        self.faults.append(Fault(message, fix, self.file, self.row, column or None, value or None))


def _cells(line: str, delimiter: str) -> list[str]:
    try:
        rows = list(csv.reader(io.StringIO(line), delimiter=delimiter, strict=True))
    except csv.Error:
        return []
    return [cell.replace("\u00a0", " ").strip() for cell in rows[0]] if rows else []


def _plain(cell: str) -> str:
    """A header's cell in lower case, without brackets, percent and degree signs."""
    text = re.sub(r"[()\[\]{}°%:,]", " ", cell.casefold()).replace("_", " ")
    return " ".join(text.split())
