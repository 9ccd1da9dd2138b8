"""The verbs of a shelf that begin with a panel that was sprayed, cleared and read."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Unpack

from fewtone.colorimetry import Light
from fewtone.model.blend import Number
from fewtone.model.recipe import Recipe, parse
from fewtone.shelf.learnt import LearntShelf, TargetLike

if TYPE_CHECKING:
    from fewtone.workshop.panel.adjust import Adjustment, AdjustOptions
    from fewtone.workshop.panel.bottle import Bottle
    from fewtone.workshop.panel.readings import ReadingLike

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
            ``left="350ml"`` and the rest of `fewtone.workshop.panel.adjust.AdjustOptions`.

        Raises
        ------
        FewtoneError
            The recipe, the target, a reading or a volume cannot be used.
        """
        from fewtone.workshop.panel.adjust import adjust

        line = parse(recipe) if isinstance(recipe, str) else recipe
        under = Light.parse(reading_light) if isinstance(reading_light, str) else reading_light
        wanted = self.target(target, light=light, deck=deck)
        return adjust(
            self.curves, self.settings, line, wanted, readings, reading_light=under, **how
        )

    def bottle(
        self,
        recipe: Recipe | str,
        readings: Sequence[ReadingLike],
        *,
        toner: str | None = None,
        light: Light | str | None = None,
        sprayed: Number | None = None,
        same_panel: bool = False,
        apply: bool = False,
    ) -> Bottle:
        """Work out how strong a new bottle is next to the toner that was learnt.

        Parameters
        ----------
        recipe
            What was mixed from the bottle and sprayed, or its line.
        readings
            As for `adjust`, but each of a panel of its own.
        toner
            Whose bottle is new; may be None where the recipe has one toner.
        light
            The readings' illuminant and observer; the shelf's own if None.
        sprayed
            Coats of the panels, where they are not the recipe's.
        same_panel
            The readings are of one panel, repeated or at its steps.
        apply
            Write the strength into shelf.toml; a shelf loaded from then on predicts with it.

        Raises
        ------
        FewtoneError
            The recipe, the toner or a reading cannot be used; or, with `apply`, the deviation is
            not credible or shelf.toml cannot be written to.
        """
        from fewtone.io.strength import write_strength
        from fewtone.workshop.panel.bottle import bottle, require_credible

        line = parse(recipe) if isinstance(recipe, str) else recipe
        under = Light.parse(light) if isinstance(light, str) else light
        found = bottle(
            self.curves,
            self.settings,
            line,
            readings,
            toner=toner,
            light=under,
            sprayed=sprayed,
            same_panel=same_panel,
        )
        if not apply:
            return found
        require_credible(found)
        write_strength(self.folder, found.toner, found.written)
        return replace(found, applied=True)

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
        from fewtone.io.keep import keep_readings
        from fewtone.workshop.panel.readings import read_panel

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
