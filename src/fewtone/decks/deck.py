"""A whole deck: every swatch's row, written to a file that is whole or not there."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from fewtone.decks.needed import Needed, needed
from fewtone.decks.run import Runner
from fewtone.decks.summary import Summary
from fewtone.decks.swatch import COLUMNS, Answer, Question, Row
from fewtone.decks.unfinished import Unfinished, fingerprint
from fewtone.errors import Fault, FewtoneError, UsageError
from fewtone.io.atomic import refuse_to_overwrite, require_replaceable, write_atomic
from fewtone.io.table import inert
from fewtone.model.target import Target

__all__ = ["Deck", "Progress", "answer_deck", "answer_into", "csv_lines"]

Progress = Callable[[int, int], None]
"""Is told how many swatches are answered and how many there are, each time that changes."""


@dataclass(frozen=True, slots=True)
class Deck:
    """What became of a deck.

    Parameters
    ----------
    out
        The file with a row for each swatch.
    resumed
        How many swatches an earlier run had answered already.
    summary
        What the shelf reaches.
    needed
        Which bottles reach so much of it, where that was asked for.
    """

    out: Path
    resumed: int
    summary: Summary
    needed: Needed | None = None


def answer_deck(
    question: Question,
    targets: Sequence[Target],
    runner: Runner,
    progress: Progress | None = None,
) -> list[Answer]:
    """Answer every swatch of a deck, in memory; in the deck's order.

    Parameters
    ----------
    question
        What is asked of each.
    targets
        The swatches.
    runner
        What answers: `fewtone.decks.run.here`, or one of that module's others.
    progress
        Is told how far it is.
    """
    answers: dict[int, Answer] = {}
    for row, answer in runner(question, enumerate(targets)):
        answers[row] = answer
        if progress is not None:
            progress(len(answers), len(targets))
    return [answers[row] for row in range(len(targets))]


def answer_into(
    question: Question,
    targets: Sequence[Target],
    runner: Runner,
    out: Path,
    *,
    force: bool = False,
    percent: float | None = None,
    progress: Progress | None = None,
) -> Deck:
    """Answer every swatch of a deck into a CSV file.

    What is answered is kept beside it until it is whole; the same call goes on where an earlier one
    was stopped. Memory does not grow with the deck but by what its summary holds.

    Parameters
    ----------
    question, targets, runner, progress
        As for `answer_deck`.
    out
        The file; its name ends in ``.csv``.
    force
        Whether to write over what is there, and throw away what another run left unfinished.
    percent
        Find the fewest bottles that reach so much of the deck; the question must ask for supports.

    Raises
    ------
    FewtoneError
        The file exists or cannot be written, another run is writing it, or the question cannot be
        answered. What was answered so far is kept.
    """
    _check_name(out)
    require_replaceable(out)
    unfinished = Unfinished(out, fingerprint(question, targets), fresh=force)
    if not force and not unfinished.path.exists():
        refuse_to_overwrite([out])
    with unfinished:
        done = unfinished.done()
        # A run may have been stopped between writing its file and tidying up.
        whole = len(done) == len(targets) and out.is_file()
        if not force and not (whole and _holds(out, csv_lines(unfinished.answers()))):
            refuse_to_overwrite([out])
        resumed = len(done)
        if progress is not None:
            progress(resumed, len(targets))
        left = ((row, target) for row, target in enumerate(targets) if row not in done)
        count = resumed
        if resumed < len(targets):
            for row, answer in runner(question, left):
                unfinished.add([(row, answer)])
                count += 1
                if progress is not None:
                    progress(count, len(targets))
        write_atomic(out, csv_lines(unfinished.answers()))
        summary = Summary.of(answer["row"] for answer in unfinished.answers())
        error = None
        if percent is not None:
            supports = (answer["supports"] for answer in unfinished.answers())
            error = needed(supports, percent, question.rules)
        unfinished.remove()
    return Deck(out, resumed, summary, error)


def csv_lines(answers: Iterable[Answer]) -> Iterator[bytes]:
    """The rows as a CSV file, piece by piece; cells that a spreadsheet would run are inert.

    Parameters
    ----------
    answers
        In the order of the deck.
    """
    yield (",".join(COLUMNS) + "\n").encode()
    for answer in answers:
        line = io.StringIO()
        csv.writer(line, lineterminator="\n").writerow(_cells(answer["row"]))
        yield line.getvalue().encode("utf-8", "replace")


def _cells(row: Row) -> Iterator[str]:
    for column in COLUMNS:
        value = row[column]
        if value is None:
            yield ""
        elif isinstance(value, bool):
            yield str(value).lower()
        else:
            yield inert(value) if isinstance(value, str) else repr(value)


def _holds(file: Path, pieces: Iterable[bytes]) -> bool:
    """Whether a file's content is these pieces."""
    with file.open("rb") as held:
        return all(held.read(len(piece)) == piece for piece in pieces) and not held.read(1)


def _check_name(out: Path) -> None:
    if out.suffix.lower() != ".csv":
        raise UsageError(
            Fault(
                f"'{out.name}' is no file that a deck's rows can be written to: .csv is allowed.",
                fix="Name it like reached.csv.",
                value=str(out),
            )
        )
    if not out.parent.is_dir():
        raise FewtoneError(
            Fault(
                "The folder that the rows are to stand in does not exist.",
                fix="Make it first, or write them elsewhere.",
                value=str(out),
            )
        )
