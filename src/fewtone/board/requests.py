"""What may be asked for: colours and swatches of the deck, and never a file.

The command line takes the path of a reading for a target; a page does not, since what a request
says must not reach the file system.
"""

from __future__ import annotations

import re
from pathlib import Path

from fewtone.board.bench import Place
from fewtone.errors import Fault, UsageError
from fewtone.io.targets import lab_triple, read_deck
from fewtone.model.names import Names
from fewtone.model.target import Target
from fewtone.shelf import Shelf

__all__ = ["colour_text", "deck_file", "deck_swatches", "requested"]

_MUNSELL = re.compile(
    r"(?:munsell\s+)?(?:[0-9.]{1,6}\s*[a-z]{1,2}|n)\s*[0-9./\s]{0,20}", re.IGNORECASE
)
_BARE_HEX = re.compile(r"[0-9a-fA-F]{3}|[0-9a-fA-F]{6}")


def requested(place: Place, shelf: Shelf, text: str, light: str | None = None) -> Target:
    """The target that a text means.

    Parameters
    ----------
    place, shelf
        The shelf.
    text
        A swatch's number or name, if there is a deck; else a CIELAB triple, a hex colour or a
        Munsell notation.
    light
        The light of a triple or of a deck that does not say its own; the shelf's if None.

    Raises
    ------
    FewtoneError
        It is none of these, or the deck is wrong.
    """
    said = text.strip()
    file = deck_file(place, shelf)
    names = None
    if file is not None:
        swatches = deck_swatches(place, shelf, light)
        labels = {number: swatch.name or number for number, swatch in swatches.items()}
        names = Names("swatch", labels, f"the deck {file.name}")
        if number := names.find(said):
            return swatches[number]
        if names.is_shared(said):
            raise UsageError(names.fault(said, fix="Give the number of the one that is meant."))
    if lab_triple(said) is None and not said.startswith("#") and said[:7].casefold() != "munsell":
        meant = "" if names is None else names.hint(said)
        raise UsageError(
            Fault(
                f"'{said}' is not a target.{meant}",
                fix="Write L*, a* and b*, a hex colour such as #2f5d50, a Munsell notation such as "
                "5BG 3/4, or choose a swatch of the deck.",
                value=said,
            )
        )
    return shelf.target(said, light=None if said.startswith("#") else light)


def colour_text(text: str) -> str:
    """A hex code or a Munsell notation as the command line takes it."""
    said = " ".join(text.split())
    if _BARE_HEX.fullmatch(said):
        return f"#{said}"
    if _MUNSELL.fullmatch(said) and said[:7].casefold() != "munsell":
        return f"munsell {said}"
    return said


def deck_file(place: Place, shelf: Shelf) -> Path | None:
    """The deck that holds: the board's own, else the shelf's; None without one."""
    own = shelf.settings.deck
    return place.deck or (None if own is None else shelf.folder / own)


def deck_swatches(place: Place, shelf: Shelf, light: str | None = None) -> dict[str, Target]:
    """The swatches of the deck by their numbers, read anew when the file changes.

    Raises
    ------
    FewtoneError
        All that is wrong with it.
    """
    file = deck_file(place, shelf)
    if file is None:
        return {}
    under = shelf.light(light or None) or shelf.settings.measurement.light
    changed = file.stat().st_mtime_ns if file.exists() else 0
    return place.answer(
        ("deck", file, changed, under), lambda: read_deck(file, shelf.settings.measurement, under)
    )
