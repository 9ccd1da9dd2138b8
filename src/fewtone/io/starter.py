"""A new shelf: a folder to fill in, or a copy of the demo shelf."""

from __future__ import annotations

import contextlib
import csv
import io
import os
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path
from string import Template

from fewtone.errors import Fault, FewtoneError, UsageError
from fewtone.io.atomic import new_folder, write_atomic
from fewtone.io.files import real_path
from fewtone.io.readings import READINGS_FILE
from fewtone.io.settings import SETTINGS_FILE, load_settings, read_settings
from fewtone.model.names import NAME, RESERVED, as_names, slug
from fewtone.model.shelf import ShelfSettings

__all__ = ["Work", "copy_demo_shelf", "new_shelf", "work_to_do"]

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
        Names or labels of the toners, the solid grounds and the metallic grounds; a label such as
        ``Ruby Red`` gives the name ``ruby-red``. They are used only where the folder has no
        ``shelf.toml`` yet.

    Returns
    -------
    The files written.

    Raises
    ------
    FewtoneError
        Nothing is left to write, a name cannot be used, or the folder cannot be written to.
        Nothing is left behind.
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
    # All that can be wrong is found before anything is made.
    texts: dict[Path, str] = {}
    if settings_file.exists():
        settings = load_settings(folder)
    else:
        texts[settings_file] = _settings_text(real_path(folder).name, toners, solid, metallic)
        settings = read_settings(texts[settings_file], SETTINGS_FILE)
    if not readings_file.exists():
        texts[readings_file] = _readings_text(settings)
    if not (guide := folder / _GUIDE_FILE).exists():
        texts[guide] = _starter(_GUIDE_FILE).read_text(encoding="utf-8")
    with _made(folder, *texts):
        # The settings come last: while they are missing, running it again writes what is.
        for file, text in reversed(texts.items()):
            write_atomic(file, text)
    return tuple(texts)


def copy_demo_shelf(folder: Path) -> tuple[Path, ...]:
    """Copy the demo shelf, whose data are invented, to a folder that does not exist yet.

    Parameters
    ----------
    folder
        Where the copy is to stand.

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
    with _made(folder.parent), new_folder(folder) as copy:
        for file in _demo_shelf().iterdir():
            write_atomic(copy / file.name, file.read_bytes())
    return tuple(sorted(folder.iterdir()))


@contextlib.contextmanager
def _made(folder: Path, *files: Path) -> Iterator[None]:
    """Make a folder and those above it, for new files.

    Where what follows fails, the files and the folders that were made are taken away again.

    Raises
    ------
    FewtoneError
        It cannot be made, or something in it cannot be.
    """
    missing = [each for each in (folder, *folder.parents) if not each.exists()]
    new = [file for file in files if not os.path.lexists(file)]  # a broken link is the user's
    try:
        folder.mkdir(parents=True, exist_ok=True)
        yield
    except BaseException as error:
        for file in new:
            with contextlib.suppress(OSError):
                file.unlink()
        for each in missing:
            with contextlib.suppress(OSError):
                each.rmdir()
        if isinstance(error, OSError):
            raise _unwritable(folder, error) from error
        raise


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
    named = _named("toner", as_names(toners))
    grounds = _named("ground", (*as_names(solid), *as_names(metallic)))
    if not named or not grounds:
        raise UsageError("A shelf needs at least one toner and one ground.")
    kinds = ["solid"] * len(as_names(solid)) + ["metallic"] * len(as_names(metallic))
    return Template(_starter(SETTINGS_FILE).read_text(encoding="utf-8")).substitute(
        name=_toml_text(name).strip() or "Shelf",
        toners="".join(
            f'[toners.{toner}]\nlabel = "{_toml_text(label)}"\nin_stock = true\n\n'
            for toner, label in named.items()
        ),
        grounds="\n".join(
            f'[grounds.{ground}]\nkind = "{kind}"\nlabel = "{_toml_text(label)}"\n'
            for (ground, label), kind in zip(grounds.items(), kinds, strict=True)
        ),
    )


def _toml_text(text: str) -> str:
    """Text as it stands between the quotes of a TOML string."""
    shown = "".join(c if c.isprintable() else " " for c in text)
    return shown.replace("\\", "\\\\").replace('"', '\\"')


def _readings_text(settings: ShelfSettings) -> str:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    lab = [f"{coordinate}{light}" for light in _LIGHTS for coordinate in "Lab"]
    if settings.measurement.light.observer == 2:
        lab = [column.replace("/10", "/2") for column in lab]
    writer.writerow(["panel", "ground", "blend", "medium_parts", "coats", "date", "note", *lab])
    writer.writerows([*row, *[""] * len(lab)] for row in _rows_to_spray(settings))
    return text.getvalue()


@dataclass(frozen=True, slots=True)
class Work:
    """How much a new shelf asks for: panels to spray and readings to take."""

    panels: int
    readings: int


def work_to_do(settings: ShelfSettings) -> tuple[Work, Work]:
    """What all rows of a new shelf's readings.csv ask for, and what those marked first do."""
    rows = list(_rows_to_spray(settings))
    first = [row for row in rows if row[-1] == "first"]
    everything, begin = (Work(len({row[0] for row in part}), len(part)) for part in (rows, first))
    return everything, begin


def _rows_to_spray(settings: ShelfSettings) -> Iterator[list[object]]:
    """The panels to spray, bare grounds first: each toner as a strip over two grounds.

    One at the shop's least letdown, one at its greatest: so strips tell, without one more panel,
    whether a toner's strength leans on the letdown.
    """
    for ground in settings.grounds:
        for _ in range(_BARE_READINGS):
            yield [f"bare-{ground}", ground, "", "", 0, "", "first"]
    solid = [name for name, ground in settings.grounds.items() if not ground.is_metallic]
    metallic = [name for name, ground in settings.grounds.items() if ground.is_metallic]
    over = (solid[:1] + metallic[:1]) or list(settings.grounds)[:1]
    letdowns = settings.mixing.medium_parts
    least_and_most = (min(letdowns), max(letdowns)) if len(over) > 1 else letdowns[:1]
    for toner in settings.toners:
        for ground, letdown in zip(over, least_and_most, strict=True):
            for coats, when in sorted(_STEPS):
                yield [f"{toner}-{ground}", ground, toner, letdown, coats, "", when]


def _named(kind: str, written: Sequence[str]) -> dict[str, str]:
    """Label by name: names as they are, labels as names made from them.

    Raises
    ------
    UsageError
        A reserved word, or two that come to one name.
    """
    named: dict[str, str] = {}
    faults = []
    for number, text in enumerate(written, start=1):
        label = " ".join(text.split())
        # A label in a script without Latin letters is numbered instead.
        name = label if re.fullmatch(NAME, label) else slug(label) or f"{kind}-{number}"
        if name in RESERVED or not label:
            faults.append(
                Fault(
                    f"'{text}' cannot be the name of a {kind}: it is a reserved word.",
                    fix="Choose another name; its label in shelf.toml can hold anything.",
                    value=text,
                )
            )
        elif name in named:
            faults.append(
                Fault(
                    f"The name '{name}' is given twice.",
                    fix="Use each name once.",
                    value=text,
                )
            )
        else:
            named[name] = label.replace("-", " ").capitalize() if name == label else label
    if faults:
        raise UsageError(*faults)
    return named


def _starter(file: str) -> Traversable:
    return resources.files("fewtone").joinpath("data", "starter", file)


def _demo_shelf() -> Traversable:
    """The demo shelf: inside an installed package, or at its place in the source tree."""
    packaged = resources.files("fewtone").joinpath("data", "lamp-bench")
    return packaged if packaged.is_dir() else Path(__file__).parents[3] / "toners" / "lamp-bench"
