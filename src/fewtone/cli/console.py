"""What the commands print: results to standard output, cautions and errors to standard error.

A result is a sequence of parts (`Heading`, `Framed`, `Grid`, lines of text) that know nothing of
terminals; `out` shows them as the reader's terminal can: with blocks of colour where it has them,
in the width it has, or with ``--plain`` as lines of words alone. Nothing is told by colour alone.
"""

from __future__ import annotations

import io
import shutil
import sys
import textwrap
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, TextIO, TypeAlias

from fewtone.cli.door import to_stderr, to_stdout, write_document
from fewtone.cli.wording import in_options
from fewtone.errors import printable

if TYPE_CHECKING:
    from rich.console import Console, RenderableType
    from rich.text import Text

    from fewtone.errors import Fault
    from fewtone.report.json import Document
    from fewtone.report.swatches import Swatch

__all__ = [
    "SAFETY",
    "Framed",
    "Grid",
    "Heading",
    "Part",
    "out",
    "print_cautions",
    "print_document",
    "print_faults",
    "working",
]

SAFETY = (
    "Mixing and spraying can harm you: the products' safety data sheets, local code and licensed "
    "practice come first."
)

# Without a terminal nothing needs to wrap: long recipe lines stay whole in files and pipes.
_UNWRAPPED = 200
_MOST_COLUMNS = 100
_BLOCK = " " * 6
_FRAME_WIDTH, _FRAME_HEIGHT, _FRAME_EDGE = 12, 5, 3
_LONGEST_NAME = 32
_NOT_SHOWN = "*"
_NOT_SHOWN_NOTE = f"{_NOT_SHOWN} A screen cannot show this colour; the block is the nearest it can."
_ROUGH_NOTE = "This terminal has 256 colours, so the blocks are rough."


@dataclass(frozen=True, slots=True)
class Heading:
    """What to read first."""

    text: str


@dataclass(frozen=True, slots=True)
class Framed:
    """A prediction framed by its target, beside lines that say the same in words.

    Parameters
    ----------
    prediction, target
        The colours; without a target the prediction fills the block.
    lines
        What stands beside it.
    """

    prediction: Swatch
    target: Swatch | None
    lines: Sequence[str]


@dataclass(frozen=True, slots=True)
class Grid:
    """A quiet table.

    Parameters
    ----------
    columns
        Titles; those that begin with ``>`` are of figures and stand at the right.
    rows
        Cells: text, or a swatch, which needs no words because other cells say what it shows.
    """

    columns: Sequence[str]
    rows: Sequence[Sequence[str | Swatch]]


Part: TypeAlias = str | Heading | Framed | Grid


def print_document(document: Document) -> None:
    """One JSON document on standard output."""
    write_document(document, ascii_only=not _says_unicode())


def print_faults(faults: Iterable[Fault]) -> None:
    """Say what is wrong, where, and how to mend it."""
    for fault in faults:
        where = [fault.file] if fault.file else []
        if fault.row is not None:
            where.append(f"row {fault.row}")
        if fault.column:
            where.append(f"column {fault.column}" if fault.row is not None else fault.column)
        lines = [f"{', '.join(where)}: {fault.message}" if where else fault.message]
        if fault.value is not None and fault.value not in fault.message:
            lines.append(f"  It says: {fault.value}")
        if fault.fix:
            lines.append(f"  {fault.fix}")
        to_stderr("\n".join(_wrapped(printable(line.rstrip())) for line in lines) + "\n")


def print_cautions(cautions: Iterable[str]) -> None:
    """Say what should be known, on standard error."""
    for caution in cautions:
        to_stderr(_wrapped(printable(f"Note: {in_options(caution)}")) + "\n")


def out(*parts: Part, plain: bool = False) -> None:
    """Print to standard output; text stays text, never markup.

    Parameters
    ----------
    *parts
        What to show, in order.
    plain
        As lines of words alone, for screen readers and for other programs' eyes.
    """
    if plain:
        lines = "\n".join(_in_words(line) for part in parts for line in _plain(part))
        to_stdout(_spoken(lines) + "\n")
        return
    drawn = io.StringIO()
    console = _console(drawn)
    blocks = _shows_blocks(console)
    for part in parts:
        for renderable in _rendered(part, blocks):
            console.print(renderable, markup=False, highlight=False)
    if blocks:
        swatches = [swatch for part in parts for swatch in _swatches(part)]
        if swatches and console.color_system == "256":
            console.print(_ROUGH_NOTE, highlight=False)
        if not all(swatch.shown for swatch in swatches):
            console.print(_NOT_SHOWN_NOTE, highlight=False)
    to_stdout(drawn.getvalue())


@contextmanager
def working(what: str, *, quiet: bool = False) -> Iterator[None]:
    """Show on the terminal's standard error that work goes on, once it takes more than a second.

    Parameters
    ----------
    what
        What is done, such as ``Learning``.
    quiet
        Never show anything.
    """
    if quiet or not _on_terminal(sys.stderr):
        yield
        return
    import threading

    done = threading.Event()

    def show() -> None:
        if done.wait(1.0):
            return
        from rich.console import Console
        from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

        columns = (TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn())
        with Progress(*columns, console=Console(stderr=True), transient=True) as progress:
            progress.add_task(what, total=None)
            done.wait()

    watcher = threading.Thread(target=show, daemon=True)
    watcher.start()
    try:
        yield
    finally:
        done.set()
        watcher.join()


def _console(drawn: io.StringIO) -> Console:
    """A console that draws into text what standard output can show."""
    from rich.console import Console

    real = Console()
    width = _UNWRAPPED
    if real.is_terminal and _on_terminal(sys.stdout):
        width = min(real.width, _MOST_COLUMNS)  # longer lines are hard to follow
    return Console(
        file=drawn,
        width=width,
        force_terminal=real.is_terminal,
        color_system=real.color_system,  # type: ignore[arg-type]  # one of those it takes
        no_color=real.no_color,
    )


def _shows_blocks(console: Console) -> bool:
    """Whether colours come out near enough to be looked at."""
    return console.color_system in ("truecolor", "256") and not console.no_color


def _rendered(part: Part, blocks: bool) -> Iterator[RenderableType]:
    from rich.text import Text

    def text(line: str, style: str = "") -> Text:
        return Text(_spoken(line), style=style)

    if isinstance(part, str):
        yield text(part)
    elif isinstance(part, Heading):
        yield text(part.text, "bold")
    elif isinstance(part, Framed):
        yield from _framed(part, blocks)
    else:
        yield _table(part, blocks)


def _framed(part: Framed, blocks: bool) -> Iterator[RenderableType]:
    from rich.padding import Padding
    from rich.table import Table
    from rich.text import Text

    lines = [Text(_spoken(line)) for line in part.lines]
    if not blocks:
        yield from (Padding(line, (0, 0, 0, 2), expand=False) for line in lines)
        return
    table = Table.grid(padding=(0, 1, 0, 0))
    table.add_column(no_wrap=True, width=_FRAME_WIDTH + len(_NOT_SHOWN))
    table.add_column()
    table.add_row(Text("\n").join(_frame(part)), Text("\n").join(lines))
    yield table


def _frame(part: Framed) -> list[Text]:
    from rich.text import Text

    inner, outer = f"on {part.prediction.hex}", f"on {(part.target or part.prediction).hex}"
    mark = "" if all(swatch.shown for swatch in _swatches(part)) else _NOT_SHOWN
    height = min(max(3, len(part.lines)), _FRAME_HEIGHT)
    edge = (" " * _FRAME_EDGE, outer)
    whole = Text.assemble((" " * _FRAME_WIDTH, outer))
    middle = Text.assemble(edge, (" " * (_FRAME_WIDTH - 2 * _FRAME_EDGE), inner), edge)
    return [whole, Text.assemble(middle, mark), *[middle] * (height - 3), whole]


def _table(part: Grid, blocks: bool) -> RenderableType:
    from rich.box import SIMPLE_HEAD
    from rich.table import Table
    from rich.text import Text

    kept = [i for i in range(len(part.columns)) if blocks or not _is_of_swatches(part, i)]
    table = Table(box=SIMPLE_HEAD, pad_edge=False, show_edge=False, collapse_padding=True)
    for i in kept:
        title = part.columns[i]
        of_figures = title.startswith(">")
        table.add_column(
            Text(_spoken(title.removeprefix(">"))),
            justify="right" if of_figures else "left",
            no_wrap=of_figures or _is_of_swatches(part, i) or _is_of_names(part, i),
            overflow="fold",
        )
    for row in part.rows:
        table.add_row(*(_cell(row[i]) for i in kept))
    return table


def _is_of_names(part: Grid, column: int) -> bool:
    """Whether a column holds single words that are short enough to stay whole."""
    cells = [row[column] for row in part.rows]
    return all(
        isinstance(cell, str) and " " not in cell and len(cell) <= _LONGEST_NAME for cell in cells
    )


def _cell(cell: str | Swatch) -> Text:
    from rich.text import Text

    if isinstance(cell, str):
        return Text(_spoken(cell))
    return Text.assemble((_BLOCK, f"on {cell.hex}"), " " if cell.shown else _NOT_SHOWN)


def _plain(part: Part) -> Iterator[str]:
    if isinstance(part, str):
        yield part
    elif isinstance(part, Heading):
        yield part.text
    elif isinstance(part, Framed):
        yield from part.lines
    else:
        titles = [title.removeprefix(">") for title in part.columns]
        for row in part.rows:
            cells = [
                f"{title} {cell}".strip()
                for title, cell in zip(titles, row, strict=True)
                if isinstance(cell, str) and cell
            ]
            yield "; ".join(cells)


def _swatches(part: Part) -> Iterator[Swatch]:
    if isinstance(part, Framed):
        yield part.prediction
        if part.target is not None:
            yield part.target
    elif isinstance(part, Grid):
        yield from (cell for row in part.rows for cell in row if not isinstance(cell, str))


def _is_of_swatches(part: Grid, column: int) -> bool:
    return any(not isinstance(row[column], str) for row in part.rows)


def _spoken(text: str) -> str:
    """Text with what standard output cannot show put into words."""
    text = printable(text)
    if _says_unicode():
        return text
    encoding = getattr(sys.stdout, "encoding", None) or "ascii"
    return _in_words(text).encode(encoding, "backslashreplace").decode(encoding)


def _in_words(text: str) -> str:
    return text.replace("ΔE00", "Delta E 00")


def _says_unicode() -> bool:
    encoding = getattr(sys.stdout, "encoding", None) or "ascii"
    return encoding.lower().replace("-", "").startswith("utf")


def _on_terminal(stream: TextIO | None) -> bool:
    return stream is not None and not stream.closed and stream.isatty()


def _wrapped(line: str) -> str:
    """A line broken between words where standard error is a terminal."""
    if not _on_terminal(sys.stderr):
        return line
    width = min(shutil.get_terminal_size().columns, _MOST_COLUMNS)
    return textwrap.fill(line, width, subsequent_indent="  ", break_on_hyphens=False)
