"""Make the pictures that README.md shows: a match in the terminal, a printed page, the board.

Everything in them comes out of the demo shelf, whose data are invented. It needs what the tests
need (``pip install -e '.[dev]'``) and Debian's Chromium:

    python examples/make_pictures.py
"""

from __future__ import annotations

import datetime
import fcntl
import io
import json
import os
import pty
import shutil
import struct
import subprocess
import sys
import tempfile
import termios
from pathlib import Path
from urllib.parse import urlencode

from playwright.sync_api import Browser, sync_playwright
from rich.console import Console
from rich.text import Text

import fewtone

EXAMPLES = Path(__file__).parent
TARGET, RECIPE = "34.1,59.3,12.5", "2 peony + 1 poppy, 8:1, 6 coats over silver"
DATE = datetime.date(2026, 3, 2)  # any day: the page says when it was made
COLUMNS, ROWS = 80, 100
FLAGS = ("--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-sync")
# Spans as blocks, so that swatches fill their lines as they do in a terminal.
TERMINAL = """<body style="margin: 0; background: #17181a; color: #e8e8e6">
<style>span {{ display: inline-block; height: 1.35em }}</style>
<pre style="margin: 18px 22px; font: 14px/1.35 'DejaVu Sans Mono', monospace">{code}</pre></body>"""


def main() -> None:
    """Learn the demo shelf, and photograph what it answers."""
    chromium = shutil.which("chromium")
    if chromium is None:
        sys.exit("Chromium is not installed.")
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        shelf_folder = Path(folder) / "lamp-bench"
        fewtone.new(shelf_folder, demo=True)
        fewtone.learn(shelf_folder)
        browser = playwright.chromium.launch(executable_path=chromium, args=list(FLAGS))
        photograph_terminal(browser, shelf_folder, EXAMPLES / "terminal.png")
        photograph_page(browser, shelf_folder, EXAMPLES / "sheet.png")
        photograph_board(browser, shelf_folder, EXAMPLES)
        browser.close()


def photograph_terminal(browser: Browser, shelf_folder: Path, picture: Path) -> None:
    """`fewtone match` on 80 columns of true colour."""
    sent = in_terminal("match", TARGET, "--max-toners", "2", "--shelf", str(shelf_folder))
    recorder = Console(
        record=True,
        width=COLUMNS,
        file=io.StringIO(),
        force_terminal=True,
        color_system="truecolor",
    )
    recorder.print(Text.from_ansi(f"$ fewtone match {TARGET} --max-toners 2\n\n{sent}"))
    page = browser.new_page(viewport={"width": 740, "height": 200}, device_scale_factor=1.5)
    page.set_content(recorder.export_html(inline_styles=True, code_format=TERMINAL))
    page.screenshot(path=picture, full_page=True)
    page.close()


def photograph_page(browser: Browser, shelf_folder: Path, picture: Path) -> None:
    """The page of the simplest recipe."""
    shelf = fewtone.load(shelf_folder)
    simplest = shelf.match(TARGET, max_toners=2).simplest
    assert simplest is not None
    html = shelf.sheet(simplest.recipe, target=TARGET, date=DATE).html()
    page = browser.new_page(viewport={"width": 830, "height": 200}, device_scale_factor=1.5)
    page.set_content(html)
    page.screenshot(path=picture, full_page=True)
    page.close()


def photograph_board(browser: Browser, shelf_folder: Path, folder: Path) -> None:
    """A recipe held on the board, and the amounts to pour on a tablet, as two pictures."""
    words = ("--shelf", str(shelf_folder), "--port", "0", "--no-browser", "--json")
    command = [sys.executable, "-c", "from fewtone.__main__ import main; main()", "board", *words]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as server:
        assert server.stdout is not None
        document = ""
        while not document.rstrip().endswith("}"):
            document += server.stdout.readline()
        address = json.loads(document)
        about = urlencode({"recipe": RECIPE, "target": TARGET})
        for name, query, width, height in (
            ("recipe", about, 1120, 1240),
            ("pour", f"{about}&volume=600", 820, 900),
        ):
            page = browser.new_page(viewport={"width": width, "height": height})
            page.goto(address["way_in"])
            page.goto(f"{address['address']}{shelf_folder.name}/{name}?{query}")
            page.screenshot(path=folder / f"board-{name}.png")
            page.close()
        server.terminate()


def in_terminal(*words: str) -> str:
    """What a command sends to a terminal."""
    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", ROWS, COLUMNS, 0, 0))
    colours = {"TERM": "xterm-256color", "COLORTERM": "truecolor"}
    sent = b""
    with subprocess.Popen(
        [sys.executable, "-c", "from fewtone.cli import main; main()", *words],
        stdin=theirs,
        stdout=theirs,
        stderr=subprocess.DEVNULL,
        env={**os.environ, **colours},
    ):
        os.close(theirs)
        while True:
            try:
                piece = os.read(ours, 65536)
            except OSError:  # the command has ended
                break
            if not piece:
                break
            sent += piece
    os.close(ours)
    return sent.decode().replace("\r\n", "\n")


if __name__ == "__main__":
    main()
