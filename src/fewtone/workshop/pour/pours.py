"""Pouring into one cup: exact amounts, running totals, and the steps that cup and scale show.

All amounts are rationals, so that pours sum to their total to the last unit and a ratio poured on
cup lines is the ratio of the recipe, not nearly it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from itertools import accumulate, pairwise

__all__ = [
    "Pour",
    "Steps",
    "on_steps",
    "pour_all",
    "printed",
    "smallest_on_steps",
    "to_running_steps",
]


@dataclass(frozen=True, slots=True)
class Pour:
    """One component as it goes into the cup.

    Parameters
    ----------
    component
        A toner's name, ``medium`` or an additive's name.
    ml, running_ml
        Its volume and all that is then in the cup [ml].
    grams, running_grams
        The same on a scale [g]; None where a density is missing.
    lines, running_lines
        The same in lines of the cup [1]; None where the cup is not known.
    cost
        What it costs; None where its price is missing.
    """

    component: str
    ml: Fraction
    running_ml: Fraction
    grams: Fraction | None
    running_grams: Fraction | None
    lines: Fraction | None
    running_lines: Fraction | None
    cost: Fraction | None


@dataclass(frozen=True, slots=True)
class Steps:
    """The steps that cup or scale show, for one mix.

    Parameters
    ----------
    name
        ``cup lines`` or ``scale steps``.
    step
        One of them [ml or g].
    per_ml
        How much of each component one ml of the mix holds, in the unit of `step`.
    """

    name: str
    step: Fraction
    per_ml: Mapping[str, Fraction]

    def total(self, wanted_ml: Fraction, among: Iterable[str]) -> Fraction:
        """The smallest mix [ml] at or above a volume in which these components land on a step.

        Parameters
        ----------
        wanted_ml
            The least volume [ml].
        among
            Names of the components.
        """
        return smallest_on_steps((self.per_ml[name] for name in among), self.step, wanted_ml)

    def poured(self, volumes_ml: Mapping[str, Fraction]) -> dict[str, Fraction]:
        """Volumes [ml] as poured when every running total is taken to its nearest step.

        Parameters
        ----------
        volumes_ml
            Volume of each component [ml], in the order of pouring.
        """
        whole = sum(volumes_ml.values(), Fraction(0))
        amounts = [self.per_ml[name] * whole for name in volumes_ml]
        taken = to_running_steps(amounts, self.step)
        return {
            name: ml * after / before
            for (name, ml), before, after in zip(volumes_ml.items(), amounts, taken, strict=True)
        }


def pour_all(
    volumes_ml: Mapping[str, Fraction],
    *,
    densities: Mapping[str, Decimal],
    prices: Mapping[str, Decimal],
    step_ml: Fraction | None,
) -> tuple[Pour, ...]:
    """Pour components into one cup, in their order.

    Parameters
    ----------
    volumes_ml
        Volume of each component [ml], in pouring order.
    densities, prices
        Of those components that have one [kg/L], [per litre].
    step_ml
        The cup's step [ml], if known.
    """
    pours = []
    running_ml, running_grams = Fraction(0), Fraction(0)
    weighable = True
    for component, ml in volumes_ml.items():
        density, price = densities.get(component), prices.get(component)
        grams = None if density is None else ml * Fraction(density)
        weighable = weighable and grams is not None
        running_ml += ml
        running_grams += grams or 0
        pours.append(
            Pour(
                component=component,
                ml=ml,
                running_ml=running_ml,
                grams=grams,
                running_grams=running_grams if weighable else None,
                lines=None if step_ml is None else ml / step_ml,
                running_lines=None if step_ml is None else running_ml / step_ml,
                cost=None if price is None else ml * Fraction(price) / 1000,
            )
        )
    return tuple(pours)


def smallest_on_steps(per_ml: Iterable[Fraction], step: Fraction, wanted_ml: Fraction) -> Fraction:
    """The smallest total at or above a volume in which every component lands on a step.

    A total T does so where T · share / step is whole for every component. The greatest common
    divisor of the rationals nᵢ/dᵢ = shareᵢ/step, in lowest terms, is gcd(nᵢ)/lcm(dᵢ); the totals
    that do are the multiples of its inverse.

    Parameters
    ----------
    per_ml
        How much of each component one ml of the whole holds, in the unit of `step` (ml or g);
        all more than 0.
    step
        What cup or scale show.
    wanted_ml
        The volume that is wanted at least [ml].
    """
    ratios = [share / step for share in per_ml]
    unit = Fraction(
        math.lcm(*(ratio.denominator for ratio in ratios)),
        math.gcd(*(ratio.numerator for ratio in ratios)),
    )
    return unit * math.ceil(wanted_ml / unit)


def to_running_steps(amounts: Sequence[Fraction], step: Fraction) -> list[Fraction]:
    """Amounts as poured when every running total is taken to its nearest step.

    That is how one pours into one cup: what each pour is off is made good by the next, and the
    whole is right to half a step.

    Parameters
    ----------
    amounts
        In the order of pouring, in the unit of `step`.
    step
        The smallest step of cup or scale.
    """
    totals = [on_steps(total, step) for total in accumulate(amounts, initial=Fraction(0))]
    return [after - before for before, after in pairwise(totals)]


def printed(amounts: Iterable[Fraction], decimals: int) -> list[float]:
    """Amounts rounded so that what is printed sums to the running totals as printed.

    Parameters
    ----------
    amounts
        In the order of pouring.
    decimals
        Digits behind the point.
    """
    return [float(a) for a in to_running_steps(list(amounts), Fraction(1, 10**decimals))]


def on_steps(amount: Fraction, step: Fraction) -> Fraction:
    """The nearest whole number of steps, halves upwards.

    Parameters
    ----------
    amount
        In the unit of `step`.
    step
        The smallest step of cup or scale.
    """
    return math.floor(amount / step + Fraction(1, 2)) * step
