"""``learnt.json``: what `learn` told of the curves beside it, for whoever opens them later.

It names its ``curves.csv`` by the SHA-256: beside other curves it says nothing. Nothing is
predicted from it, so a file that is missing or damaged costs no more than learning once more.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from fewtone.errors import FewtoneError
from fewtone.io.atomic import write_atomic
from fewtone.io.files import read_bytes

__all__ = ["LEARNT_FILE", "load_learnt", "save_learnt"]

LEARNT_FILE = "learnt.json"
FORMAT = 1
_LARGEST = 5_000_000  # bytes; thirty toners need some thousands
_OF = "curves_sha256"


def save_learnt(folder: Path, report: Mapping[str, Any], curves_text: bytes) -> None:
    """Write what was told of the curves of this text.

    Parameters
    ----------
    folder
        The shelf's folder.
    report
        The document of `learn`, with its ``cautions``.
    curves_text
        The ``curves.csv`` that it is of, whole.

    Raises
    ------
    FewtoneError
        The folder cannot be written to.
    """
    document = {"format": FORMAT, _OF: _digest(curves_text), "told": report}
    write_atomic(folder / LEARNT_FILE, json.dumps(document, indent=1, ensure_ascii=False) + "\n")


def load_learnt(folder: Path, curves_file: Path) -> dict[str, Any] | None:
    """What was told of the curves that stand there; None where that is not known.

    Parameters
    ----------
    folder
        The shelf's folder.
    curves_file
        Its ``curves.csv``.
    """
    try:
        curves_text = read_bytes(curves_file)
        document = json.loads(read_bytes(folder / LEARNT_FILE, _LARGEST))
    except (FewtoneError, ValueError, RecursionError):
        return None
    if (
        not isinstance(document, dict)
        or document.get("format") != FORMAT
        or document.get(_OF) != _digest(curves_text)
    ):
        return None
    report = document.get("told")
    return report if isinstance(report, dict) and _is_whole(report) else None


def _digest(text: bytes) -> str:
    return hashlib.sha256(text).hexdigest()


def _is_whole(report: Mapping[str, Any]) -> bool:
    """Whether all stands there that pages show, each of its kind."""
    try:
        _require(report, _number, ("readings", "panels", "median_de00"))
        _require(report, _texts, ("left_out", "added_panels", "spray_next", "cautions"))
        for toner in report["toners"].values():
            numbers = ("readings", "median_de00", "worst_de00", "left_out_de00", "data_share")
            _require(toner, _number, numbers)
            _require(toner, _text, ("worst_panel",))
            _require(toner, _flag, ("scatters",))
        for suspect in report["suspects"]:
            _require(suspect, _text, ("panel", "explanation"))
            _require(suspect, _number, ("left_out_de00",))
            _require(suspect, _flag, ("removable",))
            _require(suspect, _text_or_none, ("disagrees_with",))
        _require(report, _text_or_none, ("second_light",))
        steps, count = report["spray_next_de00"], len(report["spray_next"])
        coats, reasons = report["spray_next_coats"], report["spray_next_reasons"]
        return (
            all(map(_number, steps))
            and len(steps) == count + bool(steps)
            and all(_number(coat) for each in coats for coat in each)
            and all(map(_text_or_none, reasons))
            and len(coats) == len(reasons) == count
        )
    except (KeyError, TypeError, AttributeError):
        return False


def _require(
    entry: Mapping[str, Any], is_right: Callable[[Any], bool], keys: Sequence[str]
) -> None:
    for key in keys:
        if not is_right(entry[key]):
            raise KeyError(key)


def _number(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def _text(value: Any) -> bool:
    return isinstance(value, str)


def _text_or_none(value: Any) -> bool:
    return value is None or isinstance(value, str)


def _texts(value: Any) -> bool:
    return isinstance(value, list) and all(map(_text, value))


def _flag(value: Any) -> bool:
    return isinstance(value, bool)
