"""Reflectance of a clear film over one ground as a short sum of falling exponentials."""

from __future__ import annotations

from dataclasses import dataclass

from fewtone.typing import FloatArray, frozen

__all__ = ["FilmFit"]


@dataclass(frozen=True, slots=True, eq=False)
class FilmFit:
    """What `fewtone.search.bounds.exponentials` finds for a film, and `learn` stores.

    Parameters
    ----------
    shares
        Weight of each exponential at each wavelength [1], shape ``(n_terms, n_wavelengths)``, not
        negative.
    error
        How far the sum is off at most, relative to the reflectance and a floor [1].
    """

    shares: FloatArray
    error: float

    def __post_init__(self) -> None:
        object.__setattr__(self, "shares", frozen(self.shares))
