"""A label for the cup or the bottle: a small sticker that says what is in it.

It holds the colour's name, the blend, letdown, coats and ground, the day it was mixed and a small
swatch; 89 mm by 41 mm, which label printers take, and a sheet printer too.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fewtone.colorimetry import Light
from fewtone.model.blend import coats_text, number_text
from fewtone.model.curves import Curves
from fewtone.model.recipe import Recipe
from fewtone.model.shelf import ShelfSettings
from fewtone.report.json import Document
from fewtone.report.swatches import Swatch, swatch
from fewtone.workshop.pour.mix import require_names

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = ["Label", "label"]


@dataclass(frozen=True, slots=True)
class Label:
    """What a sticker says.

    Parameters
    ----------
    recipe
        What was mixed.
    name
        What the colour is called; empty where nobody said.
    shelf
        The shelf's name.
    lab, light
        The predicted colour and its illuminant and observer.
    date
        When it was mixed.
    """

    recipe: Recipe
    name: str
    shelf: str
    lab: tuple[float, float, float]
    light: Light
    date: datetime.date

    @property
    def coats(self) -> str:
        """The coats in words: ``4 coats``."""
        return coats_text(self.recipe.coats)

    @property
    def lines(self) -> Sequence[str]:
        """What it says, line by line."""
        recipe = self.recipe
        named = [self.name] if self.name else []
        return (
            *named,
            str(recipe.blend),
            f"Letdown {number_text(recipe.medium_parts)}:1, {self.coats} over {recipe.ground}",
            f"Mixed {self.date.isoformat()}, {self.shelf}",
        )

    @property
    def swatch(self) -> Swatch:
        """The predicted colour on a screen."""
        return swatch(self.lab, self.light)

    def document(self) -> Document:
        """As a JSON document."""
        from fewtone.report.json.recipes import blend_document, number

        recipe = self.recipe
        return {
            "format": 1,
            "name": self.name or None,
            "recipe": str(recipe),
            "blend": blend_document(recipe.blend),
            "medium_parts": number(recipe.medium_parts),
            "coats": number(recipe.coats),
            "ground": recipe.ground,
            "lab": [round(value, 4) for value in self.lab],
            "shelf": self.shelf,
            "date": self.date.isoformat(),
        }

    def html(self) -> str:
        """The sticker as one self-contained HTML document of its own size."""
        from fewtone.report.page import environment

        recipe = self.recipe
        return (
            environment()
            .get_template("label.html.jinja")
            .render(
                title=self.name or str(recipe.blend),
                blend=str(recipe.blend),
                medium_parts=number_text(recipe.medium_parts),
                coats=self.coats,
                ground=recipe.ground,
                date=self.date.isoformat(),
                shelf=self.shelf,
                recipe=str(recipe),
                swatch=self.swatch,
            )
        )

    def pdf(self) -> bytes:
        """The sticker as PDF.

        Raises
        ------
        FewtoneError
            The optional library for it (``fewtone[pdf]``) is not there.
        """
        from fewtone.report.pdf import pdf

        return pdf(self.html())


def label(
    curves: Curves,
    settings: ShelfSettings,
    recipe: Recipe,
    *,
    name: str = "",
    date: datetime.date | None = None,
) -> Label:
    """Gather what a sticker says.

    Parameters
    ----------
    curves, settings
        The learnt shelf.
    recipe
        What was mixed.
    name
        What the colour is called.
    date
        When it was mixed; today if None.

    Raises
    ------
    FewtoneError
        The recipe names what the shelf does not have or has not learnt.
    """
    from fewtone.prediction.recipes import predict

    require_names(recipe, settings)
    light = settings.measurement.light
    lab = predict(curves, [recipe], light).lab[0].tolist()
    title = " ".join(name.split())
    day = date or datetime.date.today()
    return Label(recipe, title, settings.name, (lab[0], lab[1], lab[2]), light, day)
