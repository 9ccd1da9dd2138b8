"""How a mix is poured: exactly, in the recipe's own ratio on lines, or rounded to lines."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from fewtone.colorimetry import delta_e_2000
from fewtone.errors import Fault, FewtoneError
from fewtone.model.cup import Cup
from fewtone.model.curves import Curves
from fewtone.model.recipe import Recipe
from fewtone.model.shelf import ShelfSettings
from fewtone.prediction.forward import lab_of_doses, recipe_dose
from fewtone.typing import FloatArray
from fewtone.workshop.pour.lines import least_on_steps
from fewtone.workshop.pour.mix import MEDIUM, densities
from fewtone.workshop.pour.pours import Steps

__all__ = ["Mix", "Plan"]

# The recipe's own ratio is kept where it takes at most this much more than what is wanted.
_NEAR = Fraction(105, 100)


@dataclass(frozen=True, slots=True)
class Plan:
    """One way to pour.

    Parameters
    ----------
    volumes_ml
        Volume of each component [ml], in pouring order.
    steps, cup
        What it is poured on and into, where that is known.
    exact
        Whether the volume is exactly what was wanted, wherever the pours come to lie.
    de00
        What pouring on steps does to the colour [ΔE00]; None without steps.
    rounded
        The volumes as taken to the nearest steps, where `exact` and they do not lie on them.
    """

    volumes_ml: Mapping[str, Fraction]
    steps: Steps | None
    cup: Cup | None
    exact: bool
    de00: float | None
    rounded: Mapping[str, Fraction] | None = None

    @property
    def total_ml(self) -> Fraction:
        """All of it [ml]."""
        return sum(self.volumes_ml.values(), Fraction(0))

    @property
    def fillings(self) -> int:
        """How many times the cup has to be filled; 1 where it is not known what it holds."""
        if self.cup is None or self.cup.holds_ml is None:
            return 1
        return max(1, math.ceil(self.total_ml / self.cup.holds_ml))


@dataclass(frozen=True, slots=True)
class Mix:
    """A recipe on a shelf, to be poured in one way or another.

    Parameters
    ----------
    curves, settings
        The learnt shelf.
    recipe
        The recipe.
    parts
        Share of each component by volume, in pouring order.
    strength
        What another share of reducer than usual multiplies the optical depth by.
    """

    curves: Curves
    settings: ShelfSettings
    recipe: Recipe
    parts: Mapping[str, Fraction]
    strength: Fraction

    @property
    def paint(self) -> dict[str, Fraction]:
        """Toners and medium as shares of the paint; together 1."""
        toners = self.settings.toners
        made = {n: s for n, s in self.parts.items() if n == MEDIUM or n in toners}
        whole = sum(made.values(), Fraction(0))
        return {name: share / whole for name, share in made.items()}

    def plan(self, wanted_ml: Fraction, limit: float, *, by_weight: bool, exact: bool) -> Plan:
        """How to pour a volume, in the smallest cup that holds it, or in the fewest fillings.

        Parameters
        ----------
        wanted_ml
            Volume that is wanted [ml].
        limit
            ΔE00 that rounding may cost.
        by_weight
            Whether to pour on the scale.
        exact
            Whether every component has to land on a step of the cup.

        Raises
        ------
        UsageError
            No cup or scale that is known can pour it so.
        """
        plans = []
        for cup in self.settings.mixing.all_cups or (None,):
            steps = self.scale() if by_weight else self.cup_steps(cup)
            plan = self._exactly(wanted_ml, steps, cup)
            if steps is not None and not exact:
                plan = self._on_steps(wanted_ml, limit, steps, cup) or plan
            if plan.fillings == 1:
                return plan
            plans.append(plan)
        return min(reversed(plans), key=lambda plan: (plan.fillings, plan.total_ml))

    def cup_steps(self, cup: Cup | None) -> Steps | None:
        """Lines of a cup."""
        return None if cup is None else Steps("cup lines", cup.step_ml, self.parts)

    def scale(self) -> Steps | None:
        """Steps of the scale; None where they or a density are not known."""
        known, step = densities(self.settings), self.settings.mixing.scale_g
        if step is None or any(name not in known for name in self.parts):
            return None
        weights = {name: share * Fraction(known[name]) for name, share in self.parts.items()}
        return Steps("scale steps", Fraction(step), weights)

    def require_scale(self) -> None:
        """Refuse to pour by weight where the scale or a density is not known.

        Raises
        ------
        UsageError
            All that is missing in ``shelf.toml``.
        """
        if self.scale() is not None:
            return
        known = densities(self.settings)
        missing = ["mixing.scale_g"] if self.settings.mixing.scale_g is None else []
        missing += [f"the density of {name}" for name in self.parts if name not in known]
        raise FewtoneError(
            Fault(
                f"Pouring by weight needs {', '.join(missing)}.",
                fix="Add it (densities in kg per litre), or pour by volume.",
                file="shelf.toml",
            )
        )

    def _exactly(self, wanted_ml: Fraction, steps: Steps | None, cup: Cup | None) -> Plan:
        meant = {name: share * wanted_ml for name, share in self.parts.items()}
        if steps is None:
            return Plan(meant, None, cup, True, None)
        poured = steps.poured(meant)
        if poured == meant:
            return Plan(meant, steps, cup, True, 0.0)
        paint = list(self.paint)
        volumes = np.array([[float(poured[name]) for name in paint]])
        if not volumes.any():
            return Plan(meant, steps, cup, True, None, poured)
        # Additives that were rounded thin the paint; toners are compared within the whole.
        rest = float(sum(poured.values(), Fraction(0)) / wanted_ml)
        share = float(sum(poured[name] for name in paint) / wanted_ml)
        usual = float(sum(self.parts[name] for name in paint))
        moved = self.shifts(volumes, thinned=share / rest / usual)
        return Plan(meant, steps, cup, True, float(moved[0]), poured)

    def _on_steps(
        self, wanted_ml: Fraction, limit: float, steps: Steps, cup: Cup | None
    ) -> Plan | None:
        """The recipe's own ratio if that is near, else the least rounded mix; None if neither."""
        paint = self.paint
        share = sum((self.parts[name] for name in paint), Fraction(0))
        whole = steps.total(wanted_ml, paint)
        near = _NEAR if steps.name == "cup lines" else 1  # a scale's steps cost next to nothing
        if whole <= wanted_ml * near or limit == 0.0:
            volumes = {name: part * whole for name, part in self.parts.items()}
            return Plan(volumes, steps, cup, False, 0.0)
        per_ml = {name: steps.per_ml[name] / share for name in paint}
        least = least_on_steps(per_ml, paint, steps.step, wanted_ml * share, limit, self.shifts)
        if least is None:
            return None
        made = sum(least.volumes_ml.values(), Fraction(0)) / share
        loose = {name: part * made for name, part in self.parts.items() if name not in paint}
        return Plan({**least.volumes_ml, **loose}, steps, cup, False, least.de00)

    def shifts(self, volumes_ml: FloatArray, *, thinned: float = 1.0) -> FloatArray:
        """ΔE00 from the recipe to what is poured.

        Parameters
        ----------
        volumes_ml
            Volume of each component of `paint` [ml], shape ``(n, n_components)``.
        thinned
            What else multiplies the paint's share of the mix.
        """
        dose = recipe_dose(self.curves, self.recipe) * float(self.strength)
        changes = np.ones((len(volumes_ml) + 1, len(dose)))
        whole = volumes_ml.sum(axis=1)
        for column, (name, share) in enumerate(self.paint.items()):
            if name in self.recipe.blend:
                ratio = volumes_ml[:, column] / whole / float(share) * thinned
                changes[1:, self.curves.toners.index(name)] = ratio
        light = self.settings.measurement.light
        labs = lab_of_doses(self.curves, dose * changes, self.recipe.ground, light)
        return delta_e_2000(labs[1:], labs[0])
