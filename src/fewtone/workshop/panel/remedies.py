"""What can be done about a mix after a panel: the best of each kind, and what it comes to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

import numpy as np

from fewtone.colorimetry import delta_e_2000
from fewtone.match import Match
from fewtone.model.curves import Curves
from fewtone.model.recipe import Recipe
from fewtone.model.shelf import ShelfSettings
from fewtone.model.target import Target
from fewtone.model.variation import film_build_sd
from fewtone.typing import frozen
from fewtone.workshop.panel.additions import Plan, PosteriorPredictive, best_plans
from fewtone.workshop.panel.posterior import Posterior
from fewtone.workshop.pour.mix import MEDIUM, densities, shares

__all__ = ["GAIN", "Addition", "Remedies", "Volumes"]

GAIN = {"stop": 0.0, "coats": 0.05, MEDIUM: 0.1, "toner": 0.2, "new toner": 0.4}
"""What a kind of step has to gain over doing nothing [expected ΔE00]: the more trouble it is, and
the less it can be taken back, the more. Tried out in a simulated booth."""

_PANELS_A_DRAW = 4


@dataclass(frozen=True, slots=True)
class Addition:
    """One component to add.

    Parameters
    ----------
    component
        A toner's name or ``medium``.
    ml, grams
        How much; grams are None where its density is missing.
    """

    component: str
    ml: Fraction
    grams: Fraction | None


@dataclass(frozen=True, slots=True)
class Volumes:
    """What is left, the cup's step, and how many steps may be added.

    Parameters
    ----------
    left_ml, step_ml
        [ml].
    most_steps
        0 where nothing may be added.
    """

    left_ml: Fraction
    step_ml: Fraction
    most_steps: int


@dataclass(frozen=True, slots=True)
class Remedies:
    """Plans for one mix, and what they come to; `of` makes it from a posterior."""

    curves: Curves
    settings: ShelfSettings
    recipe: Recipe
    predictive: PosteriorPredictive

    @classmethod
    def of(
        cls,
        curves: Curves,
        settings: ShelfSettings,
        recipe: Recipe,
        target: Target,
        posterior: Posterior,
    ) -> Remedies:
        """What may be done about a mix, given what is believed of it."""
        wanted = np.array(target.lab)
        predictive = PosteriorPredictive.of(
            curves, settings, recipe, posterior, wanted, target.light
        )
        return cls(curves, settings, recipe, predictive)

    def options(self, volumes: Volumes) -> dict[str, Plan]:
        """The best plan of each kind; a toner that is not in the mix only where the rest fails."""
        fewest, most = self.settings.mixing.coats
        coats = sorted({*range(fewest, most + 1), max(1, round(self.recipe.coats))})
        now = [max(1, round(self.recipe.coats))]
        found = {"stop": self._plan([], now, volumes), "coats": self._plan([], coats, volumes)}
        if volumes.most_steps == 0:
            return found
        mix = [name for name in self.recipe.blend if self.settings.toners[name].in_stock]
        found[MEDIUM] = self._plan([MEDIUM], coats, volumes)
        found["toner"] = self._plan([MEDIUM, *mix], coats, volumes)
        if min(plan.expected_de00 for plan in found.values()) > self.settings.mixing.tolerance:
            others = [
                self._plan([MEDIUM, *mix, name], coats, volumes)
                for name, toner in self.settings.toners.items()
                if toner.in_stock and name in self.curves.toners and name not in self.recipe.blend
            ]
            if others:
                found["new toner"] = min(others, key=lambda plan: plan.expected_de00)
        return found

    def _plan(self, components: Sequence[str], coats: Sequence[int], volumes: Volumes) -> Plan:
        plans = best_plans(
            self.predictive,
            components,
            coats,
            step_ml=float(volumes.step_ml),
            most_steps=volumes.most_steps,
            left_ml=float(volumes.left_ml),
        )
        return plans[0]

    def additions(self, plan: Plan, volumes: Volumes) -> list[Addition]:
        """What a plan adds: toners by falling amount, then the medium."""
        known = densities(self.settings)
        names = sorted(plan.steps, key=lambda name: (name == MEDIUM, -plan.steps[name], name))
        found = []
        for name in names:
            ml = plan.steps[name] * volumes.step_ml
            grams = None if name not in known else ml * Fraction(known[name])
            found.append(Addition(name, ml, grams))
        return found

    def match(self, plan: Plan, volumes: Volumes) -> Match:
        """A plan as a recipe with the colour that is expected of it."""
        predictive, mixing = self.predictive, self.settings.mixing
        added = np.zeros((1, len(self.curves.toners) + 1))
        for name, count in plan.steps.items():
            column = -1 if name == MEDIUM else self.curves.toners.index(name)
            added[0, column] = count * float(volumes.step_ml)
        coats, left = np.array([plan.coats]), float(volumes.left_ml)
        fresh = predictive.lab(coats, added, left)[:, 0]
        thin, thick = (
            predictive.centre().lab(coats * build, added, left)[0, 0] for build in (0.9, 1.1)
        )
        rng = np.random.default_rng(2)
        hand_sd = film_build_sd(plan.coats, mixing)
        inside = []
        for _ in range(_PANELS_A_DRAW):
            builds = np.exp(hand_sd * rng.standard_normal(len(fresh)))
            panels = predictive.lab_of_builds(coats, added, left, builds)[:, 0]
            read = panels + self.settings.measurement.repeat_sd * rng.standard_normal(panels.shape)
            inside.append(delta_e_2000(read, predictive.target) <= mixing.tolerance)
        de00 = round(float(delta_e_2000(np.array(plan.lab), predictive.target)), 6)
        return Match(
            recipe=self._recipe_of(plan, volumes),
            lab=frozen(plan.lab),
            lab_sd=frozen(fresh.std(axis=0)),
            de00=de00,
            in_tolerance=de00 <= mixing.tolerance,
            pass_probability=round(float(np.mean(inside)), 3),
            unevenness=round(float(delta_e_2000(thin, thick)), 2),
        )

    def _recipe_of(self, plan: Plan, volumes: Volumes) -> Recipe:
        """The mix as it then is: parts in ml to 0.1, letdown to 0.01."""
        if not plan.steps:
            return self.recipe.with_(coats=plan.coats)
        parts = shares(self.recipe, self.settings)
        ml = {
            name: parts.get(name, Fraction(0)) * volumes.left_ml
            + plan.steps.get(name, 0) * volumes.step_ml
            for name in dict.fromkeys((*self.recipe.blend, *plan.steps))
        }
        medium = ml.pop(MEDIUM, parts.get(MEDIUM, Fraction(0)) * volumes.left_ml)
        letdown = medium / sum(ml.values(), Fraction(0))
        return Recipe(
            {name: _decimal(amount, 1) for name, amount in ml.items()},
            _decimal(letdown, 2),
            plan.coats,
            self.recipe.ground,
        )


def _decimal(value: Fraction, places: int) -> Decimal:
    return Decimal(round(value * 10**places)).scaleb(-places)
