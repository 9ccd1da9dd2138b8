"""The one way in which a recipe's colour is worked out, so that equal colours are equal numbers.

A blend's fractions are parts over their sum, its load is the nearest number to the exact rational;
ΔE00 is rounded to 1e-6 and unevenness to 0.01 before anything is compared.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fewtone.colorimetry import Light, delta_e_2000
from fewtone.match.rules import Rules
from fewtone.model.curves import Curves
from fewtone.model.target import Target
from fewtone.prediction.forward import lab_of, reflectance
from fewtone.typing import FloatArray, FloatLike, IntArray

__all__ = [
    "THIN_AND_THICK",
    "Evaluator",
    "evaluator_of",
    "rounded_difference",
    "rounded_unevenness",
]

# The film builds between which unevenness is read, relative to a standard coat.
THIN_AND_THICK = (0.9, 1.1)


@dataclass(frozen=True, slots=True, eq=False)
class Evaluator:
    """Colours of blends of a shelf against one target.

    Parameters
    ----------
    curves
        The learnt shelf.
    target
        What is asked for; all Lab values are in its light.
    toners, grounds
        Rows of `curves` that positions stand for, shapes ``(n_toners,)`` and ``(n_grounds,)``.
    """

    curves: Curves
    target: Target
    toners: IntArray
    grounds: IntArray

    @property
    def target_lab(self) -> FloatArray:
        """CIELAB that is asked for, shape ``(3,)``."""
        return np.array(self.target.lab)

    @property
    def light(self) -> Light:
        """Illuminant and observer of all Lab values."""
        return self.target.light

    def fractions(self, support: IntArray, parts: IntArray) -> FloatArray:
        """Volume fractions over all learnt toners, shape ``(n, n_curves_toners)``."""
        rows = np.zeros((len(support), len(self.curves.toners)))
        shares = parts / parts.sum(axis=1, keepdims=True)
        np.put_along_axis(rows, self.toners[support], shares, axis=1)
        return rows

    def lab(self, fractions: FloatArray, load: FloatLike, ground: IntArray) -> FloatArray:
        """CIELAB, shape ``(n, 3)``, of fractions ``(n, n_curves_toners)``, load and ground.

        Films of shape ``(n, 1)`` over ``(n_grounds,)`` give ``(n, n_grounds, 3)``.
        """
        doses = fractions * np.asarray(load)[..., np.newaxis]
        film = reflectance(self.curves, doses, self.grounds[ground])
        return lab_of(self.curves, film, self.light)

    def difference(self, lab: FloatArray) -> FloatArray:
        """ΔE00 to the target, rounded to 1e-6, shape ``(n,)``."""
        return rounded_difference(lab, self.target_lab)


def evaluator_of(curves: Curves, rules: Rules, target: Target) -> Evaluator:
    """The evaluator of some rules: positions in the rules become rows of the curves."""
    return Evaluator(
        curves,
        target,
        np.array([curves.toners.index(name) for name in rules.toners]),
        np.array([curves.grounds.index(name) for name in rules.grounds]),
    )


def rounded_difference(lab: FloatLike, target: FloatLike) -> FloatArray:
    """ΔE00 as it is compared: rounded to 1e-6."""
    return np.round(delta_e_2000(lab, target), 6)


def rounded_unevenness(thin: FloatLike, thick: FloatLike) -> FloatArray:
    """Unevenness as it is compared: ΔE00 between the two, rounded to 0.01."""
    return np.round(delta_e_2000(thin, thick), 2)
