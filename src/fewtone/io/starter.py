"""A new shelf: a folder to fill in, or a copy of the demo shelf."""

from __future__ import annotations

import csv
import io
import re
import shutil
import tempfile
from collections.abc import Iterator, Sequence
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path
from string import Template

from fewtone.errors import Fault, FewtoneError, UsageError
from fewtone.io.atomic import write_atomic
from fewtone.io.readings import READINGS_FILE
from fewtone.io.settings import SETTINGS_FILE, load_settings
from fewtone.model.recipe import NAME, RESERVED
from fewtone.model.shelf import ShelfSettings

__all__ = ["copy_demo_shelf", "new_shelf"]

_GUIDE_FILE = "README.txt"
_STEPS = ((1, "first"), (2, "first"), (4, "first"), (3, "then"), (6, "if time allows"))
_LIGHTS = ("", " A/10")
_BARE_READINGS = 3


def new_shelf(
    folder: Path,
    *,
    toners: Sequence[str] = ("first-toner", "second-toner"),
    solid: Sequence[str] = ("white",),
    metallic: Sequence[str] = ("silver",),
) -> tuple[Path, ...]:
    """Write a shelf folder to fill in; what is there already is never touched.

    Parameters
    ----------
    folder
        The folder; it is made if it does not exist.
    toners, solid, metallic
        Names of the toners, the solid grounds and the metallic grounds. They are used only where
        the folder has no ``shelf.toml`` yet.

    Returns
    -------
    The files written.

    Raises
    ------
    FewtoneError
        Nothing is left to write, a name cannot be used, or the folder cannot be written to.
    """
    settings_file, readings_file = folder / SETTINGS_FILE, folder / READINGS_FILE
    if settings_file.exists() and readings_file.exists():
        raise FewtoneError(
            Fault(
                f"This folder already has a {SETTINGS_FILE} and a {READINGS_FILE}; "
                "nothing was touched.",
                fix="Choose another folder, or move the file away that should be written anew.",
                file=str(folder),
            )
        )
    _make(folder)
    written = []
    if not settings_file.exists():
        write_atomic(settings_file, _settings_text(folder.resolve().name, toners, solid, metallic))
        written.append(settings_file)
    if not readings_file.exists():
        write_atomic(readings_file, _readings_text(load_settings(folder)))
        written.append(readings_file)
    guide = folder / _GUIDE_FILE
    if not guide.exists():
        write_atomic(guide, _starter(_GUIDE_FILE).read_text(encoding="utf-8"))
        written.append(guide)
    return tuple(written)


def copy_demo_shelf(folder: Path) -> tuple[Path, ...]:
    """Copy the demo shelf, whose data are invented, to a folder that does not exist yet.

    Returns
    -------
    The files written.

    Raises
    ------
    FewtoneError
        The folder exists and is not empty, or cannot be written to.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise FewtoneError(
            Fault(
                "This folder already exists and is not empty; nothing was touched.",
                fix="Choose another folder for the demo shelf.",
                file=str(folder),
            )
        )
    _make(folder.parent)
    try:
        with tempfile.TemporaryDirectory(dir=folder.parent, prefix=".fewtone-") as temporary:
            copy = Path(temporary) / "shelf"
            copy.mkdir()
            for file in _demo_shelf().iterdir():
                (copy / file.name).write_bytes(file.read_bytes())
            if folder.exists():
                folder.rmdir()
            shutil.move(copy, folder)
    except OSError as error:
        raise _unwritable(folder, error) from error
    return tuple(sorted(folder.iterdir()))


def _make(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise _unwritable(folder, error) from error


def _unwritable(folder: Path, error: OSError) -> FewtoneError:
    return FewtoneError(
        Fault(
            f"This folder cannot be made: {error.strerror or error}.",
            fix="Choose a place that you may write to.",
            file=str(folder),
        )
    )


def _settings_text(
    name: str, toners: Sequence[str], solid: Sequence[str], metallic: Sequence[str]
) -> str:
    _check_names([*toners, *solid, *metallic])
    if not toners or not [*solid, *metallic]:
        raise UsageError("A shelf needs at least one toner and one ground.")
    grounds = [(ground, "solid") for ground in solid]
    grounds += [(ground, "metallic") for ground in metallic]
    return Template(_starter(SETTINGS_FILE).read_text(encoding="utf-8")).substitute(
        name=re.sub(r'[\\"\x00-\x1f]', " ", name),
        toners="".join(
            f'[toners.{toner}]\nlabel = "{_label(toner)}"\nin_stock = true\n\n' for toner in toners
        ),
        grounds="\n".join(
            f'[grounds.{ground}]\nkind = "{kind}"\nlabel = "{_label(ground)}"\n'
            for ground, kind in grounds
        ),
    )


def _readings_text(settings: ShelfSettings) -> str:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    lab = [f"{coordinate}{light}" for light in _LIGHTS for coordinate in "Lab"]
    if settings.measurement.light.observer == 2:
        lab = [column.replace("/10", "/2") for column in lab]
    writer.writerow(["panel", "ground", "blend", "medium_parts", "coats", "date", "note", *lab])
    writer.writerows([*row, *[""] * len(lab)] for row in _rows_to_spray(settings))
    return text.getvalue()


def _rows_to_spray(settings: ShelfSettings) -> Iterator[list[object]]:
    """The panels to spray, bare grounds first: each toner as a strip over two grounds."""
    for ground in settings.grounds:
        for _ in range(_BARE_READINGS):
            yield [f"bare-{ground}", ground, "", "", 0, "", "first"]
    solid = [name for name, ground in settings.grounds.items() if not ground.is_metallic]
    metallic = [name for name, ground in settings.grounds.items() if ground.is_metallic]
    house = settings.mixing.medium_parts[0]
    for toner in settings.toners:
        for ground in (solid[:1] + metallic[:1]) or list(settings.grounds)[:1]:
            for coats, when in sorted(_STEPS):
                yield [f"{toner}-{ground}", ground, toner, house, coats, "", when]


def _check_names(names: Sequence[str]) -> None:
    faults = [
        Fault(
            f"'{name}' cannot be the name of a toner or ground: a letter, then a-z, 0-9 and "
            "hyphens, and no reserved word.",
            fix="Choose a plain name; labels in shelf.toml can hold anything.",
            value=name,
        )
        for name in names
        if not re.fullmatch(NAME, name) or name in RESERVED
    ]
    faults += [
        Fault(f"The name '{name}' is given twice.", fix="Use each name once.", value=name)
        for name in sorted({name for name in names if names.count(name) > 1})
    ]
    if faults:
        raise UsageError(*faults)


def _label(name: str) -> str:
    return name.replace("-", " ").capitalize()


def _starter(file: str) -> Traversable:
    return resources.files("fewtone").joinpath("data", "starter", file)


def _demo_shelf() -> Traversable:
    """The demo shelf: inside an installed package, or at its place in the source tree."""
    packaged = resources.files("fewtone").joinpath("data", "lamp-bench")
    return packaged if packaged.is_dir() else Path(__file__).parents[3] / "toners" / "lamp-bench"
