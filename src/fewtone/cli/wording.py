"""The library speaks of parameters, the command line of options: from one to the other."""

from __future__ import annotations

import re
from dataclasses import replace

from fewtone.errors import Fault

__all__ = ["in_options", "with_options"]

# The parameters that messages name, and the options that they come from.
_OPTIONS = {
    "anyway": "--anyway",
    "address": "--address",
    "area": "--area",
    "add_rows": "--add-rows",
    "book": "--book",
    "by_weight": "--by-weight",
    "coats": "--coats",
    "deck": "--deck",
    "earlier": "--earlier",
    "exact": "--exact",
    "extra": "--extra",
    "force": "--force",
    "geometry": "--geometry",
    "ground_volume": "--ground-volume",
    "grounds": "--ground",
    "keyed": "--keyed",
    "leave_out": "--leave-out",
    "left": "--left",
    "light": "--light",
    "lights": "--lights",
    "max_part": "--max-part",
    "max_toners": "--max-toners",
    "medium_parts": "--letdown",
    "mode": "--mode",
    "port": "--port",
    "reading_light": "--reading-light",
    "readings": "--reading",
    "reducer": "--reducer",
    "room": "--room",
    "rounding": "--rounding",
    "rows_for": "--for",
    "shelf": "--shelf",
    "scheduler": "--scheduler",
    "sprayed": "--sprayed",
    "tolerance": "--tolerance",
    "toner": "--toner",
    "top": "--top",
    "use": "--use",
    "use_up": "--from",
    "volume": "--volume",
    "workers": "--workers",
    "without": "--without",
}
_NAMED = re.compile(r"`([a-z_]{1,40})`")


def in_options(text: str) -> str:
    """Return `text` with the parameters that it names as options: "`max_part`" as "--max-part"."""
    return _NAMED.sub(lambda match: _OPTIONS.get(match[1], match[0]), text)


def with_options(fault: Fault) -> Fault:
    """Return `fault` with its message and fix as `in_options` gives them."""
    return replace(
        fault,
        message=in_options(fault.message),
        fix=None if fault.fix is None else in_options(fault.fix),
    )
