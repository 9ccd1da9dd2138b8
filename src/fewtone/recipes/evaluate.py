"""The one way in which a recipe's colour is worked out, so that equal colours are equal numbers.

A blend's fractions are parts over their sum, its load is the nearest number to the exact rational;
ΔE00 is rounded to 1e-6 and unevenness to 0.01 before anything is compared. Recipes may have several
aims: versions of a colour, one colour in several lights, a colour over each of several grounds.
Their ΔE00 is then the largest.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import reduce
from typing import TYPE_CHECKING

import numpy as np

from fewtone.colorimetry import Light, delta_e_2000
from fewtone.model.curves import Curves
from fewtone.model.target import Target
from fewtone.prediction.forward import lab_of, reflectance
from fewtone.typing import FloatArray, FloatLike, IntArray

if TYPE_CHECKING:
    from fewtone.recipes.rules import Rules

__all__ = [
    "ROUNDING",
    "THIN_AND_THICK",
    "Aim",
    "Evaluator",
    "Films",
    "evaluator_of",
    "evaluators_of",
    "largest_difference",
    "rounded_difference",
    "rounded_unevenness",
]

# The film builds between which unevenness is read, relative to a standard coat.
THIN_AND_THICK = (0.9, 1.1)
# More than rounding to 1e-6 moves a ΔE00.
ROUNDING = 1e-6


@dataclass(frozen=True, slots=True)
class Aim:
    """A colour that recipes are to come near.

    Parameters
    ----------
    target
        The colour, in its light.
    over
        The ground that films are looked at over; each recipe's own if None.
    """

    target: Target
    over: str | None = None


@dataclass(frozen=True, slots=True)
class Films:
    """The films that recipes make, and the light they are seen in.

    Parameters
    ----------
    curves
        The learnt shelf.
    toners, grounds
        Rows of `curves` that positions stand for.
    light
        Illuminant and observer.
    """

    curves: Curves
    toners: tuple[int, ...]
    grounds: tuple[int, ...]
    light: Light


@dataclass(frozen=True, slots=True, eq=False)
class Evaluator:
    """Colours of blends of a shelf against targets in one light, over one choice of grounds.

    Parameters
    ----------
    curves
        The learnt shelf.
    targets
        What is asked for, at least one; all in one light, which all Lab values are in.
    toners, grounds
        Rows of `curves` that positions stand for, shapes ``(n_toners,)`` and ``(n_grounds,)``.
    """

    curves: Curves
    targets: tuple[Target, ...]
    toners: IntArray
    grounds: IntArray

    @property
    def target_labs(self) -> FloatArray:
        """CIELAB that is asked for, shape ``(n_targets, 3)``."""
        return np.array([target.lab for target in self.targets])

    @property
    def light(self) -> Light:
        """Illuminant and observer of all Lab values."""
        return self.targets[0].light

    @property
    def films(self) -> Films:
        """The films by themselves, without a target."""
        toners, grounds = tuple(self.toners.tolist()), tuple(self.grounds.tolist())
        return Films(self.curves, toners, grounds, self.light)

    def fractions(self, support: IntArray, parts: IntArray) -> FloatArray:
        """Volume fractions over all learnt toners, shape ``(n, n_curves_toners)``.

        Parameters
        ----------
        support
            Positions of the toners, shape ``(n, size)``.
        parts
            Their whole parts [1], shape ``(n, size)``.
        """
        rows = np.zeros((len(support), len(self.curves.toners)))
        shares = parts / parts.sum(axis=1, keepdims=True)
        np.put_along_axis(rows, self.toners[support], shares, axis=1)
        return rows

    def film(self, fractions: FloatArray, load: FloatLike, ground: IntArray) -> FloatArray:
        """Reflectance, ``(n, n_wavelengths)``; the arguments are those of `lab`."""
        doses = fractions * np.asarray(load)[..., np.newaxis]
        return reflectance(self.curves, doses, self.grounds[ground])

    def lab(self, fractions: FloatArray, load: FloatLike, ground: IntArray) -> FloatArray:
        """CIELAB, shape ``(n, 3)``, of fractions ``(n, n_curves_toners)``, load and ground.

        Films of shape ``(n, 1)`` over ``(n_grounds,)`` give ``(n, n_grounds, 3)``.
        """
        return lab_of(self.curves, self.film(fractions, load, ground), self.light)

    def difference(self, lab: FloatArray) -> FloatArray:
        """The largest ΔE00 to the targets, rounded to 1e-6.

        Parameters
        ----------
        lab
            CIELAB, shape ``(..., 3)``.

        Returns
        -------
        Shape ``(...)``.
        """
        return reduce(np.maximum, [rounded_difference(lab, t.lab) for t in self.targets])


def largest_difference(
    evaluators: Sequence[Evaluator], fractions: FloatArray, load: FloatLike, ground: IntArray
) -> FloatArray:
    """The largest ΔE00 to all targets, rounded to 1e-6; the arguments of `Evaluator.lab`."""
    films: dict[bytes, FloatArray] = {}
    off = []
    for each in evaluators:
        over = each.grounds.tobytes()
        if over not in films:
            films[over] = each.film(fractions, load, ground)
        off.append(each.difference(lab_of(each.curves, films[over], each.light)))
    return reduce(np.maximum, off)


def evaluator_of(curves: Curves, rules: Rules, target: Target) -> Evaluator:
    """The evaluator of one target over recipes' own grounds."""
    return evaluators_of(curves, rules, [Aim(target)])[0]


def evaluators_of(curves: Curves, rules: Rules, aims: Sequence[Aim]) -> tuple[Evaluator, ...]:
    """An evaluator for each light and choice of grounds: rules' positions become curves' rows.

    The one that says most about a film comes first: that of the most targets; of equally many, the
    one over the lightest grounds, where films differ most.
    """
    groups: dict[tuple[Light, str | None], list[Target]] = {}
    for aim in aims:
        groups.setdefault((aim.target.light, aim.over), []).append(aim.target)
    toners = np.array([curves.toners.index(name) for name in rules.toners])
    evaluators = [
        Evaluator(
            curves,
            tuple(targets),
            toners,
            np.array([curves.grounds.index(over or name) for name in rules.grounds]),
        )
        for (_, over), targets in groups.items()
    ]
    lightness = curves.ground_reflectance.mean(axis=1)
    evaluators.sort(
        key=lambda each: (len(each.targets), lightness[each.grounds].mean()), reverse=True
    )
    return tuple(evaluators)


def rounded_difference(lab: FloatLike, target: FloatLike) -> FloatArray:
    """ΔE00 as it is compared: rounded to 1e-6.

    Parameters
    ----------
    lab, target
        CIELAB, shapes ``(..., 3)`` that broadcast.

    Returns
    -------
    Shape ``(...)``.
    """
    return np.round(delta_e_2000(lab, target), 6)


def rounded_unevenness(thin: FloatLike, thick: FloatLike) -> FloatArray:
    """Unevenness as it is compared: ΔE00 between the two, rounded to 0.01.

    Parameters
    ----------
    thin, thick
        CIELAB at the two film builds, shape ``(..., 3)`` each.

    Returns
    -------
    Shape ``(...)``.
    """
    return np.round(delta_e_2000(thin, thick), 2)
