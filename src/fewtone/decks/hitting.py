"""The fewest bottles that reach enough: an integer programme whose rows are made as needed.

A set of bottles that reaches too little does so too if some are taken away. So what reaches enough
has one at least of the bottles that such a set lacks: a row over bottles alone. Rows of sets to
which nothing can be added (they would reach enough) bind the closest. The programme is solved with
the rows there are; if what it chooses reaches too little, that set is filled up to such sets, their
rows are added, and it is solved again. What it chooses is never more than all rows ask for, so its
dual bound is one for them, whenever it is stopped. This is the implicit hitting set approach of
Moreno-Centeno and Karp (Operations Research 61, 453, 2013).

Where the sets of one bottle less than the best has are few enough, all of them are counted first:
if none reaches enough, one row says that more bottles are needed, which settles it.
"""

from __future__ import annotations

import itertools
import math
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from typing import TypeAlias

import numpy as np

from fewtone.typing import BoolArray, FloatArray, IntArray

__all__ = ["Hitting", "Pair", "Reached"]

Pair: TypeAlias = tuple[tuple[str, ...], str]
"""Toners and a ground that reach a swatch together."""

# Sets of one size that are counted before the programme is first solved: all, if they are no more
# than the first; else so many of them, at random.
_ALL, _SOME = 3_000_000, 4096
_SLACK = 1e-6  # of what a solver takes for whole
_INFEASIBLE = 2  # what `scipy.optimize.milp` says of such a programme


class Reached:
    """How many swatches sets of bottles reach.

    Parameters
    ----------
    swatches
        How often each set of pairs is a swatch's; none is empty.
    toners, grounds
        The bottles: columns of every set, toners first.
    """

    def __init__(
        self, swatches: Counter[frozenset[Pair]], toners: Sequence[str], grounds: Sequence[str]
    ) -> None:
        columns: dict[tuple[str, str], int] = {("toner", name): i for i, name in enumerate(toners)}
        columns |= {("ground", name): len(toners) + i for i, name in enumerate(grounds)}
        pairs = sorted({pair for uses in swatches for pair in uses})
        index = {pair: i for i, pair in enumerate(pairs)}
        widest = 1 + max(len(names) for names, _ in pairs)
        # Short ones are filled up with a bottle that is always there.
        self._bottles = np.full((len(pairs), widest), len(columns))
        for row, (names, ground) in enumerate(pairs):
            bottles = [columns["ground", ground], *(columns["toner", name] for name in names)]
            self._bottles[row, : len(bottles)] = bottles
        self._pairs = np.array([index[pair] for uses in swatches for pair in sorted(uses)])
        self._starts = np.cumsum([0, *(len(uses) for uses in swatches)])[:-1]
        self._counts = np.array(list(swatches.values()), dtype=np.float64)

    def counts(self, kept: BoolArray) -> IntArray:
        """Count the swatches that each set reaches.

        Parameters
        ----------
        kept
            Which bottles each set has, ``(n_sets, n_bottles)``.

        Returns
        -------
        (sets,)
        """
        # A set is a bit of a word: a pair is there where all of its bottles are, a swatch is
        # reached where one of its pairs is there.
        counts = [self._counts_of_64(kept[i : i + 64]) for i in range(0, len(kept), 64)]
        return np.concatenate(counts) if counts else np.zeros(0, dtype=np.int64)

    def _counts_of_64(self, kept: BoolArray) -> IntArray:
        bits = np.ones((64, kept.shape[1] + 1), dtype=np.bool_)
        bits[: len(kept), :-1] = kept
        packed = np.packbits(np.ascontiguousarray(bits.T), axis=1, bitorder="little")
        words = packed.view(np.uint64)[:, 0]
        there = np.bitwise_and.reduce(words[self._bottles], axis=1)
        reached = np.bitwise_or.reduceat(there[self._pairs], self._starts)
        by_set = np.unpackbits(reached.view(np.uint8).reshape(-1, 8), axis=1, bitorder="little")
        return np.rint(self._counts @ by_set[:, : len(kept)]).astype(np.int64)


class Hitting:
    """The integer programme over bottles; what it has found the fewest of stays held.

    Parameters
    ----------
    reached
        Counts what sets reach.
    toners, grounds
        How many there are of each.
    wanted
        How many swatches are to be reached; all bottles together reach them.
    seconds
        How long each of its steps may take [s].
    """

    def __init__(
        self, reached: Reached, toners: int, grounds: int, wanted: int, seconds: float
    ) -> None:
        self._reached, self._wanted, self._seconds = reached, wanted, seconds
        self._toners = np.arange(toners + grounds) < toners
        self._rows = np.zeros((0, toners + grounds), dtype=np.bool_)
        self._columns = list(range(toners)), list(range(toners, toners + grounds))
        # Of toners (True) and grounds (False): no fewer will do, and no more are let in.
        self._least, self._most = {True: 1, False: 1}, {True: toners, False: grounds}
        self._rng = np.random.default_rng(0)
        self._ends = math.inf
        self.best: BoolArray = np.ones(toners + grounds, dtype=np.bool_)

    def fewest(self, *, toners: bool) -> int:
        """Find the fewest toners, or else grounds, and hold them; return the bound on them.

        Parameters
        ----------
        toners
            Whether toners, not grounds, are counted.
        """
        self._ends = time.monotonic() + self._seconds
        cost = (self._toners == toners).astype(np.float64)
        self._thin_out(toners=toners)
        size = self._size(self.best, toners=toners) - 1
        while size:
            sizes = self._sizes(size, toners=toners)
            enough = self._look(sizes)
            if enough:
                size = self._size(self.best, toners=toners) - 1
            elif enough is None:
                size -= 1
            else:
                self._least[toners] = size + 1
                break
        least = self._least[toners]
        while least < self._size(self.best, toners=toners):
            bound, chosen = self._solve(cost)
            least = max(least, math.ceil(bound - _SLACK))
            if chosen is None:
                break
            self._take(chosen | ~self._toners if toners else chosen)
        self._most[toners] = self._size(self.best, toners=toners)
        return least

    def most(self) -> bool:
        """Of what is held, find what reaches the most; return whether that is proven."""
        self._ends = time.monotonic() + self._seconds
        sizes = self._sizes(self._most[False], toners=False)
        self._wanted = self._count(self.best) + 1
        while (enough := self._look(sizes)) is not None:
            if not enough:
                return True
            self._wanted = self._count(self.best) + 1
        while True:
            bound, chosen = self._solve(np.zeros(len(self._toners)))
            if chosen is None:
                return bound == math.inf
            if self._take(chosen):
                self._wanted = self._count(self.best) + 1

    def _count(self, kept: BoolArray) -> int:
        return int(self._reached.counts(kept[None])[0])

    def _size(self, kept: BoolArray, *, toners: bool) -> int:
        return int(np.count_nonzero(kept & (self._toners == toners)))

    def _thin_out(self, *, toners: bool) -> None:
        """Take bottles away from the best set, each time the one that costs least."""
        while True:
            there = np.flatnonzero(self.best & (self._toners == toners))
            fewer = np.repeat(self.best[None], len(there), axis=0)
            fewer[np.arange(len(there)), there] = False
            counts = self._reached.counts(fewer)
            if counts.max() < self._wanted:
                return
            self.best = fewer[np.argmax(counts)]

    def _sizes(self, size: int, *, toners: bool) -> tuple[int, int]:
        """How many toners and grounds sets have that are looked at for so many of either."""
        # While toners are counted grounds are free: all of them are there.
        return (size, self._most[False]) if toners else (self._most[True], size)

    def _sets(self, sizes: tuple[int, int]) -> int:
        """How many sets have so many toners and grounds."""
        return math.prod(
            math.comb(len(columns), size)
            for columns, size in zip(self._columns, sizes, strict=True)
        )

    def _look(self, sizes: tuple[int, int]) -> bool | None:
        """Count what sets of so many toners and grounds reach: all of them, or some of very many.

        Returns True if one of them reaches enough: the best is then the one that reaches most.
        False if no set of these sizes does; None if that is not known: those counted add rows.
        """
        most, best = -1, self.best
        every = self._sets(sizes) <= _ALL
        for sets in self._every(sizes) if every else self._some(sizes):
            if time.monotonic() > self._ends:
                return None
            counts = self._reached.counts(sets)
            if counts.max() > most:
                most, best = int(counts.max()), sets[np.argmax(counts)]
        if most >= self._wanted:
            self.best = best
            return True
        if every:
            return False
        for row in self._rows:
            sets = sets[(sets & row).any(axis=1)]
        while len(sets) and time.monotonic() < self._ends:
            row = self._forbid(sets[0])
            sets = sets[(sets & row).any(axis=1)]
        return None

    def _every(self, sizes: tuple[int, int]) -> Iterator[BoolArray]:
        """All sets of these sizes, some after the other, (sets, bottles)."""
        toners, grounds = (
            itertools.combinations(columns, size)
            for columns, size in zip(self._columns, sizes, strict=True)
        )
        every = itertools.product(toners, list(grounds))
        while batch := list(itertools.islice(every, _SOME)):
            yield self._with(np.array([one + other for one, other in batch]))

    def _some(self, sizes: tuple[int, int]) -> Iterator[BoolArray]:
        """Sets of these sizes at random, (sets, bottles)."""
        yield self._with(
            np.hstack(
                [
                    np.array(columns)[
                        np.argsort(self._rng.random((_SOME, len(columns))), axis=1)[:, :size]
                    ]
                    for columns, size in zip(self._columns, sizes, strict=True)
                ]
            )
        )

    def _with(self, columns: IntArray) -> BoolArray:
        """Sets by the columns of their bottles, (sets, size), as (sets, bottles)."""
        sets = np.zeros((len(columns), len(self._toners)), dtype=np.bool_)
        np.put_along_axis(sets, columns, True, axis=1)
        return sets

    def _take(self, chosen: BoolArray) -> bool:
        """Take what reaches enough for the best, else add rows; return which it was."""
        if self._count(chosen) >= self._wanted:
            self.best = chosen
            return True
        for first in (None, *np.flatnonzero(~chosen)):
            self._forbid(chosen, first)
        return False

    def _forbid(self, kept: BoolArray, first: int | None = None) -> BoolArray:
        """Fill up a set that reaches too little; add and return the row of what it then lacks.

        Parameters
        ----------
        kept
            The set.
        first
            A bottle to begin with, if that reaches too little still.
        """
        kept = kept.copy()
        while True:
            others = np.flatnonzero(~kept)
            more = np.repeat(kept[None], len(others), axis=0)
            more[np.arange(len(others)), others] = True
            counts = self._reached.counts(more)
            few = counts < self._wanted
            if not few.any():
                break
            begin = np.flatnonzero(few & (others == first))
            kept = more[begin[0] if len(begin) else np.argmin(counts)]
        row = ~kept
        if not (self._rows == row).all(axis=1).any():
            # Rows that ask for less than the new one add nothing to it.
            held = self._rows[(row & ~self._rows).any(axis=1)]
            self._rows = np.vstack([held, row])
        return row

    def _solve(self, cost: FloatArray) -> tuple[float, BoolArray | None]:
        """Solve for the least cost; return the dual bound, and what is chosen if anything is."""
        from scipy.optimize import Bounds, LinearConstraint, milp

        left = self._ends - time.monotonic()
        if left <= 0:
            return 0.0, None
        least, most = (
            np.array([held[True], held[False]], dtype=np.float64)
            for held in (self._least, self._most)
        )
        sizes = np.array([self._toners, ~self._toners], dtype=np.float64)
        constraints = [LinearConstraint(sizes, least, most)]
        if len(self._rows):
            constraints.append(LinearConstraint(self._rows.astype(np.float64), 1.0, np.inf))
        solution = milp(
            cost,
            integrality=np.ones(len(cost), dtype=np.int64),
            bounds=Bounds(0.0, 1.0),
            constraints=constraints,
            options={"mip_rel_gap": 0.0, "time_limit": left},
        )
        if solution.x is None:
            return (math.inf if solution.status == _INFEASIBLE else 0.0), None
        bound = solution.mip_dual_bound
        return float(0.0 if bound is None else bound), np.asarray(solution.x) > 0.5
