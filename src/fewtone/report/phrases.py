"""What answers come down to in a sentence, which commands and the board say alike."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from fewtone.model.blend import coats_text

if TYPE_CHECKING:
    from fewtone.match.result import Match, MatchResult
    from fewtone.workshop.panel.adjust import Adjustment
    from fewtone.workshop.pour.batch import Alternative

__all__ = ["advice_words", "alternative_options", "entry_words", "titled_picks"]


def titled_picks(result: MatchResult) -> list[tuple[str, Match]]:
    """The picks with what each is; one recipe that is several of them stands once."""
    from fewtone.match.picks import CLOSE

    least = min(match.de00 or 0.0 for match in (result.closest, *result.recipes))
    # What is within CLOSE of the least counts as equally close, and the simplest of it is picked.
    nearest = "closest" if result.closest.de00 == least else f"closest to within {CLOSE:g}"
    named = [
        ("simplest", result.simplest),
        ("surest", result.surest),
        (nearest, result.closest),
    ]
    if result.simplest is None and result.headline is not result.closest:
        named.insert(0, ("likeliest to pass", result.headline))
    titles: dict[str, tuple[list[str], Match]] = {}
    for name, pick in named:
        if pick is not None:
            titles.setdefault(str(pick.recipe), ([], pick))[0].append(name)
    return [(f"The {' and the '.join(names)}.", pick) for names, pick in titles.values()]


def alternative_options(other: Alternative) -> str:
    """What asks for another way to pour on the command line, such as ``--exact --by-weight``."""
    options = (("--exact", other.exact), ("--by-weight", other.by_weight))
    return " ".join(option for option, is_asked in options if is_asked)


def advice_words(result: Adjustment) -> str:
    """What to do after a panel."""
    coats = coats_text(result.after.recipe.coats)
    if result.passes:
        return f"The panel passes: leave the mix as it is, {coats}."
    if result.advice == "stop":
        return f"Leave the mix as it is: {coats} for the work and the next panel."
    if result.advice == "coats":
        return f"Give the work and the next panel {coats}; add nothing."
    return f"Add to the mix, then give {coats}. A cleared panel takes no more colour: spray afresh."


def entry_words(kind: str, data: Mapping[str, Any]) -> str:
    """What an entry of a job says.

    Parameters
    ----------
    kind
        One of `fewtone.jobs.job.KINDS`.
    data
        What the entry says.
    """
    if kind == "note":
        return f"note: {data.get('text', '')}"
    if kind == "ended":
        return f"ended: {data.get('how', '')}"
    more = ""
    if kind == "recipe" and data.get("de00") is not None:
        more = f", predicted at ΔE00 {data['de00']:.2f}"
    if kind == "panel":
        more = f", read {'; '.join(str(reading) for reading in data.get('readings', ()))}"
    if kind == "batch" and data.get("total_ml") is not None:
        more = f", {data['total_ml']:g} ml"
    if kind == "adjustment":
        more = f", advice: {data.get('advice', '')}"
    return f"{kind}: {data.get('recipe', '')}{more}"
