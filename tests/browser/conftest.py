"""A real browser without a window, and pages to look at with it."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, sync_playwright

import fewtone
from browser.board_pages import BAD, LINE, TARGET, Open
from fewtone.jobs import Book
from lamp_shelf import write_lamp_shelf
from visitor import open_board

# Without a sandbox because tests may run as root; without what would ask for the network.
FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--force-color-profile=srgb",
)


def needed(found: bool, what: str) -> None:
    """Skip where something is not installed, but never on the machine that decides."""
    if not found:
        if os.environ.get("CI") == "true":
            pytest.fail(f"{what} is not installed")
        pytest.skip(f"{what} is not installed")


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """Debian's Chromium."""
    chromium = shutil.which("chromium")
    needed(chromium is not None, "chromium")
    with sync_playwright() as playwright:
        running = playwright.chromium.launch(executable_path=chromium, args=list(FLAGS))
        yield running
        running.close()


@pytest.fixture(scope="session")
def lamp_shelf(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A learnt lamp bench whose labels try to be markup."""
    folder = write_lamp_shelf(tmp_path_factory.mktemp("browser") / "lamp-bench")
    settings = folder / "shelf.toml"
    text = settings.read_text(encoding="utf-8")
    for label, instead in (
        ('"Marigold"', '"<script>alert(1)</script>"'),
        ('"Fine silver"', '"<img src=x onerror=alert(2)>"'),
        ('"Lamp bench"', "'Bench \"& <b>Söhne</b>'"),
    ):
        assert label in text
        text = text.replace(label, instead)
    settings.write_text(text, encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def board(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Open]:
    """Labels, the deck and a note try to be markup; one job is in the book."""
    root = tmp_path_factory.mktemp("board")
    folder = root / "toners" / "lamp-bench"
    fewtone.new(folder, demo=True)
    settings = folder / "shelf.toml"
    text = settings.read_text()
    for label in ('"Peony"', '"Fine silver"', '"Clear medium"'):
        assert label in text
        text = text.replace(label, f'"{BAD}"')
    settings.write_text(text)
    fewtone.learn(folder)
    deck = root / "deck.csv"
    deck.write_text(f"number,name,L,a,b\n1,{BAD},34.1,59.3,12.5\n2,Pond,51,-58,-6\n")
    shelf = fewtone.load(folder)
    book = Book(root / "book.db")
    shelf.keep_job(book, "hall lamp", target=TARGET, recipe=LINE, note=BAD)
    with open_board(root / "toners", book=book.path, deck=deck, lan="127.0.0.2") as doors:
        context = browser.new_context()
        console: list[str] = []
        requests: list[str] = []
        context.on("console", lambda message: console.append(message.text))
        context.on("weberror", lambda error: console.append(str(error.error)))
        context.on("dialog", lambda dialog: console.append(dialog.message))
        context.on("request", lambda request: requests.append(request.url))
        page = context.new_page()
        page.goto(doors.way_in)
        page.close()
        yield Open(doors, context, folder, console, requests)
        context.close()
