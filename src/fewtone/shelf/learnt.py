"""What a shelf is: its folder, its settings and its curves; targets and predictions by them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

from fewtone.colorimetry import Light
from fewtone.io.targets import read_target
from fewtone.model.curves import Curves
from fewtone.model.recipe import Recipe, parse
from fewtone.model.shelf import ShelfSettings
from fewtone.model.target import Target

if TYPE_CHECKING:
    from fewtone.prediction.forward import Prediction

__all__ = ["LearntShelf", "TargetLike"]

TargetLike: TypeAlias = Target | str | Sequence[float]


@dataclass(frozen=True, slots=True)
class LearntShelf:
    """What a `fewtone.shelf.Shelf` holds, and what all its verbs stand on."""

    folder: Path
    settings: ShelfSettings
    curves: Curves
    cautions: tuple[str, ...] = ()

    def target(
        self, target: TargetLike, *, light: Light | str | None = None, deck: Path | None = None
    ) -> Target:
        """Take what was asked for to numbers.

        Parameters
        ----------
        target
            A CIELAB triple, or text as on the command line: a triple, a hex colour, a swatch
            number of `deck`.
        light
            Its illuminant and observer, such as ``D50/2``; the shelf's own if None.
        deck
            A CSV file of swatches.

        Raises
        ------
        FewtoneError
            It is no colour, or the deck is wrong.
        """
        if isinstance(target, Target):
            return target
        text = target if isinstance(target, str) else ",".join(str(float(v)) for v in target)
        wanted = Light.parse(light) if isinstance(light, str) else light
        return read_target(text, self.settings.measurement, light=wanted, deck=deck)

    def predict(
        self, recipes: Sequence[Recipe | str], *, light: Light | str | None = None
    ) -> Prediction:
        """Predict the colour of recipes under a light, the shelf's own if None.

        Raises
        ------
        FewtoneError
            A recipe does not parse, or names a toner or ground that was not learnt.
        """
        from fewtone.prediction.forward import predict

        wanted = Light.parse(light) if isinstance(light, str) else light
        lines = [parse(recipe) if isinstance(recipe, str) else recipe for recipe in recipes]
        under = wanted or self.settings.measurement.light
        return predict(self.curves, lines, under, deviations=True)
