"""Arguments by the grammar of the commands themselves, so that new ones are tried too."""

from __future__ import annotations

import random
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import typer.main

from fewtone.cli.main import application
from hostile.bench import RECIPE, TONERS
from hostile.hurt import HOSTILE, NUMBERS

__all__ = ["OTHERS", "RECIPES", "TARGETS", "commands", "hurt_text", "words"]

# They reach out to other machines, which nobody has here.
_OUTWARDS = ("scheduler",)
# It serves until it is stopped; the rest it shares with the others.
_SERVES = ("board",)
RECIPES = (
    RECIPE,
    "marigold, 6:1, 3 coats over white",
    "41.5 marigold + 22 dusk + 6.5 harbour, 6:1, 3 coats over silver",
    "medium, 6:1, 1 coat over white",
    "2 marigold + 1 dusk, 0:1, 60 coats over silver",
    "1 marigold, 1000000:1, 0.001 coats over silver",
    "1000000 marigold + 0.000001 dusk, 6:1, 4 coats over silver",
    "2 marigold + 1 dusk, 6:1, 4 coats over 2 silver + 1 white",
)
TARGETS = ("38.2,-18.4,9.7", "#2f5d50", "101", "60;20;40", "0,0,0", "100,0,0", "200,200,-200")
OTHERS: dict[str, tuple[str, ...]] = {
    "light": ("D65/10", "D50/2", "A/10", "F11/10", "E/2", "D65"),
    "reading": ("40,-8,31", "40,-8,31 at 4 coats", "30 -1 2", "40.5,-8,30 at 4 coats over silver"),
    "volume": ("600ml", "1 l", "20floz-us", "0ml", "10000000ml", "600", "1e3ml"),
    "area": ("1.4m2", "15sqft", "0m2"),
    "extra": ("40ml", "10%", "-1ml", "1000%"),
    "left": ("350ml", "0ml"),
    "room": ("500ml", "1ml"),
    "coats": ("2-5", "3", "5-2", "0-1"),
    "letdown": ("6,8", "6", "4:1", "1000"),
    "sprayed": ("3", "2,5"),
    "reducer": ("10", "15%", "1000"),
    "names": (*TONERS, "marigold,dusk", "silver", "white", "nobody", "Marigold"),
    "panel": ("X1", " kept-1", "P001"),
    "bottles": ("90%", "50", "1%", "100 %", "101%", "0"),
    "kinds": ("a4", "letter", "pdf"),
}
_NAMED = {
    "use": "names",
    "without": "names",
    "ground": "names",
    "grounds": "names",
    "toner": "names",
    "toners": "names",
    "solid": "names",
    "metallic": "names",
    "keep": "names",
    "leave_out": "panel",
    "reading_light": "light",
    "lights": "light",
    "recipe": "recipe",
    "recipes": "recipe",
    "formula": "recipe",
    "target": "target",
    "also": "target",
}


def commands(
    group: Any = None, before: tuple[str, ...] = ()
) -> Iterator[tuple[tuple[str, ...], Any]]:
    """Each command's words and the command itself, those of groups too."""
    here: Any = typer.main.get_command(application()) if group is None else group
    for name, command in sorted(here.commands.items()):
        if hasattr(command, "commands"):
            yield from commands(command, (*before, name))
        elif name not in _SERVES:
            yield (*before, name), command


@cache
def _known() -> list[tuple[tuple[str, ...], Any]]:
    return list(commands())


def words(rng: random.Random, place: Path) -> list[str]:
    """One command line, mostly sensible; files of `place` stand where files are asked for."""
    path, command = rng.choice(_known())
    said = list(path)
    for parameter in command.params:
        if parameter.name in _OUTWARDS:
            continue
        is_argument = parameter.param_type_name == "argument"
        wanted = is_argument or parameter.required
        if not wanted and parameter.name != "shelf" and rng.random() > 0.2:
            continue
        if wanted and rng.random() < 0.01:
            continue
        option = [] if is_argument else [rng.choice(parameter.opts)]
        if getattr(parameter, "is_flag", False):
            said += option
            continue
        for _ in range(
            rng.choice((1, 1, 1, 2)) if parameter.multiple or parameter.nargs == -1 else 1
        ):
            said += [*option, _value(parameter, rng, place, said)]
    if rng.random() < 0.5 and "--json" not in said:
        said.append("--json")
    if rng.random() < 0.03:
        said.insert(rng.randrange(len(said) + 1), rng.choice(HOSTILE))
    # A help text is asked for by itself.
    return [word.replace("\x00", "") for word in said if word not in ("--help", "-h")]


def _of_the_book(name: str, rng: random.Random, place: Path, said: list[str]) -> str:
    """What the commands about jobs ask for; empty if this is something else."""
    if name == "book":
        return str(place / rng.choice(("book.db", "book.db", "deck.csv", "nothing/book.db")))
    if name == "file" and "export" in said:
        return str(place / rng.choice(("out.json", "jobs.json", "no/out.json")))
    if name == "file" and "import" in said:
        return str(place / rng.choice(("jobs.json", "jobs.csv", "book.db", "deck.csv")))
    if name == "name" and rng.random() < 0.8:
        return rng.choice(("lamp", "Lamp", "another"))
    if name == "job":
        return rng.choice(("lamp", "Lamp", "another", "new lamp"))
    return ""


def _value(parameter: Any, rng: random.Random, place: Path, said: list[str]) -> str:
    name, drawn = parameter.name, rng.random()
    if name == "shelf":
        return (
            str(place / "shelf") if drawn < 0.95 else rng.choice((str(place), "nowhere", "a" * 300))
        )
    if name in ("output", "page", "picture", "pdf", "out", "csv") or name.endswith("_file"):
        return str(
            place
            / rng.choice(("out.html", "out.svg", "out.csv", "out.pdf", "no/out.html", "deck.csv"))
        )
    if found := _of_the_book(name, rng, place, said):
        return found
    if name == "folder":
        return str(place / rng.choice(("new", "shelf", "deck.csv", "a/b/c", "n" * 300, HOSTILE[7])))
    if drawn < 0.05:
        return rng.choice(HOSTILE)
    if drawn < 0.09:
        return rng.choice(NUMBERS)
    kind = _NAMED.get(name, name)
    if name in ("file", "deck") or str(parameter.metavar).startswith("FILE"):
        sound = ("deck.csv", "deck.xlsx", "lab.txt", "spectra.cxf")
        others = ("nothing", "shelf/readings.csv", "shelf")
        likely = sound[:2] if "deck" in said else sound
        return str(place / rng.choice(likely if drawn < 0.6 else sound if drawn < 0.8 else others))
    if kind == "recipe":
        return hurt_text(rng.choice(RECIPES), rng)
    if kind == "target":
        return hurt_text(rng.choice((*TARGETS, str(place / "spectra.cxf"))), rng)
    if kind in OTHERS:
        return hurt_text(rng.choice(OTHERS[kind]), rng)
    return rng.choice(("1", "2", "3", "5", "0.5", *NUMBERS[:6]))


def hurt_text(text: str, rng: random.Random, *, always: bool = False) -> str:
    """A text, one time in ten or always with something hostile in it or in place of a part."""
    if not always and rng.random() < 0.9:
        return text
    at = rng.randrange(len(text) + 1)
    return text[:at] + rng.choice((*HOSTILE, *NUMBERS)) + text[at + rng.choice((0, 0, 1, 3)) :]
