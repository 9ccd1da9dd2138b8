"""A real browser without a window, and pages to look at with it."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, sync_playwright

from lamp_shelf import write_lamp_shelf

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
