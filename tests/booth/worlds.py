"""How a real booth departs from what the finisher states and anyone would assume."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["World"]

Array = NDArray[np.float64]

_USUAL_LETDOWN = 6.0
# Panels differ in steps of this many standard deviations, so that they can share flake kernels.
_TURN_STEP = 0.5


@dataclass(frozen=True, slots=True)
class World:
    """Departures of a booth; by default there are none.

    Parameters
    ----------
    says_panel_cv, says_film_index, says_geometry : what shelf.toml says where that is not so.
    per_doubling : share by which a toner is stronger per part each time the letdown doubles [1].
    later_coats : film build of the third and every later coat, of the first two's [1].
    black : what the instrument adds to every reflectance factor [1].
    edge : loss of light beyond the edge of the aperture (see `optics`) [1].
    ground_cv : coefficient of variation of a ground's reflectance from panel to panel [1].
    flake_cv : the same of the slope of its flakes [1].
    dark_noise : whether read Lab carries the noise of the reflectance that it was made from, too.
    """

    says_panel_cv: float | None = None
    says_film_index: float | None = None
    says_geometry: str | None = None
    per_doubling: float = 0.0
    later_coats: float = 1.0
    black: float = 0.0
    edge: float = 0.0
    ground_cv: float = 0.0
    flake_cv: float = 0.0
    dark_noise: bool = False

    def coat_builds(self, most_coats: int) -> Array:
        """Film build of the first, second, ... coat as a careful hand lays it `(most_coats,)`."""
        return np.where(np.arange(most_coats) < 2, 1.0, self.later_coats)

    def film_build(self, coats: NDArray[np.int64]) -> Array:
        """Film build of so many coats together [standard coats], any shape."""
        return np.append(0.0, np.cumsum(self.coat_builds(int(np.max(coats)))))[coats]

    def strength(self, medium_parts: ArrayLike) -> Array:
        """Strength per part at a letdown, of that at the usual letdown [1], any shape."""
        doublings = np.log2(np.maximum(medium_parts, 1.0) / _USUAL_LETDOWN)
        return np.asarray((1.0 + self.per_doubling) ** doublings)

    def grounds(self, rng: np.random.Generator, count: int) -> tuple[Array, Array]:
        """Draw panels' ground reflectance and flake slope, of the usual ones [1] `(2, count)`."""
        level, turn = rng.standard_normal((2, count))
        turn = _TURN_STEP * np.round(turn / _TURN_STEP)
        return np.exp(self.ground_cv * level), np.exp(self.flake_cv * turn)
