"""What may be asked for: colours and swatches of the deck, and never a file.

The command line takes the path of a reading for a target; a page does not, since what a request
says must not reach the file system.
"""

from __future__ import annotations

import re
from pathlib import Path

from fewtone.board.bench import OpenShelf
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


def requested(open_shelf: OpenShelf, shelf: Shelf, text: str, light: str | None = None) -> Target:
    """The target that a text means.

    Parameters
    ----------
    open_shelf, shelf
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
    request = text.strip()
    file = deck_file(open_shelf, shelf)
    names = None
    if file is not None:
        swatches = deck_swatches(open_shelf, shelf, light)
        labels = {number: swatch.name or number for number, swatch in swatches.items()}
        names = Names("swatch", labels, f"the deck {file.name}")
        if number := names.find(request):
            return swatches[number]
        if names.is_shared(request):
            raise UsageError(names.fault(request, fix="Give the number of the one that is meant."))
    if (
        lab_triple(request) is None
        and not request.startswith("#")
        and request[:7].casefold() != "munsell"
    ):
        meant = "" if names is None else names.hint(request)
        raise UsageError(
            Fault(
                f"'{request}' is not a target.{meant}",
                fix="Write L*, a* and b*, a hex colour such as #2f5d50, a Munsell notation such as "
                "5BG 3/4, or choose a swatch of the deck.",
                value=request,
            )
        )
    return shelf.target(request, light=None if request.startswith("#") else light)


def colour_text(text: str) -> str:
    """A hex code or a Munsell notation as the command line takes it."""
    request = " ".join(text.split())
    if _BARE_HEX.fullmatch(request):
        return f"#{request}"
    if _MUNSELL.fullmatch(request) and request[:7].casefold() != "munsell":
        return f"munsell {request}"
    return request


def deck_file(open_shelf: OpenShelf, shelf: Shelf) -> Path | None:
    """The deck that holds: the board's own, else the shelf's; None without one."""
    own_deck = shelf.settings.deck
    return open_shelf.deck or (None if own_deck is None else shelf.folder / own_deck)


def deck_swatches(
    open_shelf: OpenShelf, shelf: Shelf, light: str | None = None
) -> dict[str, Target]:
    """The swatches of the deck by their numbers, read anew when the file changes.

    Raises
    ------
    FewtoneError
        All that is wrong with it.
    """
    file = deck_file(open_shelf, shelf)
    if file is None:
        return {}
    under = shelf.light(light or None) or shelf.settings.measurement.light
    changed = file.stat().st_mtime_ns if file.exists() else 0
    return open_shelf.answer(
        ("deck", file, changed, under), lambda: read_deck(file, shelf.settings.measurement, under)
    )
