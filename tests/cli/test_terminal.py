"""What a person sees in a terminal: colour where it has it, words where it has not."""

from __future__ import annotations

import os
import pty
import struct
import subprocess
import sys
import termios
from collections.abc import Mapping
from fcntl import ioctl
from pathlib import Path

import pyte
import pytest

import fewtone
from fewtone.cli import console
from lamp_shelf import write_lamp_shelf

RECIPE = "2 marigold + 1 dusk, 6:1, 4 coats over silver"
TARGET = "36,-8,28"
COMMANDS = {
    "match": ("match", TARGET, "--max-toners", "2"),
    "check": ("check", RECIPE, "--target", TARGET),
    "letdown": ("letdown", RECIPE, "--target", TARGET),
    "batch": ("batch", RECIPE, "--volume", "600ml"),
    "simplify": ("simplify", f"{RECIPE}", "--tolerance", "2"),
}
COLOURS = {"TERM": "xterm-256color", "COLORTERM": "truecolor"}
ROWS = 200


@pytest.fixture(scope="module")
def shelf(tmp_path_factory: pytest.TempPathFactory) -> str:
    """A learnt lamp bench."""
    return str(write_lamp_shelf(tmp_path_factory.mktemp("terminal") / "lamp-bench"))


def terminal(
    *words: str,
    columns: int = 80,
    settings: Mapping[str, str] = COLOURS,
    code: str = "from fewtone.cli import main; main()",
) -> tuple[pyte.Screen, str]:
    """Run a command in a real pseudo-terminal; what is then on it, and every byte it was sent."""
    ours, theirs = pty.openpty()
    ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", ROWS, columns, 0, 0))
    outside = ("NO_COLOR", "FORCE_COLOR", "COLUMNS", "LINES", "COLORTERM", "FEWTONE_PLAIN")
    kept = {name: value for name, value in os.environ.items() if name not in outside}
    received = b""
    with subprocess.Popen(
        [sys.executable, "-c", code, *words],
        stdin=theirs,
        stdout=theirs,
        stderr=theirs,
        env={**kept, **settings},
    ):
        os.close(theirs)
        while True:
            try:
                piece = os.read(ours, 65536)
            except OSError:  # the other side is closed
                break
            if not piece:
                break
            received += piece
    os.close(ours)
    screen = pyte.Screen(columns, ROWS)
    pyte.ByteStream(screen).feed(received)
    return screen, received.decode()


def lines_of(screen: pyte.Screen) -> list[str]:
    """The lines of the screen without what is empty below."""
    return "\n".join(line.rstrip() for line in screen.display).rstrip().split("\n")


def backgrounds(screen: pyte.Screen, line: int) -> list[str]:
    """The background of each cell of a line, as pyte names it."""
    return [screen.buffer[line][column].bg for column in range(screen.columns)]


@pytest.mark.parametrize("name", list(COMMANDS))
def test_words_stay_whole_on_80_columns(name: str, shelf: str) -> None:
    """No line breaks within a word: each word on 80 columns is a word on 200."""
    narrow, _ = terminal(*COMMANDS[name], "--shelf", shelf)
    wide, _ = terminal(*COMMANDS[name], "--shelf", shelf, columns=200)
    words = set(" ".join(lines_of(wide)).split())
    broken = [
        word
        for word in " ".join(lines_of(narrow)).split()
        if word not in words and not set(word) <= set("─")
    ]
    assert broken == []


@pytest.mark.parametrize("name", ["match", "check", "simplify"])
def test_the_recipe_comes_first_and_bold(name: str, shelf: str) -> None:
    """The first line is a recipe line, and nothing but headings is bold."""
    screen, _ = terminal(*COMMANDS[name], "--shelf", shelf)
    first = lines_of(screen)[0]
    assert str(fewtone.parse(first)) == first
    assert all(screen.buffer[0][column].bold for column in range(len(first)))


def test_the_prediction_stands_framed_by_the_target(shelf: str) -> None:
    """The block's edge is the target's colour and its middle the prediction's."""
    from fewtone.report.swatches import swatch

    screen, _ = terminal(*COMMANDS["check"], "--shelf", shelf)
    result = fewtone.load(shelf).check(RECIPE, target=TARGET)
    assert result.target is not None
    outer = swatch(result.target.lab, result.target.light).hex.removeprefix("#")
    inner = swatch(result.match.lab, result.light).hex.removeprefix("#")
    assert outer != inner
    top, *_, bottom = (backgrounds(screen, line)[:12] for line in range(1, 6))
    assert top == bottom == [outer] * 12
    for line in (2, 3, 4):
        assert backgrounds(screen, line)[:12] == [outer] * 3 + [inner] * 6 + [outer] * 3


def test_text_takes_the_terminals_own_colours(shelf: str) -> None:
    """No text sets a colour, so that it reads on a light and on a dark background."""
    for words in COMMANDS.values():
        screen, _ = terminal(*words, "--shelf", shelf)
        for line in range(len(lines_of(screen))):
            for cell in screen.buffer[line].values():
                if cell.data.strip():
                    assert (cell.fg, cell.bg) == ("default", "default"), cell


@pytest.mark.parametrize(
    ("settings", "blocks"),
    [
        ({"TERM": "xterm-256color", "COLORTERM": "truecolor"}, True),
        ({"TERM": "xterm-256color"}, True),
        ({"TERM": "xterm"}, False),
        ({"TERM": "dumb"}, False),
        ({"TERM": "xterm-256color", "COLORTERM": "truecolor", "NO_COLOR": "1"}, False),
    ],
)
def test_nothing_is_told_by_colour_alone(
    settings: dict[str, str], blocks: bool, shelf: str
) -> None:
    """Without colour the same figures and words stand there; only the blocks are gone."""
    screen, sent = terminal(*COMMANDS["letdown"], "--shelf", shelf, settings=settings)
    text = " ".join(" ".join(lines_of(screen)).split())
    assert ("\x1b[48;" in sent) == blocks
    full, _ = terminal(*COMMANDS["letdown"], "--shelf", shelf)
    expected = " ".join(" ".join(lines_of(full)).split())
    rough = " This terminal has 256 colours, so the blocks are rough."
    assert text.replace("─", "").replace(rough, "").split() == expected.replace("─", "").split()
    assert (rough in text) == (blocks and "COLORTERM" not in settings)


@pytest.mark.parametrize("name", list(COMMANDS))
def test_plain_is_lines_of_words(name: str, shelf: str) -> None:
    """`--plain` sends no escape, no line drawing and no sign that a voice would stumble over."""
    _, sent = terminal(*COMMANDS[name], "--plain", "--shelf", shelf)
    assert "\x1b" not in sent
    assert sent.isascii()
    assert "Delta E 00" in sent


def test_plain_can_be_kept(shelf: str) -> None:
    """FEWTONE_PLAIN does what `--plain` does, for who always wants it."""
    _, asked = terminal(*COMMANDS["check"], "--plain", "--shelf", shelf)
    _, kept = terminal(
        *COMMANDS["check"], "--shelf", shelf, settings={**COLOURS, "FEWTONE_PLAIN": "1"}
    )
    assert asked == kept


def test_a_colour_that_no_screen_shows_is_marked(shelf: str) -> None:
    """Its block has a star, and a line says what that means."""
    words = ("check", "lagoon, 4:1, 6 coats over brass", "--shelf", shelf)
    assert not _shown(shelf)
    screen, _ = terminal(*words)
    text = "\n".join(lines_of(screen))
    assert "* A screen cannot show this colour" in text
    without, _ = terminal(*words, settings={"TERM": "dumb"})
    assert "A screen cannot show" not in "\n".join(lines_of(without))


def _shown(shelf: str) -> bool:
    from fewtone.report.swatches import swatch

    result = fewtone.load(shelf).check("lagoon, 4:1, 6 coats over brass")
    return swatch(result.match.lab, result.light).shown


def test_a_bar_shows_after_a_second() -> None:
    """What takes longer says so on standard error, and clears it away; what is quick does not."""
    code = (
        "import time; from fewtone.cli.console import working\n"
        "with working('Learning'): time.sleep({})\n"
        "print('done')"
    )
    for seconds, said in ((0.2, False), (1.5, True)):
        screen, sent = terminal(code=code.format(seconds))
        assert ("Learning" in sent) == said
        assert lines_of(screen) == ["done"]


def test_without_a_terminal_no_bar_is_shown(capsys: pytest.CaptureFixture[str]) -> None:
    """Logs stay clean."""
    with console.working("Learning"):
        pass
    assert capsys.readouterr().err == ""


@pytest.mark.parametrize("encoding", ["cp1252", "ascii", "latin-1"])
def test_a_screen_without_greek_gets_words(
    encoding: str, shelf: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """What the output cannot encode is said in words, or escaped, and never a fault."""
    file = tmp_path / "out.txt"
    for words in ((), ("--json",), ("--plain",)):
        with file.open("w", encoding=encoding) as out:
            monkeypatch.setattr(sys, "stdout", out)
            with pytest.raises(SystemExit) as ended:
                fewtone_main([*COMMANDS["check"], *words, "--shelf", shelf])
        monkeypatch.undo()
        assert ended.value.code == 0
        text = file.read_text(encoding=encoding)
        assert "Delta E 00" in text or "--json" in words


def fewtone_main(words: list[str]) -> None:
    """The command line in this process."""
    from fewtone.cli import main

    main(words)


@pytest.mark.parametrize(
    ("words", "absent"),
    [
        (("--version",), ("numpy", "rich", "jinja2", "scipy", "matplotlib")),
        ((*COMMANDS["check"],), ("jinja2", "scipy", "matplotlib", "weasyprint", "colour")),
        ((*COMMANDS["match"],), ("jinja2", "matplotlib", "weasyprint", "colour")),
        ((*COMMANDS["check"], "--plain"), ("rich.console", "rich.table", "jinja2")),
        ((*COMMANDS["check"], "--json"), ("rich.console", "rich.table", "jinja2")),
    ],
)
def test_nothing_heavy_is_imported_to_answer(
    words: tuple[str, ...], absent: tuple[str, ...], shelf: str
) -> None:
    """What draws pages and pictures stays out of commands that do not, rich out of plain ones."""
    code = (
        "import sys\nfrom fewtone.cli import main\n"
        "try: main()\nexcept SystemExit: pass\n"
        f"print('imported', sorted(set({absent}) & set(sys.modules)))"
    )
    place = () if words == ("--version",) else ("--shelf", shelf)
    done = subprocess.run(
        [sys.executable, "-c", code, *words, *place], capture_output=True, text=True, check=True
    )
    assert done.stdout.splitlines()[-1] == "imported []"


def test_a_table_breaks_no_name_at_80_columns() -> None:
    """A long name stands whole beside columns of figures; a text of words gives way instead."""
    import io

    from rich.console import Console

    name = "a-toner-of-quite-a-long-name"
    words = "a panel that reads as if it had been sprayed over another ground"
    figures = [f">{title}" for title in ("readings", "off", "worst", "told")]
    grid = console.Grid(("toner", *figures, "why"), [(name, "10", "0.02", "0.10", "99%", words)])
    written = io.StringIO()
    Console(width=80, file=written).print(console._table(grid, blocks=False))
    lines = written.getvalue().splitlines()
    assert max(map(len, lines)) <= 80
    assert any(name in line for line in lines)
    for word in words.split():
        assert any(word in line.split() for line in lines)
