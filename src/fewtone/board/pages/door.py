"""The first page: which shelf, a new one, the demo; and the way in for other devices."""

from __future__ import annotations

import re
from typing import Any

from starlette.responses import Response

from fewtone.api import new
from fewtone.board.safety import Refusal
from fewtone.board.visit import Visit
from fewtone.errors import FewtoneError
from fewtone.io.files import real_path

__all__ = ["choose", "devices", "invite", "make"]


def choose(visit: Visit) -> Response:
    """Show the shelves that there are; where there is one, go to it."""
    shelves = visit.bench.open_shelves()
    if len(shelves) == 1 and not visit.query.get("all"):
        (key,) = shelves
        return visit.go(f"/{key}/shelf")
    return _first_page(visit)


def make(visit: Visit) -> Response:
    """Make a shelf, to fill in or as a copy of the demo, as `new` does."""
    form = visit.form
    assert form is not None
    demo = form.get("what") == "demo"
    try:
        folder = visit.bench.new_folder("lamp-bench" if demo else form.get("name", ""))
        if demo:
            new(folder, demo=True)
        else:
            new(
                folder,
                toners=_names(form.get("toners", "")),
                solid=_names(form.get("solid", "")),
                metallic=_names(form.get("metallic", "")),
            )
    except FewtoneError as error:
        return _first_page(visit, error, dict(form))
    made = next(key for key, shelf in visit.bench.open_shelves().items() if shelf.folder == folder)
    return visit.go(f"/{made}/shelf")


def devices(visit: Visit) -> Response:
    """Show the code that lets one other device in; on this machine only."""
    _require_here(visit)
    address, code = visit.doors.way_in_from_outside(), visit.doors.code
    drawn = None
    if address is not None:
        import segno

        drawn = segno.make(address, error="m", micro=False).svg_data_uri(scale=6, border=4)
    shown = None if code is None else f"{code[:5]}-{code[5:]}"
    return visit.page("devices", address=visit.doors.lan_address, code=shown, picture=drawn)


def invite(visit: Visit) -> Response:
    """Make a new code; the one before is void."""
    _require_here(visit)
    visit.doors.new_code()
    return visit.go("/-/devices")


def _first_page(
    visit: Visit, error: FewtoneError | None = None, typed: dict[str, Any] | None = None
) -> Response:
    values = {
        "name": "",
        "toners": "",
        "solid": "white",
        "metallic": "silver",
        **(typed or {}),
    }
    return visit.page(
        "door",
        status=200 if error is None else 400,
        shelves={
            key: real_path(shelf.folder).name for key, shelf in visit.bench.open_shelves().items()
        },
        may_add=visit.bench.may_add,
        typed=values,
        faults=[] if error is None else visit.faults(error),
    )


def _names(text: str) -> list[str]:
    return [name for part in re.split(r"[,;\n]", text) if (name := part.strip())]


def _require_here(visit: Visit) -> None:
    """Refuse whoever may not let others in.

    Raises
    ------
    Refusal
        It is another device, or the board is open to this machine alone.
    """
    if visit.session is None or not visit.session.is_here or visit.doors.lan_address is None:
        raise Refusal(404, "There is no such page.")
