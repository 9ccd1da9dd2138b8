"""From what was asked for to a target: swatch, CIELAB triple, hex colour, notation or file."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TypeAlias, TypedDict, cast

from fewtone.colorimetry import Light, lab_from_hex
from fewtone.errors import Fault, FewtoneError, UsageError
from fewtone.io.exchanged import check_exchanged
from fewtone.io.table import Row, Table, read_table
from fewtone.model.names import Names
from fewtone.model.numbers import decimal_from
from fewtone.model.shelf import Measurement, ShelfSettings
from fewtone.model.target import Target, target_geometry
from fewtone.optics.film import Geometry
from fewtone.typing import FloatArray

__all__ = [
    "TargetLike",
    "TargetOptions",
    "lab_triple",
    "read_deck",
    "read_target",
    "shelf_target",
    "versions",
]

TargetLike: TypeAlias = Target | str | Path | Sequence[float]
"""What a target may be given as: text as on the command line, a path, a triple, or a `Target`."""

_DECK_COLUMNS = ("number", "L", "a", "b")
_DECK_OPTIONAL = ("name", "light")
_HEX_LIGHT = Light("D65", 2)
_HEX_CAUTION = (
    "A hex colour is what a screen shows, not a reading: match a reading of the swatch if you can."
)
_LONGEST_TRIPLE = 500  # characters; three numbers with their spaces
_LONGEST_PATH = 4096
_FILE_SUFFIXES = (".csv", ".txt", ".tsv", ".cxf", ".xml", ".cgats", ".it8")
_HEX = re.compile(r"#[0-9a-fA-F]*")


def versions(also: TargetLike | Sequence[TargetLike]) -> tuple[TargetLike, ...]:
    """Versions of a colour, where one by itself may stand for a list of one.

    Parameters
    ----------
    also
        A target, or several.
    """
    alone = isinstance(also, str | Path | Target) or any(
        isinstance(each, int | float) for each in also
    )
    return tuple(cast(Sequence[TargetLike], [also] if alone else also))


class TargetOptions(TypedDict, total=False):
    """What may be said beside a target; see `read_target`.

    Parameters
    ----------
    light
        In which it is given; None for the shelf's.
    deck
        A file of swatches; None for the shelf's.
    geometry
        In which it was read; None for the shelf's.
    anyway
        Whether one of another geometry is taken all the same.
    """

    light: Light | str | None
    deck: Path | None
    geometry: str | None
    anyway: bool


def shelf_target(
    folder: Path,
    settings: ShelfSettings,
    wavelength_nm: FloatArray,
    asked: TargetLike,
    *,
    light: Light | str | None = None,
    deck: Path | None = None,
    geometry: str | None = None,
    anyway: bool = False,
) -> Target:
    """Read a target for a shelf: in its light and geometry, from its deck, where not said else.

    Parameters
    ----------
    folder, settings
        The shelf's folder and what its ``shelf.toml`` says.
    wavelength_nm
        Those of its curves [nm], shape ``(n_wavelengths,)``.
    asked, light, deck, geometry, anyway
        As `read_target` takes them; a light may be text such as ``D50/2`` or ``A``.

    Raises
    ------
    FewtoneError
        As for `read_target`.
    """
    return read_target(
        asked,
        settings.measurement,
        light=settings.measurement.light_of(light),
        deck=deck,
        shelf_deck=None if settings.deck is None else folder / settings.deck,
        wavelength_nm=wavelength_nm,
        geometry=geometry,
        anyway=anyway,
    )


def read_target(
    asked: TargetLike,
    measurement: Measurement,
    *,
    light: Light | None = None,
    deck: Path | None = None,
    shelf_deck: Path | None = None,
    wavelength_nm: FloatArray | None = None,
    geometry: Geometry | str | None = None,
    anyway: bool = False,
) -> Target:
    """Read a target.

    Parameters
    ----------
    asked
        A target, which stays as it is; a path; three numbers, L*, a* and b*; or text: a swatch's
        number or name if there is a deck; a CIELAB triple such as ``38.2,-18.4,9.7``;
        a hex colour such as ``#2f5d50`` (sRGB, D65/2); a Munsell notation such as
        ``munsell 5BG 3/4`` (C/2); or the path of a file that holds a reading (CSV, CxF3, CGATS).
        Tried in this order.
    measurement
        How the shelf is read: its light and geometry hold for targets that do not say otherwise.
    light
        The light of a triple, of a deck that has no column `light`, or in which a spectrum is seen;
        a Munsell colour is carried to it by adaptation.
    deck
        A CSV file or an ``.xlsx`` workbook of swatches: columns number, L, a, b, optional name and
        light.
    shelf_deck
        The shelf's own, looked into where no other is given and the text is no colour by itself.
    wavelength_nm
        The shelf's wavelengths [nm], shape ``(n_wavelengths,)``, if they are known: spectra are
        brought onto them.
    geometry
        How the target was read, the shelf's own if None.
    anyway
        Whether a geometry other than the shelf's is let through, with a caution.

    Raises
    ------
    FewtoneError
        The deck or the file is wrong; or (as UsageError) the text is no colour, or its geometry is
        not the shelf's.
    """
    if isinstance(asked, Target):
        return asked
    if not isinstance(asked, str | Path):
        asked = ",".join(str(float(value)) for value in asked)
    request = str(asked).strip()
    read_in, cautions = target_geometry(geometry, measurement, anyway=anyway, request=request)
    target = _swatch(request, measurement, light, deck)
    if target is None and _HEX.fullmatch(request):
        target = _hex_target(request, light, measurement)
    if target is None and (triple := lab_triple(request)) is not None:
        target = Target(triple, light or measurement.light, read_in, request)
    if target is None and request[:7].casefold() == "munsell":
        target = _munsell(request, light, read_in)
    if target is None and _is_file(request):
        from fewtone.io.target_files import read_target_file

        return read_target_file(
            Path(request),
            measurement,
            light=light,
            wavelength_nm=wavelength_nm,
            geometry=geometry,
            anyway=anyway,
        )
    if target is None and deck is None:
        deck = shelf_deck
        target = _swatch(request, measurement, light, deck)
    if target is None:
        raise UsageError(_no_target(request, measurement, light, deck))
    return replace(target, geometry=read_in, cautions=(*cautions, *target.cautions))


def _swatch(
    request: str, measurement: Measurement, light: Light | None, deck: Path | None
) -> Target | None:
    """The swatch of that number or name; None where there is none, or no deck."""
    if deck is None:
        return None
    swatches = read_deck(deck, measurement, light or measurement.light)
    names = _swatch_names(swatches, deck)
    if number := names.find(request):
        return swatches[number]
    if names.is_shared(request):
        raise UsageError(names.fault(request, fix="Give the number of the one that is meant."))
    return None


def _swatch_names(swatches: dict[str, Target], deck: Path) -> Names:
    labels = {number: swatch.name or number for number, swatch in swatches.items()}
    return Names("swatch", labels, f"the deck {deck.name}")


def _no_target(
    request: str, measurement: Measurement, light: Light | None, deck: Path | None
) -> Fault:
    swatch = meant = ""
    if deck is not None:
        swatches = read_deck(deck, measurement, light or measurement.light)
        names = _swatch_names(swatches, deck)
        swatch = f", or the number or name of a swatch in {names.home}"
        meant = names.hint(request)
    if Path(request).suffix.casefold() in _FILE_SUFFIXES:
        return Fault(
            "There is no such file.",
            fix="Give the path of a file that holds the reading that is asked for.",
            file=request,
        )
    return Fault(
        f"'{request}' is not a target.{meant}",
        fix='Write a CIELAB triple such as "38.2,-18.4,9.7", a hex colour such as "#2f5d50", a '
        f'notation such as "munsell 5BG 3/4", or the path of a reading{swatch}; for a swatch '
        "number give its deck (`deck`).",
        value=request,
    )


def _is_file(request: str) -> bool:
    try:
        return len(request) <= _LONGEST_PATH and Path(request).is_file()
    except (OSError, ValueError):
        return False


def _hex_target(request: str, light: Light | None, measurement: Measurement) -> Target:
    if light not in (None, _HEX_LIGHT):
        raise UsageError(
            Fault(
                f"A hex colour is always in {_HEX_LIGHT}.",
                fix="Leave `light` out, or give the target as L,a,b.",
                value=request,
            )
        )
    lab = _triple(lab_from_hex(request))
    return Target(lab, _HEX_LIGHT, measurement.geometry, request, cautions=(_HEX_CAUTION,))


def _munsell(request: str, light: Light | None, geometry: Geometry) -> Target:
    """A Munsell colour in C/2, or carried to another light by CMCCAT2000."""
    from fewtone.colorimetry import lab_from_xyz, white_point, xyz_from_lab
    from fewtone.colorimetry.appearance import adapt_cmccat2000
    from fewtone.colorimetry.munsell import MUNSELL_LIGHT, lab_from_munsell

    lab = lab_from_munsell(request[7:])
    cautions = [
        f"Munsell notation is defined in {MUNSELL_LIGHT} for matte chips: it is a name of a "
        "colour, not a reading. Match a reading of the chip if you can."
    ]
    if light is not None and light != MUNSELL_LIGHT:
        here, there = white_point(MUNSELL_LIGHT), white_point(light)
        lab = lab_from_xyz(adapt_cmccat2000(xyz_from_lab(lab, here), here, there), there)
        cautions.append(
            f"It is carried from {MUNSELL_LIGHT} to {light} by chromatic adaptation (CMCCAT2000), "
            "which tells how it looks there, not what the chip reads."
        )
    return Target(_triple(lab), light or MUNSELL_LIGHT, geometry, request, cautions=tuple(cautions))


def _triple(values: FloatArray) -> tuple[float, float, float]:
    lightness, green_red, blue_yellow = values.tolist()
    return lightness, green_red, blue_yellow


def lab_triple(text: str) -> tuple[float, float, float] | None:
    """A CIELAB triple; None where the text is none.

    Parameters
    ----------
    text
        Three numbers; with decimal commas they are set apart by semicolons.
    """
    if len(text) > _LONGEST_TRIPLE:
        return None
    mark = ";" if ";" in text else ","
    cells = " ".join(text.split()).replace(f" {mark}", mark).replace(f"{mark} ", mark)
    values = [decimal_from(cell) for cell in re.split(f"[{mark} ]", cells)]
    if len(values) != 3 or any(value is None for value in values):
        return None
    lightness, green_red, blue_yellow = (float(value or 0) for value in values)
    if not 0 <= lightness <= 200 or max(abs(green_red), abs(blue_yellow)) > 200:
        return None
    return lightness, green_red, blue_yellow


def read_deck(path: Path, measurement: Measurement, light: Light) -> dict[str, Target]:
    """Read a deck: the swatches by their numbers, in the order of the file.

    Parameters
    ----------
    path
        A CSV file or an ``.xlsx`` workbook with columns number, L, a, b, optional name and light.
    measurement
        How the shelf is read: its geometry is taken for the swatches'.
    light
        The light of swatches that do not say theirs.

    Raises
    ------
    FewtoneError
        All that is wrong with it, by row and column.
    """
    table = read_table(path, workbook=True)
    known = {*_DECK_COLUMNS, *_DECK_OPTIONAL}
    table.strangers(known)
    table.require(_DECK_COLUMNS, known)
    swatches: dict[str, Target] = {}
    if not table.faults:
        for row in table.rows:
            number = row.identifier("number")
            if number in swatches:
                row.fault("number", f"Swatch {number} stands in this deck twice.", "Keep one.")
            values = [row.number_in("L", 0, 200, what="an L*")]
            values += [
                row.number_in(c, -200, 200, what=what)
                for c, what in (("a", "an a*"), ("b", "a b*"))
            ]
            lab = tuple(float(value or 0) for value in values)
            swatches[number] = Target(
                (lab[0], lab[1], lab[2]),
                _deck_light(table, row, light),
                measurement.geometry,
                number,
                row.text("name"),
            )
        check_exchanged(table, [("L", "a", "b")], lambda _: False)
    table.finish()
    return swatches


def _deck_light(table: Table, row: Row, light: Light) -> Light:
    text = row.text("light")
    if not text:
        return light
    try:
        return Light.parse(text)
    except FewtoneError as error:
        for fault in error.faults:
            table.fault(fault.message, fault.fix, row=row.number, column="light", value=text)
        return light
