"""The order of recipes, in arrays.

The *key* of a recipe is (number of toners, sum of parts, position of the letdown, coats, ΔE00,
position of the ground, recipe line). Its first four are whole numbers of small range: together
they are the recipe's *rank*; the first two alone are its *class*.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from fewtone.recipes.lattice import Lattice
from fewtone.typing import BoolArray, FloatArray, IntArray

__all__ = ["Candidates", "Ranks"]


class Candidates(NamedTuple):
    """Evaluated points of the lattice, all with equally many toners.

    support, parts ``(n, size)``; load, ground (positions) and de00 ``(n,)``.
    """

    support: IntArray
    parts: IntArray
    load: IntArray
    ground: IntArray
    de00: FloatArray

    def where(self, chosen: BoolArray | IntArray | slice) -> Candidates:
        """Some of them.

        Parameters
        ----------
        chosen
            Which, as a mask of shape ``(n,)`` or as positions of shape ``(n_chosen,)``.
        """
        return Candidates(
            self.support[chosen],
            self.parts[chosen],
            self.load[chosen],
            self.ground[chosen],
            self.de00[chosen] if len(self.de00) else self.de00,
        )


class Ranks:
    """Ranks and classes of a lattice's recipes as whole numbers.

    Attributes
    ----------
    sums
        How many sums of parts there may be, 0 among them: classes are numbered by toners, then sum.
    per_class
        Ranks in a class: (position of the letdown, coats).
    count
        How many ranks there are.
    """

    def __init__(self, lattice: Lattice) -> None:
        rules = lattice.rules
        self.sums = rules.max_part * lattice.sizes[-1] + 1
        self._fewest, self._span = rules.coats[0], rules.coats[1] - rules.coats[0] + 1
        self.per_class = len(rules.medium_parts) * self._span
        self.count = (lattice.sizes[-1] + 1) * self.sums * self.per_class

    def of(self, size: int, parts_sum: IntArray, way: IntArray) -> IntArray:
        """Rank of recipes, shape ``(n,)``.

        Parameters
        ----------
        size
            How many toners they have.
        parts_sum
            Sum of their parts [1], shape ``(n,)``.
        way
            Position of the letdown, and coats, shape ``(n, 2)``.
        """
        group = size * self.sums + parts_sum
        return np.asarray(
            group * self.per_class + way[:, 0] * self._span + way[:, 1] - self._fewest
        )

    def class_of(self, rank: int) -> int:
        """The class of a rank.

        Parameters
        ----------
        rank
            As `of` gives it.
        """
        return rank // self.per_class

    def size_of(self, rank: int) -> int:
        """How many toners recipes of a rank have.

        Parameters
        ----------
        rank
            As `of` gives it.
        """
        return self.class_of(rank) // self.sums

    def way_of(self, rank: int) -> tuple[int, int]:
        """Position of the letdown and coats of recipes of a rank.

        Parameters
        ----------
        rank
            As `of` gives it.
        """
        position, coats = divmod(rank % self.per_class, self._span)
        return position, coats + self._fewest
