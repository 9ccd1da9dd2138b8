"""What a match answers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fewtone.colorimetry import Light
from fewtone.model.blend import Number
from fewtone.model.recipe import Recipe
from fewtone.model.target import Target
from fewtone.tables import data_frame, lab_columns
from fewtone.typing import FloatArray

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "Help",
    "Keying",
    "KeyingProposal",
    "Match",
    "MatchResult",
    "Metamerism",
    "Miss",
    "NewGround",
    "NewToner",
    "Proof",
    "Standing",
    "Version",
]


@dataclass(frozen=True, slots=True)
class Standing:
    """How a recipe stands to one of several aims.

    Parameters
    ----------
    name
        The aim: a ground, a version's name or how it was asked for.
    lab
        Predicted CIELAB over the aim's ground and in its light.
    de00
        ΔE00 to it, rounded to 1e-6.
    pass_probability
        Chance that a fresh panel reads within tolerance of it, rounded to 0.01; None where
        learning carries no uncertainty.
    """

    name: str
    lab: tuple[float, float, float]
    de00: float
    pass_probability: float | None


@dataclass(frozen=True, slots=True)
class Metamerism:
    """How far a recipe parts from a spectrum that was asked for when the light changes.

    Parameters
    ----------
    reference, light
        The light in which they are brought onto each other, and the one in which they part.
    index
        ΔE*ab there: the index of ISO 18314-4:2024, by ratios of X, Y, Z.
    """

    reference: Light
    light: Light
    index: float


@dataclass(frozen=True, slots=True, eq=False)
class Match:
    """A recipe with its predicted colour.

    Parameters
    ----------
    recipe
        The recipe.
    lab
        Predicted CIELAB, shape ``(3,)``.
    lab_sd
        Its standard deviation by curves and ground, shape ``(3,)``; None where learning carries
        none.
    de00
        ΔE00 to the target, rounded to 1e-6; None without a target.
    in_tolerance
        Whether `de00` is at or below the tolerance; None without a target.
    pass_probability
        Chance that a fresh panel reads within tolerance, rounded to 0.01; None where learning
        carries no uncertainty or there is no target.
    unevenness
        ΔE00 between the colour at 90 % and at 110 % of the film build, rounded to 0.01: lower is
        more forgiving.
    each
        How it stands to each of several aims; empty where there is one. `de00` is then the largest
        of them, `lab` is over the recipe's own ground in the first one's light, and
        `pass_probability` is None.
    pass_any
        Chance that a fresh panel reads within tolerance of at least one of several versions of a
        colour, of a spectrum in several lights in all of them, rounded to 0.01; None where aims are
        over several grounds.
    metamerism
        How far it parts from a spectrum in other lights; empty where no spectrum was asked for.
    """

    recipe: Recipe
    lab: FloatArray
    lab_sd: FloatArray | None
    de00: float | None
    in_tolerance: bool | None
    pass_probability: float | None
    unevenness: float
    each: tuple[Standing, ...] = ()
    pass_any: float | None = None
    metamerism: tuple[Metamerism, ...] = ()


@dataclass(frozen=True, slots=True)
class NewToner:
    """A toner that the shelf lacks: one bell-shaped band of absorption, clear.

    Parameters
    ----------
    peak_nm, width_nm
        Where it absorbs most and the bell's standard deviation [nm].
    strength
        Absorption optical depth there of one standard coat at unit volume fraction [1].
    hue
        What its colour would be called.
    """

    peak_nm: float
    width_nm: float
    strength: float
    hue: str


@dataclass(frozen=True, slots=True)
class NewGround:
    """A neutral ground that the shelf lacks.

    Parameters
    ----------
    lightness
        Its L* under clear without colour.
    """

    lightness: float


@dataclass(frozen=True, slots=True, eq=False)
class Help:
    """One thing that would bring a target nearer, with the recipe that does.

    Parameters
    ----------
    rule
        The rule that is loosened, as `fewtone.recipes.rules.Rules` names it, ``use`` for toners
        that were left out, or ``new_toner``, ``new_ground`` for what the shelf lacks.
    value
        What the recipe makes of it: so many toners, that letdown, the ground's name …
    match
        The recipe. Toners and grounds that the shelf lacks are named after the rule.
    words
        What would be done, such as ``with 3 toners``.
    """

    rule: str
    value: Number | str | NewToner | NewGround
    match: Match
    words: str

    @property
    def line(self) -> str:
        """The same with what it brings: ``with 3 toners: ΔE00 .86, 61 %``."""
        chance = self.match.pass_probability
        passes = "" if chance is None else f", {chance:.0%} pass"
        return f"{self.words}: ΔE00 {self.match.de00:.2f}{passes}"


@dataclass(frozen=True, slots=True)
class Miss:
    """How the closest recipe falls short when nothing is within tolerance.

    Parameters
    ----------
    lightness, chroma, hue
        ΔL*, ΔC*ab and ΔH*ab of the closest recipe, less the target.
    words
        The same as a painter would say it.
    would_help
        What would bring the target nearer, the likeliest to pass first; nothing that was proven
        not to, nor where it was not asked (`fewtone.match.help`).
    """

    lightness: float
    chroma: float
    hue: float
    words: str
    would_help: tuple[Help, ...] = ()


# The bounds that colours are cut by, in words.
_BOUNDS = {
    "whole supports": "no blend of their toners over their ground can come near enough",
    "ratios": "at no film of the blend can its colour come near enough",
    "loads": "their film is too thin or too thick for their blend",
    "colours": "their own smallest possible ΔE00 is too far",
}


@dataclass(frozen=True, slots=True)
class Proof:
    """What stands behind the picks.

    Parameters
    ----------
    admissible
        Recipes that the rules admit.
    colours
        Different colours among them: recipes of equal load have one.
    evaluated
        Colours that were worked out exactly.
    cut
        Colours that a bound showed to be unable to change the answer, by the bound that settled it:
        ``whole supports`` (toners over a ground), ``ratios`` (blends of them), ``loads`` (films of
        those), ``colours`` (one by one).
    proven
        Whether every colour was either worked out or cut by a bound.
    """

    admissible: int
    colours: int
    evaluated: int
    cut: tuple[tuple[str, int], ...] = ()
    proven: bool = True

    @property
    def lines(self) -> list[str]:
        """The proof in words, one line for each step."""
        lines = [
            f"The rules admit {self.admissible:,} recipes of {self.colours:,} different colours.",
            *(
                f"{count:,} are cut by a bound on {bound}: {_BOUNDS[bound]}."
                for bound, count in self.cut
                if count
            ),
            f"{self.evaluated:,} were worked out exactly.",
        ]
        if self.proven:
            lines.append("That is all of them, so the picks are proven to be the best.")
        return lines


@dataclass(frozen=True, slots=True, eq=False)
class Version:
    """One of several versions of a colour.

    Parameters
    ----------
    target
        The version.
    apart
        ΔE00 to every version in their order; None for one in another light.
    best
        What a match of this version alone says to spray first.
    """

    target: Target
    apart: tuple[float | None, ...]
    best: Match

    @property
    def name(self) -> str:
        """What it is called."""
        return self.target.name or self.target.request


@dataclass(frozen=True, slots=True, eq=False)
class KeyingProposal:
    """A recipe over a keyed ground that betters the recipes over the grounds alone.

    Parameters
    ----------
    claims
        What it does better: ``chance`` of passing, ``coats``, ``unevenness``; or ``reach``, being
        within tolerance where nothing over a ground alone is.
    match
        The recipe, with its chance of passing once its ground is read.
    chance_now
        Its chance as things stand, the ground being worked out from its parents if nobody has read
        it; None where learning carries no uncertainty.
    beside
        The best of the others by the first of the claims.
    """

    claims: tuple[str, ...]
    match: Match
    chance_now: float | None
    beside: Match


@dataclass(frozen=True, slots=True, eq=False)
class Keying:
    """What keying the ground saves.

    Parameters
    ----------
    proposals
        The recipes that save something; none if none does.
    grounds
        How many keyed grounds were searched.
    proof
        What stands behind that search.
    """

    proposals: tuple[KeyingProposal, ...]
    grounds: int
    proof: Proof


@dataclass(frozen=True, slots=True, eq=False)
class MatchResult:
    """The answer of a match.

    Parameters
    ----------
    simplest, surest, closest
        The picks; simplest and surest are None if nothing is within tolerance, surest too where
        learning carries no uncertainty.
    recipes
        The trade-off, simplest first.
    tolerance
        ΔE00 that passes.
    miss
        How the closest falls short; None if something is within tolerance.
    proof
        What stands behind the picks.
    grounds
        The best recipe over each ground, where that was asked for: the likeliest to pass first.
    versions
        The versions of the colour, where several were asked for, in that order.
    keying
        What keying the ground saves, where that was asked for.
    """

    simplest: Match | None
    surest: Match | None
    closest: Match
    recipes: tuple[Match, ...]
    tolerance: float
    miss: Miss | None
    proof: Proof
    grounds: tuple[Match, ...] = ()
    versions: tuple[Version, ...] = ()
    keying: Keying | None = None

    def to_frame(self) -> pd.DataFrame:
        """A row for each recipe of the answer, picks first, each recipe once.

        Columns ``pick`` (which picks it is, ``keyed`` for what keying the ground proposes, empty
        for the rest of the trade-off), ``recipe``, ``toners``, ``parts``, ``medium_parts``,
        ``coats``, ``ground``, ``L``, ``a``, ``b``, ``de00``, ``in_tolerance``,
        ``pass_probability``, ``unevenness``.
        """
        picks: dict[Recipe, list[str]] = {}
        for name in ("simplest", "surest", "closest"):
            match = getattr(self, name)
            if match is not None:
                picks.setdefault(match.recipe, []).append(name)
        keyed = [] if self.keying is None else [each.match for each in self.keying.proposals]
        picks |= {match.recipe: ["keyed"] for match in keyed}
        named = (self.simplest, self.surest, self.closest, *self.recipes, *self.grounds, *keyed)
        once = {match.recipe: match for match in named if match is not None}
        return data_frame(
            {
                "pick": " ".join(picks.get(recipe, ())),
                "recipe": str(recipe),
                "toners": len(recipe.blend),
                "parts": float(sum(recipe.blend.values())),
                "medium_parts": float(recipe.medium_parts),
                "coats": float(recipe.coats),
                "ground": recipe.ground,
                **lab_columns(match.lab),
                "de00": match.de00,
                "in_tolerance": match.in_tolerance,
                "pass_probability": match.pass_probability,
                "unevenness": match.unevenness,
            }
            for recipe, match in once.items()
        )

    @property
    def headline(self) -> Match:
        """What to spray first: the simplest, or out of reach the likeliest that is listed."""
        if self.simplest is not None:
            return self.simplest
        # Of equal chances, the closest.
        return max((self.closest, *self.recipes), key=lambda match: match.pass_probability or 0.0)
