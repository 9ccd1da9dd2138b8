"""How the other commands work on a job of the book, with ``--job NAME``."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from fewtone.cli import options

if TYPE_CHECKING:
    from pathlib import Path

    from fewtone.jobs import Book, Job
    from fewtone.jobs.again import KeptMatch
    from fewtone.model.target import Target
    from fewtone.shelf import Shelf

__all__ = ["Work", "kept_matches", "kept_words", "work_on"]


@dataclass(frozen=True, slots=True)
class Work:
    """What a command works on.

    Parameters
    ----------
    recipe
        The recipe or its line.
    target
        What was asked for; None where nothing was said.
    book, job
        The book and the job; both None without ``--job``.
    """

    recipe: str
    target: str | Target | None
    book: Book | None = None
    job: Job | None = None

    def note_down(self, *entries: tuple[str, dict[str, Any]]) -> None:
        """Add entries, each a kind and what it says, to the job, if there is one."""
        with self.noting() as note:
            note(*entries)

    @contextmanager
    def noting(self) -> Iterator[Callable[..., None]]:
        """Do something and note it in the job at once: the job says nothing if that fails.

        What is yielded takes entries as `note_down` does.
        """
        if self.book is None or self.job is None:
            yield lambda *_: None
            return
        from fewtone.jobs import Entry

        with self.book.adding(self.job.name) as add:
            yield lambda *entries: add(*(Entry(kind, data) for kind, data in entries))

    @property
    def earlier(self) -> list[str]:
        """The job's panels so far, as `adjust` takes earlier ones."""
        panels = () if self.job is None else self.job.panels
        return [
            f"{' and '.join(panel.data['readings'])} of {panel.data['recipe']}" for panel in panels
        ]


def work_on(
    loaded: Shelf, recipe: str | None, target: str | None, job: str | None, book: Path | None
) -> Work:
    """What is worked on: the recipe and target as said, else those of the job.

    Raises
    ------
    UsageError
        No recipe was said, and no job.
    FewtoneError
        There is no such job, it is of another shelf, or no recipe was kept with it.
    """
    if job is None:
        if recipe is None:
            raise options.usage_error(
                "Say the recipe, or the job that it stands in.",
                'Write such as "2 marigold + 1 dusk, 6:1, 4 coats over silver", or --job NAME.',
                "",
            )
        return Work(recipe, target)
    from fewtone.jobs import Book, of_shelf

    held = Book(book)
    kept = of_shelf(held.job(job), loaded.settings)
    line = recipe if recipe is not None else str(kept.chosen)
    return Work(line, kept.target if target is None else target, held, kept)


def kept_matches(
    loaded: Shelf, target: Target, tolerance: float, book: Path | None
) -> list[KeptMatch]:
    """Kept jobs of this shelf that passed, and whose recipe still answers to this target."""
    # Nothing of the book is imported where none was ever kept.
    from fewtone.io.places import default_book

    path = default_book() if book is None else book
    if not path.exists():
        return []
    from fewtone.jobs import Book

    return loaded.kept_matches(target, tolerance, book=Book(path))


def kept_words(kept: KeptMatch) -> str:
    """One line about a job that was kept."""
    return (
        f"Sprayed before: {kept.job.name} ({kept.job.opened[:10]}), {kept.match.recipe}, today "
        f"ΔE00 {kept.match.de00:.2f}."
    )
