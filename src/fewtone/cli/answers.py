"""Parts of an answer that `match` and `simplify` show alike; every recipe is shown once."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fewtone.cli.console import Grid, Part
    from fewtone.colorimetry import Light
    from fewtone.match import Match, MatchResult

__all__ = ["help_parts", "others_parts", "recipe_grid", "titled_picks"]


def titled_picks(result: MatchResult) -> list[tuple[str, Match]]:
    """The picks with what each is; one recipe that is several of them stands once."""
    named = [
        ("simplest", result.simplest),
        ("surest", result.surest),
        ("closest", result.closest),
    ]
    if result.simplest is None and result.headline is not result.closest:
        named.insert(0, ("likeliest to pass", result.headline))
    titles: dict[str, tuple[list[str], Match]] = {}
    for name, pick in named:
        if pick is not None:
            titles.setdefault(str(pick.recipe), ([], pick))[0].append(name)
    return [(f"The {' and the '.join(names)}.", pick) for names, pick in titles.values()]


def others_parts(result: MatchResult, light: Light) -> list[Part]:
    """The rest of the trade-off."""
    shown = {str(pick.recipe) for _, pick in titled_picks(result)}
    others = [match for match in result.recipes if str(match.recipe) not in shown]
    if not others:
        return []
    return ["Others, simplest first:", "", recipe_grid(others, light), ""]


def help_parts(result: MatchResult) -> list[Part]:
    """What would help, each line with its recipe; nothing where something is within tolerance."""
    if result.miss is None:
        return []
    if not result.miss.would_help:
        return ["Nothing that was tried would bring it clearly nearer.", ""]
    lines: list[Part] = ["What would help:"]
    for help_ in result.miss.would_help:
        lines += [f"  {help_.line}", f"    {help_.match.recipe}"]
    return [*lines, ""]


def recipe_grid(matches: Iterable[Match], light: Light) -> Grid:
    """Recipes with their figures."""
    from fewtone.cli.console import Grid
    from fewtone.report.swatches import swatch

    matches = list(matches)
    sure = any(match.pass_probability is not None for match in matches)
    rows = []
    for match in matches:
        passing = "" if match.pass_probability is None else f"{match.pass_probability:.0%}"
        rows.append(
            (
                swatch(match.lab, light),
                str(match.recipe),
                f"{match.de00:.2f}",
                *((passing,) if sure else ()),
                f"{match.unevenness:.2f}",
            )
        )
    return Grid(("", "recipe", ">ΔE00", *((">passes",) if sure else ()), ">uneven"), rows)
