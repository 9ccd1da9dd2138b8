"""Which bottles are needed: the fewest toners, then grounds, that still reach so much of a deck.

Fewest toners first; of these fewest grounds; of these the most swatches. Each is an integer
programme (`fewtone.decks.hitting`), solved by HiGHS through `scipy.optimize.milp` to a gap of
nothing; its bound is told. Sets that tie in all three are not told apart: one of them is given.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from fewtone.decks.hitting import Hitting, Pair, Reached
from fewtone.errors import Fault, UsageError
from fewtone.recipes.rules import Rules

__all__ = ["Loss", "Needed", "needed"]

_LONGEST_S = 60.0  # of each of the three programmes


@dataclass(frozen=True, slots=True)
class Loss:
    """What is out of reach without a toner or ground that the shelf has.

    Parameters
    ----------
    name
        The toner or ground.
    swatches
        How many are out of reach without it.
    """

    name: str
    swatches: int


@dataclass(frozen=True, slots=True)
class Needed:
    """Which bottles reach so much of a deck.

    Parameters
    ----------
    percent
        What was asked for, of all swatches.
    swatches, reachable
        How many there are, and how many the whole shelf reaches.
    toners, grounds
        The fewest that do, in the shelf's order; None where the whole shelf does not.
    reached
        How many swatches they reach.
    least_toners, least_grounds
        Bounds: no fewer toners can do it, nor with that many toners fewer grounds.
    most_reached
        The other bound: no set of as many toners and grounds reaches more swatches.
    losses
        Each toner of the whole shelf by what its loss costs, the dearest first; of equal ones in
        the shelf's order.
    """

    percent: float
    swatches: int
    reachable: int
    toners: tuple[str, ...] | None
    grounds: tuple[str, ...] | None
    reached: int
    least_toners: int
    least_grounds: int
    most_reached: int
    losses: tuple[Loss, ...]

    @property
    def proven(self) -> bool:
        """Whether the bounds are met."""
        return self.toners is None or (
            len(self.toners) == self.least_toners
            and self.grounds is not None
            and len(self.grounds) == self.least_grounds
            and self.reached == self.most_reached
        )


def needed(supports: Iterable[Iterable[Sequence[Any]]], percent: float, rules: Rules) -> Needed:
    """Find the fewest toners and grounds that reach `percent` of a deck.

    Parameters
    ----------
    supports
        For each swatch, the pairs of toners and ground that reach it, as
        `fewtone.search.supports.supports_within` finds them: none where it is out of reach.
    percent
        How much of the deck [% of its swatches], above 0 to 100.
    rules
        Whose toners and grounds there are.

    Raises
    ------
    UsageError
        The percentage is none.
    """
    if not 0.0 < percent <= 100.0:
        raise UsageError(
            Fault(
                "The share of the deck must be a percentage above 0, up to 100.",
                fix="Write such as 90%.",
                value=f"{percent:g}",
            )
        )
    swatches = Counter(frozenset((tuple(t), str(g)) for t, g in pairs) for pairs in supports)
    total = swatches.total()
    unreached = swatches.pop(frozenset(), 0)
    reachable = total - unreached
    losses = sorted(
        (Loss(toner, _lost(swatches, toner)) for toner in rules.toners),
        key=lambda loss: -loss.swatches,
    )
    wanted = math.ceil(percent / 100.0 * total - 1e-9)
    if reachable < wanted or not reachable:
        return Needed(
            percent, total, reachable, None, None, reachable, 0, 0, reachable, tuple(losses)
        )
    pairs = {pair for uses in swatches for pair in uses}
    own_toners = [t for t in rules.toners if any(t in names for names, _ in pairs)]
    own_grounds = [g for g in rules.grounds if any(g == ground for _, ground in pairs)]
    counted = Reached(swatches, own_toners, own_grounds)
    programme = Hitting(counted, len(own_toners), len(own_grounds), wanted, _LONGEST_S)
    least_toners = programme.fewest(toners=True)
    least_grounds = programme.fewest(toners=False)
    is_most = programme.most()
    best = programme.best.tolist()
    toners = tuple(t for t, kept in zip(own_toners, best, strict=False) if kept)
    grounds = tuple(g for g, kept in zip(own_grounds, best[len(own_toners) :], strict=True) if kept)
    reached = int(counted.counts(programme.best[None])[0])
    return Needed(
        percent,
        total,
        reachable,
        toners,
        grounds,
        reached,
        least_toners,
        least_grounds,
        reached if is_most else reachable,
        tuple(losses),
    )


def _lost(swatches: Counter[frozenset[Pair]], toner: str) -> int:
    return sum(count for pairs, count in swatches.items() if all(toner in t for t, _ in pairs))
