"""Recipes as the booth holds them: arrays of whole parts, letdowns and coats, and their text."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import gcd

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

__all__ = ["Blends", "blend_text", "random_blends"]

Array = NDArray[np.float64]


def blend_text(blend: Mapping[str, int | float]) -> str:
    """Return a blend as a finisher writes it: falling parts, then name; one toner by name alone."""
    if len(blend) == 1:
        return next(iter(blend))
    ordered = sorted(blend.items(), key=lambda item: (-item[1], item[0]))
    return " + ".join(f"{parts} {name}" for name, parts in ordered)


@dataclass(frozen=True, slots=True)
class Blends:
    """Recipes as arrays: whole parts `(n, n_toners)`, letdown, coats, load `(n,)`."""

    parts: NDArray[np.int64]
    medium_parts: NDArray[np.int64]
    coats: NDArray[np.int64]

    @property
    def fractions(self) -> Array:
        """Volume fractions of each blend `(n, n_toners)`; rows sum to 1."""
        return np.asarray(self.parts / self.parts.sum(axis=1, keepdims=True))

    @property
    def load(self) -> Array:
        """Coats / (1 + letdown) `(n,)`."""
        return np.asarray(self.coats / (1.0 + self.medium_parts))

    def line(self, place: int, names: Sequence[str], ground: str) -> str:
        """Return one recipe as a line, in lowest terms."""
        parts = {name: int(p) for name, p in zip(names, self.parts[place], strict=True) if p}
        shared = gcd(*parts.values())
        blend = blend_text({name: p // shared for name, p in parts.items()})
        coats = int(self.coats[place])
        return (
            f"{blend}, {self.medium_parts[place]}:1, {coats} coat{'s' if coats > 1 else ''}"
            f" over {ground}"
        )


def random_blends(
    rng: Generator,
    n_toners: int,
    count: int,
    *,
    most_toners: int = 3,
    max_part: int = 4,
    letdowns: Sequence[int] = (4, 5, 6, 8),
    coats: tuple[int, int] = (2, 6),
) -> Blends:
    """Return `count` recipes of 1 to `most_toners` toners, all choices equally likely."""
    parts = np.zeros((count, n_toners), dtype=np.int64)
    for row in parts:
        chosen = rng.choice(n_toners, size=int(rng.integers(1, most_toners + 1)), replace=False)
        row[chosen] = rng.integers(1, max_part + 1, size=chosen.size)
    return Blends(
        parts // np.gcd.reduce(parts, axis=1, keepdims=True),
        rng.choice(np.asarray(letdowns, dtype=np.int64), size=count),
        rng.integers(coats[0], coats[1] + 1, size=count),
    )
