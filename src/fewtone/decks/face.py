"""A deck from file to table or file: what `Shelf.deck` and `Shelf.write_deck` call."""

from __future__ import annotations

from concurrent.futures import Executor
from pathlib import Path
from typing import TYPE_CHECKING, Unpack

from fewtone.colorimetry import Light
from fewtone.decks.deck import Deck, Progress, answer_deck, answer_into
from fewtone.decks.runners import opened_runner
from fewtone.decks.swatch import COLUMNS, Question
from fewtone.errors import Fault, FewtoneError
from fewtone.io.targets import read_deck
from fewtone.model.curves import Curves
from fewtone.model.names import named_options
from fewtone.model.shelf import ShelfSettings
from fewtone.model.target import Target
from fewtone.prediction.keyed import with_keyed
from fewtone.recipes.rules import RuleOptions, Rules
from fewtone.tables import data_frame

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["DeckOptions", "WriteDeckOptions", "deck_table", "write_deck"]


class DeckOptions(RuleOptions, total=False):
    """What may be asked of a deck, besides what a recipe must keep.

    Parameters
    ----------
    light
        Of swatches that do not say otherwise; None for the shelf's.
    would_help
        Whether to say what would bring in swatches that are out of reach.
    workers
        Processes of this machine; None as `deck_table` and `write_deck` have it.
    executor, scheduler
        Where they run instead: an executor, or a scheduler's address.
    """

    light: Light | str | None
    would_help: bool
    workers: int | None
    executor: Executor | None
    scheduler: str | None


class WriteDeckOptions(DeckOptions, total=False):
    """What may be asked of a deck that is written to a file.

    Parameters
    ----------
    percent
        Of how much of the deck the fewest toners and grounds are found that still reach it [%];
        None for not at all.
    force
        Whether to write over what is there.
    progress
        Is called with how many swatches are answered, and how many there are.
    """

    percent: float | None
    force: bool
    progress: Progress | None


@named_options
def deck_table(
    curves: Curves,
    settings: ShelfSettings,
    deck: Path,
    *,
    light: Light | str | None = None,
    would_help: bool = True,
    workers: int | None = None,
    executor: Executor | None = None,
    scheduler: str | None = None,
    **rules: Unpack[RuleOptions],
) -> pd.DataFrame:
    """Match every swatch of a deck, a row for each.

    Parameters
    ----------
    curves, settings
        The learnt shelf.
    deck
        A CSV file or ``.xlsx`` workbook of swatches.
    light
        The light of swatches that do not say theirs; the shelf's own if None.
    would_help
        Whether to find out what would help where nothing is within tolerance, which takes most of
        the time.
    workers
        Processes of this machine; one if None. More need a script that may be imported, as all of
        `multiprocessing` does.
    executor
        Any `concurrent.futures.Executor` to answer on, in place of processes.
    scheduler
        The address of a Dask scheduler, in place of processes.
    **rules
        As `fewtone.recipes.rules.Rules.of` takes them.

    Raises
    ------
    FewtoneError
        The deck or a rule is wrong, or workers broke down.
    """
    question, targets = _asked(curves, settings, deck, light, rules, would_help=would_help)
    if executor is None and scheduler is None:
        workers = workers or 1
    with opened_runner(
        len(targets), workers=workers, executor=executor, scheduler=scheduler
    ) as runner:
        answers = answer_deck(question, targets, runner)
    return data_frame([answer["row"] for answer in answers])[list(COLUMNS)]


@named_options
def write_deck(
    curves: Curves,
    settings: ShelfSettings,
    deck: Path,
    out: Path,
    *,
    light: Light | str | None = None,
    would_help: bool = True,
    workers: int | None = None,
    executor: Executor | None = None,
    scheduler: str | None = None,
    percent: float | None = None,
    force: bool = False,
    progress: Progress | None = None,
    **rules: Unpack[RuleOptions],
) -> Deck:
    """Match every swatch of a deck into a CSV file, going on where an earlier run stopped.

    Parameters
    ----------
    curves, settings, deck, light, would_help, executor, scheduler, **rules
        As for `deck_table`.
    out
        The file, whose name ends in ``.csv``.
    workers
        Processes of this machine; one a core if None.
    percent
        Find the fewest toners and grounds that still reach so much of the deck [%].
    force
        Whether to write over what is there.
    progress
        Is called with how many swatches are answered, and how many there are.

    Raises
    ------
    FewtoneError
        As for `deck_table`; or the file exists, or cannot be written.
    """
    question, targets = _asked(
        curves, settings, deck, light, rules, would_help=would_help, supports=percent is not None
    )
    with opened_runner(
        len(targets), workers=workers, executor=executor, scheduler=scheduler
    ) as runner:
        return answer_into(
            question, targets, runner, out, force=force, percent=percent, progress=progress
        )


def _asked(
    curves: Curves,
    settings: ShelfSettings,
    deck: Path,
    light: Light | str | None,
    rules: RuleOptions,
    *,
    would_help: bool,
    supports: bool = False,
) -> tuple[Question, list[Target]]:
    """What is asked of each swatch, and the swatches."""
    measurement = settings.measurement
    under = Light.parse(light, measurement.light.observer) if isinstance(light, str) else light
    kept = Rules.of(settings, **rules)
    targets = list(read_deck(deck, measurement, under or measurement.light).values())
    if not targets:
        raise FewtoneError(
            Fault(
                "There is no swatch in this deck.",
                fix="Write one a row: number, L, a, b.",
                file=deck.name,
            )
        )
    # Keyed grounds that nobody has read are predicted once for all swatches.
    return Question(with_keyed(curves, kept.grounds), settings, kept, would_help, supports), targets
