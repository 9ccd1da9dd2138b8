"""A learnt shelf as it stands: its folder, settings and curves, and what is asked of it in text."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from fewtone.colorimetry import Light
from fewtone.io.targets import TargetLike, read_target
from fewtone.model.curves import Curves
from fewtone.model.names import named_options
from fewtone.model.recipe import Recipe
from fewtone.model.shelf import ShelfSettings
from fewtone.model.target import Target

__all__ = ["LearntShelf"]


@dataclass(frozen=True, slots=True)
class LearntShelf:
    """A learnt shelf, and how recipes, targets and lights that are asked for are read.

    Parameters
    ----------
    folder
        Where it stands.
    settings
        What its ``shelf.toml`` says.
    curves
        What learning found.
    cautions
        What should be told about it, such as readings that changed since it was learnt.
    """

    folder: Path
    settings: ShelfSettings
    curves: Curves
    cautions: tuple[str, ...] = ()

    @property
    def reads_spectra(self) -> bool:
        """Whether its readings.csv has columns of wavelengths; not if it cannot be read."""
        from fewtone.io.readings import reads_spectra

        return reads_spectra(self.folder, self.settings)

    def over(self, recipes: Iterable[Recipe]) -> Curves:
        """The curves with the keyed grounds of these recipes, predicted where none was read."""
        from fewtone.prediction.keyed import with_keyed

        return with_keyed(self.curves, [recipe.ground for recipe in recipes])

    def _asked(self, recipe: Recipe | str) -> tuple[Curves, ShelfSettings, Recipe]:
        line = self.settings.recipe(recipe)
        return self.over([line]), self.settings, line

    def light(self, light: Light | str | None) -> Light | None:
        """A light, or its text; a lone illuminant such as ``A`` takes the shelf's observer.

        Parameters
        ----------
        light
            A light, its text such as ``D50/2`` or ``A``, or None, which stays.

        Raises
        ------
        UsageError
            There is no such light.
        """
        observer = self.settings.measurement.light.observer
        return Light.parse(light, observer) if isinstance(light, str) else light

    def _wanted(
        self, target: TargetLike | None, light: Light | str | None, deck: Path | None
    ) -> Target | None:
        """What was asked for, if anything."""
        return None if target is None else self.target(target, light=light, deck=deck)

    @named_options
    def target(
        self,
        target: TargetLike,
        *,
        light: Light | str | None = None,
        deck: Path | None = None,
        geometry: str | None = None,
        anyway: bool = False,
    ) -> Target:
        """Take what was asked for to numbers.

        Parameters
        ----------
        target
            A CIELAB triple, or text as on the command line: a triple, a hex colour, a Munsell
            notation, the path of a reading, a swatch's number or name.
        light
            Its illuminant and observer, such as ``D50/2``; the shelf's own if None.
        deck
            A CSV file or ``.xlsx`` workbook of swatches; the one that shelf.toml names if None.
        geometry
            How it was read, such as ``di:8``; the shelf's own if None.
        anyway
            Whether a geometry other than the shelf's is let through, with a caution.

        Raises
        ------
        FewtoneError
            It is no colour, the deck or file is wrong, or its geometry is not the shelf's.
        """
        shelf_deck = None if self.settings.deck is None else self.folder / self.settings.deck
        return read_target(
            target,
            self.settings.measurement,
            light=self.light(light),
            deck=deck,
            shelf_deck=shelf_deck,
            wavelength_nm=self.curves.wavelength_nm,
            geometry=geometry,
            anyway=anyway,
        )
