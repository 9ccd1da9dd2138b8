"""Which bottles are needed: the fewest toners, then grounds, that still reach so much of a deck.

Model
    With x for toners and y for grounds (0 or 1), and z for the use of a pair c = (toners, ground)
    by a swatch s (from 0 to 1):

        sum of z_sc over the pairs of s <= 1,   sum of all z >= the swatches wanted,
        sum of z_sc over the pairs of s that have toner t <= x_t,   likewise y_g for grounds.

    With x and y whole, the largest z are whole too, so that only x and y need be. Summing over the
    pairs of a swatch that share a bottle binds much closer than a row for each pair would: half a
    bottle then reaches a swatch by half, not by half in each of its pairs. Swatches with the same
    pairs are one that counts so often.

Order
    Fewest toners first; of these fewest grounds; of these the most swatches. Each is one integer
    programme, solved by HiGHS through `scipy.optimize.milp` to a gap of nothing; its dual bound is
    told. Sets that tie in all three are not told apart: one of them is given.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from fewtone.errors import Fault, UsageError
from fewtone.match.rules import Rules
from fewtone.typing import FloatArray

if TYPE_CHECKING:
    from scipy.sparse import csr_array

__all__ = ["Loss", "Needed", "Pair", "needed"]

Pair = tuple[tuple[str, ...], str]
"""Toners and a ground that reach a swatch together."""

_LONGEST_S = 120.0  # of each of the three programmes
_SLACK = 1e-6  # of what a solver takes for whole


@dataclass(frozen=True, slots=True)
class Loss:
    """How many swatches are out of reach without a toner or ground that the shelf has."""

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
    losses: tuple[Loss, ...]

    @property
    def proven(self) -> bool:
        """Whether the bounds are met."""
        return self.toners is None or (
            len(self.toners) == self.least_toners
            and self.grounds is not None
            and len(self.grounds) == self.least_grounds
        )


def needed(supports: Iterable[Iterable[Sequence[Any]]], percent: float, rules: Rules) -> Needed:
    """Find the fewest toners and grounds that reach `percent` of a deck.

    Parameters
    ----------
    supports
        For each swatch, the pairs of toners and ground that reach it, as
        `fewtone.match.supports.supports_within` finds them: none where it is out of reach.
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
        return Needed(percent, total, reachable, None, None, reachable, 0, 0, tuple(losses))
    programme = _Programme(swatches, rules, wanted)
    least_toners = programme.least("toners")
    least_grounds = programme.least("grounds")
    programme.most_reached()
    toners, grounds = programme.chosen
    return Needed(
        percent,
        total,
        reachable,
        toners,
        grounds,
        sum(
            count
            for pairs, count in swatches.items()
            if any(set(t) <= set(toners) and g in grounds for t, g in pairs)
        ),
        least_toners,
        least_grounds,
        tuple(losses),
    )


def _lost(swatches: Counter[frozenset[Pair]], toner: str) -> int:
    return sum(count for pairs, count in swatches.items() if all(toner in t for t, _ in pairs))


class _Programme:
    """The integer programme; each call of `least` holds what it finds for those after it.

    Its variables are toners, grounds and uses, swatch by swatch, in this order.
    """

    def __init__(self, swatches: Counter[frozenset[Pair]], rules: Rules, wanted: int) -> None:
        self.uses = [sorted(pairs) for pairs in swatches]
        pairs = {pair for each in self.uses for pair in each}
        self.toners = tuple(t for t in rules.toners if any(t in pair[0] for pair in pairs))
        self.grounds = tuple(dict.fromkeys(ground for _, ground in sorted(pairs)))
        self.first_ground = len(self.toners)
        self.first_use = self.first_ground + len(self.grounds)
        self.size = self.first_use + sum(map(len, self.uses))
        counts = [
            count for count, uses in zip(swatches.values(), self.uses, strict=True) for _ in uses
        ]
        self.matrix, self.most = self._rows()
        self.reach = self._row(range(self.first_use, self.size), np.array(counts, dtype=np.float64))
        # Rows that must hold, each with its least and its most.
        self.held: list[tuple[FloatArray, float, float]] = [(self.reach, wanted, np.inf)]
        self.solution: FloatArray | None = None

    def least(self, what: str) -> int:
        """Find the fewest toners or grounds, hold them, and return the bound on their number."""
        span = range(self.first_ground) if what == "toners" else self._ground_span
        row = self._row(span, np.ones(len(span)))
        bound = self._solve(row)
        least_count = round(float(row @ self._solved))
        self.held.append((row, 0.0, float(least_count)))
        return math.ceil(bound - _SLACK)

    def most_reached(self) -> None:
        """Of what is held, find what reaches the most."""
        self._solve(-self.reach)

    @property
    def chosen(self) -> tuple[tuple[str, ...], tuple[str, ...]]:
        """The toners and grounds of the last solution."""
        there = self._solved > 0.5
        return (
            tuple(t for t, kept in zip(self.toners, there, strict=False) if kept),
            tuple(
                g for g, kept in zip(self.grounds, there[self.first_ground :], strict=False) if kept
            ),
        )

    @property
    def _ground_span(self) -> range:
        return range(self.first_ground, self.first_use)

    @property
    def _solved(self) -> FloatArray:
        assert self.solution is not None
        return self.solution

    def _row(self, span: range, values: FloatArray) -> FloatArray:
        row = np.zeros(self.size)
        row[list(span)] = values
        return row

    def _rows(self) -> tuple[csr_array, FloatArray]:
        """A row for each swatch and each of its bottles, and the most that each row may be."""
        from scipy.sparse import csr_array

        column_of = {("toner", name): i for i, name in enumerate(self.toners)}
        column_of |= {
            ("ground", name): self.first_ground + i for i, name in enumerate(self.grounds)
        }
        cells: list[tuple[int, int, float]] = []
        most: list[float] = []
        use = self.first_use
        for pairs in self.uses:
            cells += [(len(most), use + i, 1.0) for i in range(len(pairs))]
            most.append(1.0)
            users: dict[int, list[int]] = {}
            for use_column, (toners, ground) in enumerate(pairs, start=use):
                for bottle in (*(("toner", name) for name in toners), ("ground", ground)):
                    users.setdefault(column_of[bottle], []).append(use_column)
            for bottle_column, use_columns in users.items():
                cells += [(len(most), use_column, 1.0) for use_column in use_columns]
                cells.append((len(most), bottle_column, -1.0))
                most.append(0.0)
            use += len(pairs)
        row, column, value = (np.array(part) for part in zip(*cells, strict=True))
        return csr_array((value, (row, column)), shape=(len(most), self.size)), np.array(most)

    def _solve(self, cost: FloatArray) -> float:
        """Solve for the least cost; return the dual bound."""
        from scipy.optimize import Bounds, LinearConstraint, milp

        whole = np.zeros(self.size, dtype=np.int64)
        whole[: self.first_use] = 1
        held = np.array([row for row, _, _ in self.held])
        limits = [(low, high) for _, low, high in self.held]
        solution = milp(
            cost,
            integrality=whole,
            bounds=Bounds(0.0, 1.0),
            constraints=[
                LinearConstraint(self.matrix, -np.inf, self.most),
                LinearConstraint(held, *(list(ends) for ends in zip(*limits, strict=True))),
            ],
            options={"mip_rel_gap": 0.0, "time_limit": _LONGEST_S},
        )
        if solution.x is not None:
            self.solution = np.asarray(solution.x)
        elif self.solution is None:
            # Out of time before anything was found: all there is reaches enough.
            self.solution = np.ones(self.size)
        return float(solution.mip_dual_bound if solution.mip_dual_bound is not None else 0.0)
