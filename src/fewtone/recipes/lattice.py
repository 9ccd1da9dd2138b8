"""The admissible recipes, as index arrays.

A recipe is a *support* (which toners), a *ratio* (whole parts without a common factor, one for
each toner of the support), a letdown and a number of coats, and a ground. Its colour knows letdown
and coats only through their *load* coats/(1 + letdown), an exact rational, and the strength that
readings may give to either: recipes alike in both have one colour and are evaluated as one. That
leaves the lattice

    supports × ratios × loads × grounds

where each load carries the (letdown, coats) pairs that give it.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache

import numpy as np

from fewtone.model.blend import Number, film_load
from fewtone.model.recipe import Recipe
from fewtone.recipes.rules import Rules
from fewtone.typing import FloatArray, IntArray

__all__ = ["Lattice", "Load", "ratios_of"]


@dataclass(frozen=True, slots=True)
class Load:
    """One film strength and the ways to spray it.

    Parameters
    ----------
    exact
        Coats/(1 + letdown).
    ways
        The (position of the letdown, coats) that give it, in the order of the key: letdowns as
        the shop lists them, then fewer coats first.
    strength
        That of the toners at these coats and letdowns, next to the curves [1].
    value
        What the doses are the fractions times of: `exact` by `strength`.
    """

    exact: Fraction
    ways: tuple[tuple[int, int], ...]
    strength: float = 1.0
    value: float = field(init=False)

    def __post_init__(self) -> None:
        """Work the value out."""
        object.__setattr__(self, "value", float(self.exact) * self.strength)

    @property
    def simplest(self) -> tuple[int, int]:
        """The way of least key."""
        return self.ways[0]

    @property
    def most_coats(self) -> tuple[int, int]:
        """The way with most coats; of those, the letdown the shop lists first."""
        return max(self.ways, key=lambda way: (way[1], -way[0]))


@dataclass(frozen=True, slots=True)
class Lattice:
    """The admissible recipes of some rules.

    Parameters
    ----------
    rules
        The rules; every toner and ground they name is learnt.
    loads
        Distinct loads, ascending.
    """

    rules: Rules
    loads: tuple[Load, ...]

    @classmethod
    def of(
        cls, rules: Rules, strength_at: Callable[[float, float], float] = lambda *_: 1.0
    ) -> Lattice:
        """Lay out the recipes that the rules admit.

        Parameters
        ----------
        rules
            The rules; every toner and ground they name is learnt.
        strength_at
            Strength of the toners at so many coats and a letdown, next to the curves [1].
        """
        counts = range(rules.coats[0], rules.coats[1] + 1)
        strengths = tuple(
            tuple(strength_at(float(count), float(medium_parts)) for count in counts)
            for medium_parts in rules.medium_parts
        )
        return cls(rules, _loads(rules.medium_parts, strengths, rules.coats))

    @property
    def load_values(self) -> FloatArray:
        """The loads as numbers, ascending, shape ``(n_loads,)``."""
        return np.array([load.value for load in self.loads])

    @property
    def sizes(self) -> range:
        """How many toners a recipe may have."""
        least = max(1, len(self.rules.keep))
        return range(least, min(self.rules.max_toners, len(self.rules.toners)) + 1)

    def supports(self, size: int) -> IntArray:
        """Sets of toners as ascending positions in ``rules.toners``, shape ``(n, size)``."""
        kept = {self.rules.toners.index(name) for name in self.rules.keep}
        others = [i for i in range(len(self.rules.toners)) if i not in kept]
        sets = list(itertools.combinations(others, size - len(kept)))
        rows = np.array(sets, dtype=np.int64).reshape(len(sets), size - len(kept))
        both = np.hstack([rows, np.tile(np.array(sorted(kept), dtype=np.int64), (len(sets), 1))])
        return np.sort(both, axis=1)

    def ratios(self, size: int) -> IntArray:
        """Ratios of that many toners, shape ``(n, size)``."""
        return ratios_of(size, self.rules.max_part)

    def count_supports(self, size: int) -> int:
        """How many sets of toners there are of that size.

        Parameters
        ----------
        size
            How many toners they have.
        """
        kept = len(self.rules.keep)
        return math.comb(len(self.rules.toners) - kept, size - kept)

    @property
    def admissible(self) -> int:
        """How many recipes the rules admit, exactly; equal colours count each."""
        blends = sum(self.count_supports(size) * len(self.ratios(size)) for size in self.sizes)
        return blends * sum(len(load.ways) for load in self.loads) * len(self.rules.grounds)

    @property
    def colours(self) -> int:
        """How many points the lattice has: recipes of equal load count once."""
        blends = sum(self.count_supports(size) * len(self.ratios(size)) for size in self.sizes)
        return blends * len(self.loads) * len(self.rules.grounds)

    def recipe(
        self, support: IntArray, parts: IntArray, way: tuple[int, int], ground: int
    ) -> Recipe:
        """The recipe at a place of the lattice.

        Parameters
        ----------
        support, parts
            Positions of the toners and their whole parts [1], shape ``(size,)`` each.
        way
            Position of the letdown, and coats.
        ground
            Position of the ground.
        """
        names = (self.rules.toners[i] for i in support)
        blend = {name: int(part) for name, part in zip(names, parts, strict=True)}
        position, coats = way
        return Recipe(blend, self.rules.medium_parts[position], coats, self.rules.grounds[ground])


# A search lays out the same recipes several times, and a deck by the thousand.
@lru_cache(maxsize=32)
def _loads(
    letdowns: tuple[Number, ...], strengths: tuple[tuple[float, ...], ...], coats: tuple[int, int]
) -> tuple[Load, ...]:
    """Distinct loads of letdowns, and coats, each with the strength of its toners; ascending."""
    ways: dict[tuple[Fraction, float], list[tuple[int, int]]] = {}
    for position, (medium_parts, at_coats) in enumerate(zip(letdowns, strengths, strict=True)):
        for count, strength in zip(range(coats[0], coats[1] + 1), at_coats, strict=True):
            film = film_load(count, medium_parts), strength
            ways.setdefault(film, []).append((position, count))
    loads = [Load(exact, tuple(of_load), strength) for (exact, strength), of_load in ways.items()]
    return tuple(sorted(loads, key=lambda load: load.value))


@lru_cache(maxsize=32)
def ratios_of(size: int, max_part: int) -> IntArray:
    """Whole parts 1..max_part without a common factor, by sum, then lexically.

    Parameters
    ----------
    size
        How many toners.
    max_part
        The largest whole part.

    Returns
    -------
    Shape ``(n_ratios, size)``, read-only. A lone toner has the one ratio 1.
    """
    grid = np.indices((max_part,) * size).reshape(size, -1).T.astype(np.int64) + 1
    rows: IntArray = grid[np.gcd.reduce(grid, axis=1) == 1]
    rows = rows[np.argsort(rows.sum(axis=1), kind="stable")]
    rows.flags.writeable = False
    return rows
