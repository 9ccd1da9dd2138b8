"""A learnt shelf with its verbs, which are the commands of the same names.

Each verb is one call into the house below; the heavy rooms are entered only when a verb needs
them, so that loading a shelf stays quick.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal, Unpack

from fewtone.colorimetry import Light
from fewtone.io.targets import TargetLike, TargetOptions, read_deck, shelf_target, versions
from fewtone.model.blend import Number
from fewtone.model.curves import Curves
from fewtone.model.names import named_options
from fewtone.model.recipe import Recipe
from fewtone.model.shelf import ShelfSettings
from fewtone.model.target import Target

if TYPE_CHECKING:
    import pandas as pd

    from fewtone.decks import Deck
    from fewtone.decks.face import DeckOptions, WriteDeckOptions
    from fewtone.jobs import Again, Book, Job, KeptMatch
    from fewtone.match.result import MatchResult
    from fewtone.prediction.recipes import Prediction
    from fewtone.recipes.rules import RuleOptions
    from fewtone.report.label import Label
    from fewtone.report.sheet import Sheet, SheetOptions
    from fewtone.workshop.look.check import Check
    from fewtone.workshop.look.compare import Comparison
    from fewtone.workshop.look.letdown import Letdown
    from fewtone.workshop.look.reach import Reach
    from fewtone.workshop.look.simplify import Simplification
    from fewtone.workshop.panel.adjust import Adjustment, AdjustOptions
    from fewtone.workshop.panel.bottle import Bottle
    from fewtone.workshop.panel.readings import ReadingLike
    from fewtone.workshop.pour.batch import Batch, BatchOptions

__all__ = ["Shelf"]


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

    @property
    def reads_spectra(self) -> bool:
        """Whether its readings.csv has columns of wavelengths; not if it cannot be read."""
        from fewtone.io.readings import reads_spectra

        return reads_spectra(self.folder, self.settings)

    def over(self, recipes: Iterable[Recipe]) -> Curves:
        """The curves with the keyed grounds of these recipes, predicted where none was read."""
        keyed = [recipe.ground for recipe in recipes if "+" in recipe.ground]
        if not keyed:
            return self.curves
        from fewtone.prediction.keyed import with_keyed

        return with_keyed(self.curves, keyed)

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
        return self.settings.measurement.light_of(light)

    def _wanted(
        self, target: TargetLike | None, light: Light | str | None, deck: Path | None
    ) -> Target | None:
        """What was asked for, if anything."""
        return None if target is None else self.target(target, light=light, deck=deck)

    @named_options
    def target(self, target: TargetLike, **how: Unpack[TargetOptions]) -> Target:
        """Take what was asked for to numbers.

        Parameters
        ----------
        target
            A CIELAB triple, or text as on the command line: a triple, a hex colour, a Munsell
            notation, the path of a reading, a swatch's number or name.
        **how
            ``light``, its illuminant and observer, such as ``D50/2``; ``deck``, a CSV file or
            ``.xlsx`` workbook of swatches; ``geometry``, how it was read, such as ``di:8``: the
            shelf's own where not given; ``anyway`` lets another geometry through, with a caution.

        Raises
        ------
        FewtoneError
            It is no colour, the deck or file is wrong, or its geometry is not the shelf's.
        """
        return shelf_target(self.folder, self.settings, self.curves.wavelength_nm, target, **how)

    @named_options
    def predict(
        self, recipes: Recipe | str | Sequence[Recipe | str], *, light: Light | str | None = None
    ) -> Prediction:
        """Predict the colour of recipes, or of one, under a light, the shelf's own if None.

        Parameters
        ----------
        recipes
            A recipe or its line, or several.
        light
            Illuminant and observer of the Lab values; the shelf's own if None.

        Raises
        ------
        FewtoneError
            A recipe does not parse, or names a toner or ground that was not learnt.
        """
        from fewtone.prediction.recipes import predict

        several = [recipes] if isinstance(recipes, Recipe | str) else recipes
        lines = [self.settings.recipe(recipe) for recipe in several]
        under = self.light(light) or self.settings.measurement.light
        return predict(self.over(lines), lines, under, deviations=True)

    @named_options
    def match(
        self,
        target: TargetLike,
        *,
        light: Light | str | None = None,
        deck: Path | None = None,
        also: TargetLike | Sequence[TargetLike] = (),
        lights: Sequence[Light | str] = (),
        by_ground: bool = False,
        **rules: Unpack[RuleOptions],
    ) -> MatchResult:
        """Find the simplest, the surest and the closest recipe, and the trade-off between them.

        Parameters
        ----------
        target, light, deck
            As `Shelf.target` takes them.
        also
            Other versions of the same colour: recipes are then judged by the largest ΔE00 to any.
        lights
            Lights in all of which a spectrum is to be matched, by the largest ΔE00; without them
            the one that `target` is in.
        by_ground
            Also find the best recipe over each ground.
        **rules
            What a recipe must keep, see `fewtone.recipes.rules.RuleOptions`; the shelf's own where
            not given.

        Returns
        -------
        The answer; where nothing is within tolerance, with what would help.

        Raises
        ------
        FewtoneError
            The target is no colour, or a rule names what the shelf does not have.
        """
        from fewtone.match.answer import match
        from fewtone.recipes.rules import Rules

        targets = [self.target(t, light=light, deck=deck) for t in (target, *versions(also))]
        kept = Rules.of(self.settings, read=self.curves.grounds, **rules)
        under = [light for each in lights if (light := self.light(each)) is not None]
        return match(self.curves, self.settings, targets, kept, lights=under, by_ground=by_ground)

    @named_options
    def reach(
        self,
        *,
        target: TargetLike | None = None,
        light: Light | str | None = None,
        deck: Path | None = None,
        **rules: Unpack[RuleOptions],
    ) -> Reach:
        """Outline what the shelf can make over each ground, at each lightness.

        Parameters
        ----------
        target, light, deck
            As `Shelf.target` takes them; the target and the swatches of the deck are placed.
        **rules
            As for `match`: what may be used, and whether the grounds are keyed too.

        Raises
        ------
        FewtoneError
            A rule names what the shelf does not have, or a colour is in another light.
        """
        from fewtone.recipes.rules import Rules
        from fewtone.workshop.look.reach import reach

        wanted = None if target is None else self.target(target, light=light, deck=deck)
        measurement = self.settings.measurement
        under = wanted.light if wanted else self.light(light) or measurement.light
        swatches = () if deck is None else tuple(read_deck(Path(deck), measurement, under).values())
        kept = Rules.of(self.settings, read=self.curves.grounds, **rules)
        return reach(self.curves, kept, under, target=wanted, swatches=swatches)

    @named_options
    def deck(self, deck: str | Path, **how: Unpack[DeckOptions]) -> pd.DataFrame:
        """Match every swatch of a deck: a row for each, equal to what `match` answers.

        Parameters
        ----------
        deck
            A CSV file or ``.xlsx`` workbook: columns number, L, a, b, optional name and light.
        **how
            Rules as for `match`, and ``executor=E`` and the rest of
            `fewtone.decks.face.DeckOptions`. Unless these say otherwise, one process answers.

        Returns
        -------
        The columns `fewtone.decks.COLUMNS`, the rows in the order of the deck.

        Raises
        ------
        FewtoneError
            The deck is wrong, a rule names what the shelf does not have, or workers broke down.
        """
        from fewtone.decks.face import deck_table

        return deck_table(self.curves, self.settings, Path(deck), **how)

    @named_options
    def write_deck(
        self, deck: str | Path, out: str | Path, **how: Unpack[WriteDeckOptions]
    ) -> Deck:
        """Match every swatch of a deck into a CSV file, going on where an earlier run stopped.

        Parameters
        ----------
        deck
            As for `deck`.
        out
            The file, whose name ends in ``.csv``.
        **how
            As for `deck`, and the rest of `fewtone.decks.face.WriteDeckOptions`. Unless these say
            otherwise, one process a core answers.

        Returns
        -------
        What is reached, by hue and lightness, and the bottles that it takes.

        Raises
        ------
        FewtoneError
            As for `deck`; or the file exists, or cannot be written.
        """
        from fewtone.decks.face import write_deck

        return write_deck(self.curves, self.settings, Path(deck), Path(out), **how)

    @named_options
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

        return check(
            *self._asked(recipe),
            target=self._wanted(target, light, deck),
            light=self.light(light),
            tolerance=tolerance,
        )

    @named_options
    def compare(
        self,
        recipes: Sequence[Recipe | str],
        *,
        target: TargetLike | None = None,
        light: Light | str | None = None,
        deck: Path | None = None,
        tolerance: float | None = None,
    ) -> Comparison:
        """Look at recipes side by side: every ground and light, chance, unevenness, cost.

        Parameters
        ----------
        recipes
            Two or more recipes or their lines.
        target, light, deck
            As `Shelf.target` takes them; without a target the first recipe is the measure.
        tolerance
            ΔE00 that passes; the shelf's own if None.

        Raises
        ------
        FewtoneError
            Fewer than two recipes, or a recipe or the target cannot be used.
        """
        from fewtone.workshop.look.compare import compare

        lines = [self.settings.recipe(recipe) for recipe in recipes]
        return compare(
            self.over(lines),
            self.settings,
            lines,
            target=self._wanted(target, light, deck),
            light=self.light(light),
            tolerance=tolerance,
        )

    @named_options
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

        return batch(*self._asked(recipe), **how)

    @named_options
    def letdown(
        self,
        recipe: Recipe | str,
        *,
        target: TargetLike | None = None,
        light: Light | str | None = None,
        deck: Path | None = None,
        grounds: Sequence[str] | None = None,
        most_coats: int | None = None,
        tolerance: float | None = None,
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
        tolerance
            ΔE00 that passes; the shelf's own if None.

        Raises
        ------
        FewtoneError
            The recipe, the target, a ground or the coats cannot be used.
        """
        from fewtone.workshop.look.letdown import letdown

        line = self.settings.recipe(recipe)
        if grounds is not None:
            grounds = self.settings.ground_names.require(grounds)
        curves = self.over([line, *(line.with_(ground=name) for name in grounds or ())])
        return letdown(
            curves,
            self.settings,
            line,
            target=self._wanted(target, light, deck),
            light=self.light(light),
            grounds=grounds,
            most_coats=most_coats,
            tolerance=tolerance,
        )

    @named_options
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

        settings = self.settings
        line = parse_formula(formula, settings) if isinstance(formula, str) else formula
        return simplify(
            self.over([line]),
            self.settings,
            line,
            every_ground=every_ground,
            light=self.light(light),
            **rules,
        )

    @named_options
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
            How much to mix, see `fewtone.report.sheet.SheetOptions`.

        Raises
        ------
        FewtoneError
            The recipe, the target or an amount cannot be used.
        """
        from fewtone.report.sheet import sheet

        return sheet(
            *self._asked(recipe),
            target=self._wanted(target, light, deck),
            light=self.light(light),
            tolerance=tolerance,
            date=date,
            cautions=self.cautions,
            amount=amount,
            spectrum=self.reads_spectra,
        )

    @named_options
    def keep_job(
        self,
        book: Book,
        name: str,
        *,
        target: TargetLike,
        recipe: Recipe | str | None = None,
        note: str | None = None,
        light: Light | str | None = None,
        deck: Path | None = None,
        tolerance: float | None = None,
    ) -> Job:
        """Open a job in a book: what was asked, and the recipe that was chosen.

        Parameters
        ----------
        book
            The job book.
        name
            What the job is to go by; it must be new.
        target, light, deck
            As `Shelf.target` takes them.
        recipe
            The recipe or its line; None if none is chosen yet.
        note
            A note to keep with it.
        tolerance
            ΔE00 that passes; the shelf's own if None.

        Raises
        ------
        FewtoneError
            The target or recipe cannot be used, there is such a job, or the book cannot be written.
        """
        from fewtone.io.curves import CURVES_FILE
        from fewtone.jobs import keep_job

        line = None if recipe is None else self.settings.recipe(recipe)
        curves = self.curves if line is None else self.over([line])
        wanted = self.target(target, light=light, deck=deck)
        text = (self.folder / CURVES_FILE).read_bytes()
        kept = (curves, self.settings, wanted, line, text)
        return keep_job(book, name, *kept, note=note, tolerance=tolerance)

    @named_options
    def kept_matches(
        self, target: TargetLike, tolerance: float | None = None, *, book: Book | None = None
    ) -> list[KeptMatch]:
        """Kept jobs that passed, and whose recipe is within tolerance of a target today.

        Parameters
        ----------
        target
            As `Shelf.target` takes it.
        tolerance
            ΔE00 that passes; the shelf's own if None.
        book
            The job book; the user's if None.

        Raises
        ------
        FewtoneError
            The target is no colour, or the book cannot be read.
        """
        from fewtone.jobs import Book, kept_matches

        passing = self.settings.mixing.tolerance if tolerance is None else tolerance
        jobs = (Book() if book is None else book).jobs()
        curves = self.over(job.recipe for job in jobs if job.recipe)
        return kept_matches(curves, self.settings, jobs, self.target(target), passing)

    @named_options
    def job_again(self, job: Job) -> Again:
        """Predict a job's recipe on today's curves and bottles, and say what to change.

        Parameters
        ----------
        job
            A job of this shelf, as a `fewtone.jobs.Book` gives it.

        Raises
        ------
        FewtoneError
            The job is of another shelf, has no recipe, or its toners are no longer learnt.
        """
        from fewtone.jobs import again

        return again(self.over([job.recipe] if job.recipe else []), self.settings, job)

    @named_options
    def label(
        self, recipe: Recipe | str, *, name: str = "", date: datetime.date | None = None
    ) -> Label:
        """Gather a small sticker for the cup; ``.html()`` and ``.pdf()`` of it are the page.

        Parameters
        ----------
        recipe
            A recipe or its line.
        name
            What the colour is called.
        date
            When it was mixed; today if None.

        Raises
        ------
        FewtoneError
            The recipe cannot be used.
        """
        from fewtone.report.label import label

        return label(*self._asked(recipe), name=name, date=date)

    @named_options
    def picture(self, kind: Literal["svg", "png"] = "svg") -> bytes:
        """Draw toners, reach and residuals.

        Parameters
        ----------
        kind
            ``svg`` or ``png``.

        Returns
        -------
        The picture's file, whole.

        Raises
        ------
        FewtoneError
            ``fewtone[pictures]`` is not installed, or the readings cannot be read.
        """
        from fewtone.io.readings import load_readings
        from fewtone.report.pictures import PictureKind, shelf_picture

        known = load_readings(self.folder, self.settings)
        return shelf_picture(self.settings, self.curves, known, PictureKind(kind))

    @named_options
    def adjust(
        self,
        recipe: Recipe | str,
        *,
        target: TargetLike,
        readings: Sequence[ReadingLike],
        earlier: Sequence[str | tuple[Recipe | str, Sequence[ReadingLike]]] = (),
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
            CIELAB triples of the last panel, or text such as ``38.2,-18.4,9.7 at 2 coats``.
        earlier
            The job's panels before it, in order: each the recipe it was sprayed with and its
            readings, or text such as ``38.2,-18.4,9.7 of 2 marigold + 1 dusk, 6:1, 4 coats over
            silver``.
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
        from fewtone.workshop.panel.readings import earlier_panels

        wanted = self.target(target, light=light, deck=deck)
        return adjust(
            *self._asked(recipe),
            wanted,
            readings,
            reading_light=self.light(reading_light),
            earlier=earlier_panels(earlier, self.settings),
            **how,
        )

    @named_options
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
        from fewtone.workshop.panel.bottle import apply_bottle, bottle

        answer = bottle(
            *self._asked(recipe),
            readings,
            toner=toner,
            light=self.light(light),
            sprayed=sprayed,
            same_panel=same_panel,
        )
        return apply_bottle(answer, self.folder) if apply else answer

    @named_options
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

        return keep_readings(
            self.folder,
            self.settings,
            self.settings.recipe(recipe),
            read_panel(readings, self.settings.recipe(recipe), sprayed),
            self.light(light) or self.settings.measurement.light,
            panel=panel,
            date=datetime.date.today().isoformat(),
        )
