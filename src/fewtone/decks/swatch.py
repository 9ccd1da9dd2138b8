"""One swatch against the shelf: what `match` answers, as a row of figures and words.

A process is handed the shelf and the rules once (`Question`), and answers swatch after swatch.
"""

from __future__ import annotations

import io
import pickle
import threading
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Any, TypeAlias

from fewtone.errors import Fault, FewtoneError
from fewtone.match.answer import match
from fewtone.match.result import Match, MatchResult
from fewtone.match.search import search
from fewtone.model.curves import Curves
from fewtone.model.shelf import ShelfSettings
from fewtone.model.target import Target
from fewtone.recipes.rules import Rules
from fewtone.search.listed import Lists
from fewtone.search.supports import supports_within
from fewtone.version import __version__

__all__ = ["COLUMNS", "Answer", "Question", "Row", "answer", "answer_packed", "row_of"]

Row: TypeAlias = dict[str, str | float | bool | None]
"""A row: text, numbers, truth, or None where there is nothing to tell."""

Answer: TypeAlias = dict[str, Any]
"""``row`` and, where asked for, ``supports``: toners and a ground that reach the swatch."""

_PICKS = ("headline", "simplest", "surest", "closest")
_FIGURES = ("L", "a", "b", "de00", "pass_probability", "unevenness")
COLUMNS = (
    "number",
    "name",
    "L",
    "a",
    "b",
    "light",
    "reached",
    *(column for pick in _PICKS for column in (pick, *(f"{pick}_{each}" for each in _FIGURES))),
    "miss_lightness",
    "miss_chroma",
    "miss_hue",
    "miss",
    "would_help",
)
"""The columns of a row, in order."""


@dataclass(frozen=True, slots=True, eq=False)
class Question:
    """What is asked of every swatch.

    Parameters
    ----------
    curves, settings
        The learnt shelf.
    rules
        What a recipe must keep.
    would_help
        Whether to find out what would help where nothing is within tolerance.
    supports
        Whether to find every set of toners, with its ground, that reaches the swatch.
    """

    curves: Curves
    settings: ShelfSettings
    rules: Rules
    would_help: bool = True
    supports: bool = False

    def packed(self) -> bytes:
        """The question as bytes, for another process or machine; `answer_packed` takes them."""
        out = io.BytesIO()
        _Pickler(out, protocol=5).dump((__version__, self))
        return zlib.compress(out.getvalue(), 1)


def answer(question: Question, target: Target, lists: Lists) -> Answer:
    """Answer for one swatch, exactly as `match` does.

    Parameters
    ----------
    question, target
        What is asked, of which swatch.
    lists
        What is kept from one swatch to the next.

    Raises
    ------
    FewtoneError
        No toner or no ground that the rules allow is learnt.
    """
    curves, settings, rules = question.curves, question.settings, question.rules
    if question.would_help:
        result = match(curves, settings, [target], rules, lists=lists)
    else:
        result = search(curves, settings, target, rules, lists=lists)
    answered: Answer = {"row": row_of(target, result)}
    if question.supports:
        answered["supports"] = supports_within(question.curves, target, question.rules)
    return answered


def answer_packed(packed: bytes, target: Target, shared: Path | None = None) -> Answer:
    """Answer for one swatch to a packed question, which is unpacked once in each process.

    Parameters
    ----------
    packed
        The question, pickled.
    target
        The swatch.
    shared
        A folder in which processes that are asked the same share what they list; None if each
        lists its own.

    Raises
    ------
    FewtoneError
        As `answer`; or the question comes from another version of fewtone.
    """
    with _lock:
        unpacked = _unpacked.get(packed)
        if unpacked is None:
            version, question = pickle.loads(zlib.decompress(packed))
            if version != __version__:
                raise FewtoneError(
                    Fault(
                        f"A worker has fewtone {__version__}, the one that asks {version}.",
                        fix="Install the same version on both.",
                    )
                )
            _unpacked.clear()  # one question at a time, so that memory stays flat
            unpacked = _unpacked[packed] = question, Lists(shared)
    question, lists = unpacked
    return answer(question, target, lists)


def row_of(target: Target, result: MatchResult) -> Row:
    """What a match answered about a swatch, as a row with `COLUMNS`."""
    miss = result.miss
    row: Row = {
        "number": target.request,
        "name": target.name,
        **dict(zip("Lab", (float(value) for value in target.lab), strict=True)),
        "light": str(target.light),
        "reached": miss is None,
    }
    for pick in _PICKS:
        row |= _pick_cells(pick, getattr(result, pick))
    return row | {
        "miss_lightness": None if miss is None else round(miss.lightness, 2),
        "miss_chroma": None if miss is None else round(miss.chroma, 2),
        "miss_hue": None if miss is None else round(miss.hue, 2),
        "miss": "" if miss is None else miss.words,
        "would_help": "" if miss is None else "; ".join(each.line for each in miss.would_help),
    }


def _pick_cells(pick: str, chosen: Match | None) -> Row:
    if chosen is None:
        return {pick: "", **{f"{pick}_{figure}": None for figure in _FIGURES}}
    figures = [round(float(value), 4) for value in chosen.lab]
    figures += [chosen.de00, chosen.pass_probability, chosen.unevenness]  # type: ignore[list-item]
    return {
        pick: str(chosen.recipe),
        **{f"{pick}_{name}": value for name, value in zip(_FIGURES, figures, strict=True)},
    }


_lock = threading.Lock()
_unpacked: dict[bytes, tuple[Question, Lists]] = {}


class _Pickler(pickle.Pickler):
    """Pickles read-only mappings too, which the standard one refuses."""

    def reducer_override(self, value: object) -> Any:
        """How read-only mappings come back."""
        if isinstance(value, MappingProxyType):
            return _read_only, (dict(value),)
        return NotImplemented


def _read_only(values: dict[Any, Any]) -> Mapping[Any, Any]:
    return MappingProxyType(values)
