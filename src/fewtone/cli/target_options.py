"""The options by which a target is told, and the target that they mean."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, TypeAlias

import typer

if TYPE_CHECKING:
    from fewtone.model.target import Target
    from fewtone.shelf import Shelf

__all__ = [
    "AnywayOption",
    "DeckOption",
    "GeometryOption",
    "LightOption",
    "LightsOption",
    "target_of",
]

LightOption: TypeAlias = Annotated[
    str | None,
    typer.Option(
        "--light",
        metavar="LIGHT",
        help="Illuminant and observer of the target, such as D50/2. Without it: the shelf's.",
    ),
]
DeckOption: TypeAlias = Annotated[
    Path | None,
    typer.Option(
        "--deck",
        metavar="FILE.csv",
        help="Swatches by number, a CSV file or .xlsx workbook: columns number, L, a, b, optional "
        "name and light.",
    ),
]
GeometryOption: TypeAlias = Annotated[
    str | None,
    typer.Option(
        "--geometry",
        metavar="GEOMETRY",
        help="How the target was read, such as di:8. Without it: as the shelf is.",
    ),
]
AnywayOption: TypeAlias = Annotated[
    bool,
    typer.Option("--anyway", help="Go on with a target read in another geometry than the shelf."),
]
LightsOption: TypeAlias = Annotated[
    str | None,
    typer.Option(
        "--lights",
        metavar="D65,A",
        help="Match a spectrum in all of these lights at once, by the worst of them.",
    ),
]


def target_of(
    loaded: Shelf,
    target: str | Target | None,
    *,
    light: str | None,
    deck: Path | None,
    geometry: str | None,
    anyway: bool,
) -> Target | None:
    """The target that is asked for, or None; the arguments are those of `Shelf.target`."""
    if target is None:
        return None
    return loaded.target(target, light=light, deck=deck, geometry=geometry, anyway=anyway)
