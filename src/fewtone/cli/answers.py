"""Parts of an answer that `match` and `simplify` show alike; every recipe is shown once."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fewtone.cli.console import Grid, Part
    from fewtone.colorimetry import Light
    from fewtone.match.result import KeyingProposal, Match, MatchResult, Metamerism, Standing

__all__ = [
    "help_parts",
    "keying_parts",
    "metamerism_words",
    "others_parts",
    "recipe_grid",
    "standing_words",
    "versions_parts",
]


def others_parts(result: MatchResult, light: Light) -> list[Part]:
    """The rest of the trade-off."""
    from fewtone.report.phrases import titled_picks

    shown = {str(pick.recipe) for _, pick in titled_picks(result)}
    others = [match for match in result.recipes if str(match.recipe) not in shown]
    if not others:
        return []
    return ["Others, simplest first:", "", recipe_grid(others, light), ""]


def versions_parts(result: MatchResult) -> list[Part]:
    """How far versions of a colour are apart, and which of them the shelf reaches."""
    lines: list[Part] = []
    for number, version in enumerate(result.versions, start=1):
        others = [f"{off:.2f}" for off in version.apart if off is not None]
        apart = f", ΔE00 to each of them {', '.join(others)}" if len(others) > 1 else ""
        best = version.best
        reached = "reached with" if best.in_tolerance else "not reached; nearest"
        passes = "" if best.pass_probability is None else f", {best.pass_probability:.0%} pass"
        lines += [
            f"  {number}. {version.name}{apart}",
            f"     {reached} {best.recipe}",
            f"     ΔE00 {best.de00:.2f}{passes}",
        ]
    return ["Each version by itself:", *lines, ""] if lines else []


def standing_words(standing: Standing) -> str:
    """How a recipe stands to one of several aims."""
    chance = standing.pass_probability
    passes = "" if chance is None else f", {chance:.0%} of fresh panels pass"
    return f"{standing.name} ΔE00 {standing.de00:.2f}{passes}"


def metamerism_words(left: Sequence[Metamerism]) -> str:
    """How far a match of a spectrum parts in other lights, on one line."""
    figures = ", ".join(f"{each.light} {each.index:.1f}" for each in left)
    return f"Metamerism left, from {left[0].reference} to {figures} (ΔE*ab, ISO 18314-4)"


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


# What a claim is called, and its figure of a recipe.
_CLAIMS = {
    "reach": "within tolerance at all",
    "chance": "passes more surely",
    "coats": "fewer coats",
    "unevenness": "more forgiving",
}


def keying_parts(result: MatchResult) -> list[Part]:
    """What keying the ground saves, and what to spray first."""
    keying = result.keying
    if keying is None:
        return []
    if not keying.proposals:
        return [
            f"Keying the ground saves nothing here: over none of {keying.grounds} mixes of two "
            "grounds a recipe passes more surely, takes fewer coats or forgives more than these.",
            "",
        ]
    parts: list[Part] = ["Over a keyed ground, next to all recipes above:", ""]
    for proposal in keying.proposals:
        parts += [f"  {proposal.match.recipe}", f"    {_claim_words(proposal)}"]
        parts.append(f"    Beside it: {proposal.beside.recipe}, {_figures(proposal.beside)}")
    first = keying.proposals[0].match.recipe
    return [
        *parts,
        "",
        f"Nobody has read {first.ground}: its colour is a guess until you do. First spray it bare, "
        "clear it and read it three times; then one strip over it. "
        f'`fewtone learn --add-rows --for "{first}"` writes the rows to fill in.',
        "",
    ]


def _claim_words(proposal: KeyingProposal) -> str:
    claims = ", ".join(_CLAIMS[claim] for claim in proposal.claims)
    now = proposal.chance_now
    guess = "" if now is None else f", {now:.0%} as things stand"
    return f"{claims}: {_figures(proposal.match)} once the ground is read{guess}"


def _figures(match: Match) -> str:
    chance = match.pass_probability
    passes = "" if chance is None else f", {chance:.0%} pass"
    return f"ΔE00 {match.de00:.2f}, unevenness {match.unevenness:.2f}{passes}"


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
