"""A learnt shelf with its verbs, which are the commands of the same names.

Each verb is one call into the house below; the heavy rooms are entered only when a verb needs
them, so that loading a shelf stays quick.
"""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal, Unpack

from fewtone.colorimetry import Light
from fewtone.model.recipe import Recipe, parse
from fewtone.shelf.learnt import TargetLike
from fewtone.shelf.panels import PanelVerbs

if TYPE_CHECKING:
    from fewtone.match import MatchResult, RuleOptions
    from fewtone.report.content import Sheet, SheetOptions
    from fewtone.workshop.look.check import Check
    from fewtone.workshop.look.letdown import Letdown
    from fewtone.workshop.look.simplify import Simplification
    from fewtone.workshop.pour.batch import Batch, BatchOptions

__all__ = ["Shelf", "TargetLike"]


@dataclass(frozen=True, slots=True)
class Shelf(PanelVerbs):
    """A learnt shelf, ready to answer.

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

    def match(
        self,
        target: TargetLike,
        *,
        light: Light | str | None = None,
        deck: Path | None = None,
        **rules: Unpack[RuleOptions],
    ) -> MatchResult:
        """Find the simplest, the closest and the evenest recipe, and the trade-off between them.

        Parameters
        ----------
        target, light, deck
            As `Shelf.target` takes them.
        **rules
            What a recipe must keep, see `fewtone.match.RuleOptions`; the shelf's own where not
            given.

        Raises
        ------
        FewtoneError
            The target is no colour, or a rule names what the shelf does not have.
        """
        from fewtone.match import Rules, search

        wanted = self.target(target, light=light, deck=deck)
        return search(
            self.curves,
            self.settings,
            wanted.lab,
            wanted.light,
            Rules.of(self.settings, **rules),
        )

    def check(
        self,
        recipe: Recipe | str,
        *,
        target: TargetLike | None = None,
        light: Light | str | None = None,
        deck: Path | None = None,
        tolerance: float | None = None,
    ) -> Check:
        """Look at a recipe before it is mixed.

        Parameters
        ----------
        recipe
            A recipe or its line.
        target, light, deck
            As `Shelf.target` takes them; without a target the colour alone is predicted.
        tolerance
            ΔE00 that passes; the shelf's own if None.

        Raises
        ------
        FewtoneError
            The recipe or the target cannot be used.
        """
        from fewtone.workshop.look.check import check

        line = parse(recipe) if isinstance(recipe, str) else recipe
        wanted = None if target is None else self.target(target, light=light, deck=deck)
        under = Light.parse(light) if isinstance(light, str) else light
        return check(
            self.curves, self.settings, line, target=wanted, light=under, tolerance=tolerance
        )

    def batch(self, recipe: Recipe | str, **how: Unpack[BatchOptions]) -> Batch:
        """Work out what to pour for a volume or an area, exactly.

        Parameters
        ----------
        recipe
            A recipe or its line.
        **how
            ``volume="600ml"`` or ``area="1.4m2"`` and the rest of
            `fewtone.workshop.pour.batch.BatchOptions`.

        Raises
        ------
        FewtoneError
            The recipe or an amount cannot be used, or shelf.toml lacks what this needs.
        """
        from fewtone.workshop.pour.batch import batch

        line = parse(recipe) if isinstance(recipe, str) else recipe
        return batch(self.curves, self.settings, line, **how)

    def letdown(
        self,
        recipe: Recipe | str,
        *,
        target: TargetLike | None = None,
        light: Light | str | None = None,
        deck: Path | None = None,
        grounds: Sequence[str] | None = None,
        most_coats: int | None = None,
    ) -> Letdown:
        """Predict the colour at each coat over each ground, the bare ground first.

        Parameters
        ----------
        recipe
            A recipe or its line; its coats and ground play no part.
        target, light, deck
            As `Shelf.target` takes them; without a target the colours alone are predicted.
        grounds, most_coats
            Over which, and up to how many coats; all, and the shop's most, if None.

        Raises
        ------
        FewtoneError
            The recipe, the target, a ground or the coats cannot be used.
        """
        from fewtone.workshop.look.letdown import letdown

        line = parse(recipe) if isinstance(recipe, str) else recipe
        wanted = None if target is None else self.target(target, light=light, deck=deck)
        return letdown(
            self.curves,
            self.settings,
            line,
            target=wanted,
            light=Light.parse(light) if isinstance(light, str) else light,
            grounds=grounds,
            most_coats=most_coats,
        )

    def simplify(
        self,
        formula: Recipe | str,
        *,
        every_ground: bool = False,
        light: Light | str | None = None,
        **rules: Unpack[RuleOptions],
    ) -> Simplification:
        """Find few-toner recipes that give a many-toner formula's predicted colour.

        Parameters
        ----------
        formula
            A recipe or its line; parts may be decimals or percentages.
        every_ground
            Hold over every ground at once, by the worst of them.
        light
            Where they are to look alike; the shelf's own if None.
        **rules
            As for `match`; two toners at most if nothing else is said.

        Raises
        ------
        FewtoneError
            The formula does not parse, or names what the shelf does not have.
        """
        from fewtone.workshop.look.simplify import parse_formula, simplify

        line = parse_formula(formula) if isinstance(formula, str) else formula
        under = Light.parse(light) if isinstance(light, str) else light
        return simplify(
            self.curves, self.settings, line, every_ground=every_ground, light=under, **rules
        )

    def sheet(
        self,
        recipe: Recipe | str,
        *,
        target: TargetLike | None = None,
        light: Light | str | None = None,
        deck: Path | None = None,
        tolerance: float | None = None,
        date: datetime.date | None = None,
        **amount: Unpack[SheetOptions],
    ) -> Sheet:
        """Gather a page to print and pin up; ``.html()`` of it is the page.

        Parameters
        ----------
        recipe, target, light, deck, tolerance
            As `Shelf.check` takes them.
        date
            The day on the page; today if None.
        **amount
            How much to mix, see `fewtone.report.content.SheetOptions`.

        Raises
        ------
        FewtoneError
            The recipe, the target or an amount cannot be used.
        """
        from fewtone.report.content import sheet

        line = parse(recipe) if isinstance(recipe, str) else recipe
        wanted = None if target is None else self.target(target, light=light, deck=deck)
        under = Light.parse(light) if isinstance(light, str) else light
        return sheet(
            self.curves,
            self.settings,
            line,
            target=wanted,
            light=under,
            tolerance=tolerance,
            date=date,
            cautions=self.cautions,
            amount=amount,
        )

    def picture(self, kind: Literal["svg", "png"] = "svg") -> bytes:
        """Draw toners, reach and residuals; needs ``fewtone[pictures]``, else FewtoneError."""
        from fewtone.io.readings import load_readings
        from fewtone.report.pictures import PictureKind, shelf_picture

        known = load_readings(self.folder, self.settings)
        return shelf_picture(self.settings, self.curves, known, PictureKind(kind))
