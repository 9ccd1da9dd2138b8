"""The Python face: a `Shelf` whose verbs are the commands of the same names.

Each verb is one call into the house below; the heavy rooms are entered only when a verb needs
them, so that loading a shelf stays quick.
"""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias, Unpack

from fewtone.colorimetry import Light
from fewtone.io.curves import load_curves
from fewtone.io.readings import READINGS_FILE, readings_digest
from fewtone.io.settings import load_settings
from fewtone.io.targets import read_target
from fewtone.model.curves import Curves
from fewtone.model.recipe import Recipe, parse
from fewtone.model.shelf import ShelfSettings
from fewtone.model.target import Target

if TYPE_CHECKING:
    from fewtone.bench.batch import Batch, BatchOptions
    from fewtone.bench.check import Check
    from fewtone.bench.letdown import Letdown
    from fewtone.bench.simplify import Simplification
    from fewtone.io.instruments.take import Taken
    from fewtone.learning import FitReport
    from fewtone.match import MatchResult, RuleOptions
    from fewtone.predict import Prediction
    from fewtone.sheet.content import Sheet, SheetOptions

__all__ = ["Shelf", "TargetLike", "learn", "load", "new", "take"]

TargetLike: TypeAlias = Target | str | Sequence[float]


@dataclass(frozen=True, slots=True)
class Shelf:
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
        from fewtone.predict import predict

        wanted = Light.parse(light) if isinstance(light, str) else light
        lines = [parse(recipe) if isinstance(recipe, str) else recipe for recipe in recipes]
        return predict(self.curves, lines, wanted or self.settings.measurement.light)

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
        from fewtone.bench.check import check

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
            `fewtone.bench.batch.BatchOptions`.

        Raises
        ------
        FewtoneError
            The recipe or an amount cannot be used, or shelf.toml lacks what this needs.
        """
        from fewtone.bench.batch import batch

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
        from fewtone.bench.letdown import letdown

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
        from fewtone.bench.simplify import parse_formula, simplify

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
        recipe
            A recipe or its line.
        target, light, deck, tolerance
            As `Shelf.check` takes them.
        date
            The day on the page; today if None.
        **amount
            How much to mix, see `fewtone.sheet.content.SheetOptions`.

        Raises
        ------
        FewtoneError
            The recipe, the target or an amount cannot be used.
        """
        from fewtone.sheet.content import sheet

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


def load(folder: str | Path) -> Shelf:
    """Load a learnt shelf.

    Raises
    ------
    FewtoneError
        Its settings are wrong, or it is not learnt yet.
    """
    place = Path(folder)
    settings = load_settings(place)
    curves = load_curves(place)
    return Shelf(place, settings, curves, tuple(_cautions(place, settings, curves)))


def learn(folder: str | Path, *, leave_out: Sequence[str] = ()) -> FitReport:
    """Learn a shelf's curves from its readings and write them.

    Parameters
    ----------
    folder
        The shelf's folder.
    leave_out
        Panels that are not to count.

    Returns
    -------
    The report of the fit.

    Raises
    ------
    FewtoneError
        Settings or readings are wrong, too few, or the folder cannot be written to; the curves
        that were there stay as they were.
    """
    from fewtone.io.curves import save_curves
    from fewtone.io.readings import load_readings
    from fewtone.learning import estimate

    place = Path(folder)
    settings = load_settings(place)
    learnt = estimate(settings, load_readings(place, settings), leave_out=leave_out)
    save_curves(place, learnt.curves)
    return learnt.report


def new(
    folder: str | Path,
    *,
    demo: bool = False,
    toners: Sequence[str] = ("first-toner", "second-toner"),
    solid: Sequence[str] = ("white",),
    metallic: Sequence[str] = ("silver",),
) -> tuple[Path, ...]:
    """Write a shelf folder to fill in, or a copy of the demo shelf; return the files written.

    Raises
    ------
    FewtoneError
        Something is there already, a name cannot be used, or the folder cannot be written to.
    """
    from fewtone.io.starter import copy_demo_shelf, new_shelf

    if demo:
        return copy_demo_shelf(Path(folder))
    return new_shelf(Path(folder), toners=toners, solid=solid, metallic=metallic)


def take(
    folder: str | Path,
    file: str | Path,
    *,
    mode: str | None = None,
    light: Light | str | None = None,
    leave_out: Sequence[str] = (),
    force: bool = False,
    dry_run: bool = False,
) -> Taken:
    """Take an instrument's file, CxF3 or CGATS text, into a shelf's readings.

    Parameters
    ----------
    folder, file
        The shelf's folder and the instrument's file.
    mode
        Which measurement mode counts, such as ``M1``, if the file has several.
    light
        Illuminant and observer of the file's Lab, such as ``D50/2``, if it does not say.
    leave_out
        Names of samples that are not to count.
    force
        Whether readings that are there already may be replaced.
    dry_run
        Whether to find out what would be done, and write nothing.

    Returns
    -------
    Where each reading went.

    Raises
    ------
    FewtoneError
        The file cannot be used, or a sample's name says nothing here; nothing was written.
    """
    from fewtone.io.instruments.take import take as take_file

    under = Light.parse(light) if isinstance(light, str) else light
    return take_file(
        Path(folder),
        Path(file),
        mode=mode,
        light=under,
        leave_out=leave_out,
        force=force,
        dry_run=dry_run,
    )


def _cautions(folder: Path, settings: ShelfSettings, curves: Curves) -> list[str]:
    cautions = []
    if readings_digest(folder) != curves.readings_digest:
        cautions.append(
            f"{READINGS_FILE} has changed since this shelf was learnt: run `fewtone learn` to "
            "take the change in."
        )
    if curves.optics != settings.measurement.optics:
        cautions.append(
            "shelf.toml names another geometry or film index than this shelf was learnt with: "
            "run `fewtone learn` again."
        )
    unlearnt = [name for name in settings.toners if name not in curves.toners]
    if unlearnt:
        cautions.append(f"Not learnt yet, so never used: {', '.join(unlearnt)}.")
    return cautions
