"""The verbs of a shelf that begin with a panel that was sprayed, cleared and read."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Unpack

from fewtone.colorimetry import Light
from fewtone.model.recipe import Number, Recipe, parse
from fewtone.shelf.learnt import LearntShelf, TargetLike

if TYPE_CHECKING:
    from fewtone.bench.adjust import Adjustment, AdjustOptions
    from fewtone.bench.panel import ReadingLike

__all__ = ["PanelVerbs"]


@dataclass(frozen=True, slots=True)
class PanelVerbs(LearntShelf):
    """What a shelf makes of a panel's readings."""

    def adjust(
        self,
        recipe: Recipe | str,
        *,
        target: TargetLike,
        readings: Sequence[ReadingLike],
        light: Light | str | None = None,
        deck: Path | None = None,
        reading_light: Light | str | None = None,
        **how: Unpack[AdjustOptions],
    ) -> Adjustment:
        """Work out what to do after a panel was sprayed, cleared and read.

        Parameters
        ----------
        recipe
            A recipe or its line.
        target, light, deck
            As `Shelf.target` takes them.
        readings
            CIELAB triples, or text such as ``38.2,-18.4,9.7 at 2 coats``.
        reading_light
            Their light, where it is not the shelf's.
        **how
            ``left="350ml"`` and the rest of `fewtone.bench.adjust.AdjustOptions`.

        Raises
        ------
        FewtoneError
            The recipe, the target, a reading or a volume cannot be used.
        """
        from fewtone.bench.adjust import adjust

        line = parse(recipe) if isinstance(recipe, str) else recipe
        under = Light.parse(reading_light) if isinstance(reading_light, str) else reading_light
        wanted = self.target(target, light=light, deck=deck)
        return adjust(
            self.curves, self.settings, line, wanted, readings, reading_light=under, **how
        )

    def keep_reading(
        self,
        recipe: Recipe | str,
        readings: Sequence[ReadingLike],
        *,
        light: Light | str | None = None,
        sprayed: Number | None = None,
        panel: str | None = None,
    ) -> str:
        """Keep readings of a panel for learning, in readings.csv; return the panel's id.

        Parameters
        ----------
        recipe
            What the panel was sprayed with, or its line.
        readings
            As for `adjust`.
        light
            Their illuminant and observer; the shelf's own if None.
        sprayed
            Coats of the panel, where they are not the recipe's.
        panel
            Its id, which must be new; one is made up if None.

        Raises
        ------
        FewtoneError
            A reading or readings.csv cannot be used, or the folder cannot be written to.
        """
        from fewtone.bench.panel import read_panel
        from fewtone.io.keep import keep_readings

        line = parse(recipe) if isinstance(recipe, str) else recipe
        under = Light.parse(light) if isinstance(light, str) else light
        return keep_readings(
            self.folder,
            self.settings,
            line,
            read_panel(readings, line, sprayed),
            under or self.settings.measurement.light,
            panel=panel,
            date=datetime.date.today().isoformat(),
        )
