"""A board with a learnt demo shelf, opened in a browser, and all of its pages."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple
from urllib.parse import urlencode

from playwright.sync_api import BrowserContext, Page

from fewtone.board.safety import Doors

__all__ = ["BAD", "HELD", "LINE", "PAGES", "TARGET", "Open"]

LINE, TARGET = "2 peony + 1 poppy, 8:1, 6 coats over silver", "34.1,59.3,12.5"
HELD = urlencode({"recipe": LINE, "target": TARGET})
# Every page of a shelf, in each of its states.
PAGES = {
    "shelf": "shelf",
    "readings": "readings",
    "rows": "rows?panel=P014",
    "new rows": "rows",
    "ask": "ask",
    "answer": "ask?L=34.1&a=59.3&b=12.5",
    "versions": "ask?L=34.1&a=59.3&b=12.5&L2=35&a2=58&b2=13",
    "keyed": "ask?L=34.1&a=59.3&b=12.5&keyed=yes&max_toners=2",
    "out of reach": "ask?L=60&a=-90&b=30",
    "asked wrongly": "ask?L=60",
    "which recipe": "recipe",
    "recipe": f"recipe?{HELD}",
    "simplify": f"simplify?{HELD}",
    "compare": f"compare?{HELD}&beside=1+peony%2C+6%3A1%2C+4+coats+over+silver",
    "compare what": "compare",
    "reach": "reach?target=34.1,59.3,12.5&keyed=yes",
    "bottle": "bottle?recipe=1+peony%2C+6%3A1%2C+3+coats+over+white&L1=40&a1=55&b1=0",
    "take": "take",
    "pour": f"pour?{HELD}&volume=600",
    "pour more": f"pour?{HELD}&volume=610&way=exact&reducer=20",
    "which panel": "panel",
    "panel": f"panel?{HELD}&L1=37&a1=56&b1=11&left=350",
    "book": "book",
    "job": "job?job=hall+lamp",
    "no such job": "job?job=none",
}
BAD = "<script>alert(1)</script>"


class Open(NamedTuple):
    """A board on a learnt demo shelf, and a browser that came in."""

    doors: Doors
    context: BrowserContext
    folder: Path
    console: list[str]
    requests: list[str]

    @property
    def base(self) -> str:
        """The address of its shelf's pages."""
        return f"{self.doors.address}lamp-bench/"

    def page(self, path: str = "", *, width: int = 1000) -> Page:
        """A tab at a page of the shelf."""
        page = self.context.new_page()
        page.set_viewport_size({"width": width, "height": 800})
        page.goto(self.base + path)
        return page
