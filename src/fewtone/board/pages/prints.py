"""The sheet and the label, to be printed: the pages that `sheet` and `label` write."""

from __future__ import annotations

import base64
import hashlib
import re

from starlette.responses import HTMLResponse, Response

from fewtone.board.visit import Visit
from fewtone.errors import UsageError
from fewtone.report.sheet import SheetOptions

__all__ = ["label", "sheet"]

_STYLE = re.compile(r"<style>(.*?)</style>", re.DOTALL)


def sheet(visit: Visit) -> Response:
    """The page to print and pin up."""
    recipe = visit.recipe
    if recipe is None:
        raise UsageError("There is no recipe to print.")
    amount: SheetOptions = {}
    if volume := visit.query.get("volume", "").strip():
        amount["volume"] = volume
    if area := visit.query.get("area", "").strip():
        amount["area"] = area
    page = visit.shelf.sheet(recipe, target=visit.target, tolerance=visit.tolerance, **amount)
    return _printed(page.html())


def label(visit: Visit) -> Response:
    """The sticker for the cup."""
    recipe = visit.recipe
    if recipe is None:
        raise UsageError("There is no recipe to print.")
    return _printed(
        visit.shelf.label(recipe, name=visit.query.get("name", visit.ticket.job)).html()
    )


def _printed(html: str) -> Response:
    """A page that carries its style within itself: that style is let through, and nothing else."""
    allowed = " ".join(
        f"'sha256-{base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()}'"
        for style in _STYLE.findall(html)
    )
    policy = (
        f"default-src 'none'; style-src {allowed}; img-src data:; form-action 'none'; "
        "frame-ancestors 'none'; base-uri 'none'"
    )
    return HTMLResponse(html, headers={"Content-Security-Policy": policy})
