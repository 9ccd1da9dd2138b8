"""How sure learning is of the curves it found."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from fewtone.typing import FloatArray, frozen

__all__ = ["ARRAYS", "Uncertainty"]

ARRAYS = (
    "absorption",
    "scattering",
    "ground_reflectance",
    "return_ratio",
    "black",
    "index",
    "edge",
    "letdown",
    "thinning",
    "feared",
)


@dataclass(frozen=True, slots=True, eq=False)
class Uncertainty:
    """Independent directions in which the curves may be off, by one standard deviation each.

    A curve's covariance is the sum over the directions of the outer product of its deviation with
    itself; toners and grounds that lean on the same readings deviate together.

    Parameters
    ----------
    absorption, scattering
        Deviations of the toners' curves [1], shape ``(n_directions, n_toners, n_wavelengths)``.
    ground_reflectance
        Deviations of the grounds [1], shape ``(n_directions, n_grounds, n_wavelengths)``.
    return_ratio
        Deviations of the grounds' internal-return ratios [1], shape ``(n_directions, n_grounds)``.
    model_sd
        What the film model itself misses, standard deviation per Lab coordinate.
    black
        Deviations of what the instrument adds to every reflectance [1], ``(n_directions,)``.
    index, edge
        Deviations of the film's index and of the edge loss [1], ``(n_directions,)``.
    letdown
        Deviations of each toner's log strength per doubling of the letdown [1],
        ``(n_directions, n_toners)``.
    thinning
        Deviations of the power by which a film of n coats is less than n [1], ``(n_directions,)``.
    feared
        What share of a direction's variance intervals reckon with beyond what is likely, as where a
        flake that was only read bare may be unlike all others [1], ``(n_directions,)``. Chances
        leave it out.
    lasting
        How many of the directions, the last ones, no panel tells of.
    apart
        How many of those, the last ones, stand for letdown and thinning where a film is known by
        its doses alone; where coats and letdown are told they are no part.

    key_strength
        Independent directions in which the grounds' log strengths in keyed ones may be off, beside
        all others [1], shape ``(n, n_grounds)``; empty where no mix was read.

    What is not given never deviates.
    """

    absorption: FloatArray
    scattering: FloatArray
    ground_reflectance: FloatArray
    return_ratio: FloatArray
    model_sd: float
    black: FloatArray = field(default_factory=lambda: np.zeros(0))
    index: FloatArray = field(default_factory=lambda: np.zeros(0))
    edge: FloatArray = field(default_factory=lambda: np.zeros(0))
    letdown: FloatArray = field(default_factory=lambda: np.zeros(0))
    thinning: FloatArray = field(default_factory=lambda: np.zeros(0))
    feared: FloatArray = field(default_factory=lambda: np.zeros(0))
    lasting: int = 0
    key_strength: FloatArray = field(default_factory=lambda: np.zeros((0, 0)))
    apart: int = 0

    def __post_init__(self) -> None:
        directions, toners = self.absorption.shape[:2]
        if not self.letdown.size:
            object.__setattr__(self, "letdown", np.zeros((directions, toners)))
        for name in ("black", "index", "edge", "thinning", "feared"):
            if not getattr(self, name).size:
                object.__setattr__(self, name, np.zeros(directions))
        for name in (*ARRAYS, "key_strength"):
            object.__setattr__(self, name, frozen(getattr(self, name)))

    @property
    def absorption_sd(self) -> FloatArray:
        """Standard deviation of each toner's curve [1], ``(n_toners, n_wavelengths)``."""
        return np.asarray(np.sqrt((self.absorption**2).sum(axis=0)))
