"""What can be done about a mix after a panel: the best of each kind, and what it comes to."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

import numpy as np

from fewtone.colorimetry import delta_e_2000
from fewtone.match.result import Match
from fewtone.model.curves import Curves
from fewtone.model.recipe import Recipe
from fewtone.model.shelf import ShelfSettings
from fewtone.model.target import Target
from fewtone.typing import IntArray, frozen
from fewtone.workshop.panel.plans import MOST_RISK, Plan, best_plan
from fewtone.workshop.panel.posterior import Posterior
from fewtone.workshop.panel.predictive import Fresh, PosteriorPredictive
from fewtone.workshop.pour.mix import MEDIUM, densities, shares

__all__ = ["EXPECTED_TO_PASS", "NO_BAD_BET", "RISE", "Addition", "Remedies", "Volumes"]

RISE = {"coats": 0.04, MEDIUM: 0.05, "toner": 0.07, "new toner": 0.14}
"""By how much the chance of the next panel has to rise for a kind of step to be taken: the more
trouble it is, and the less it can be taken back, the more. Calibrated with `MOST_RISK`."""
EXPECTED_TO_PASS = 0.65
"""A mix of this chance or more is left alone. Calibrated in the simulated booth, where acting on
every rise lets 3 in 100 more of the next panels pass than leaving alone from .5 on and makes twice
as many mixes worse; from .65 on most of that gain is kept, and none of the harm added."""

NO_BAD_BET = 0.75
"""What a recipe for next time has to keep of the chance of the mix to be no bad bet."""

_THIN, _THICK = 0.9, 1.1
# Less than this of a toner is told to a thousandth of a millilitre, and not to a tenth.
_FEW_ML = 20
# Whole-number recipes that are looked at for next time: the ratios nearest to the mix's, and loads
# within this factor of its own.
_RATIOS, _MOST_RATIOS, _LEAST_LOAD = 12, 100_000, 0.7
# Times the shelf's largest part, tried in turn for next time.
_LARGER_PARTS = (1, 2, 3, 5)


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
    """Plans for one mix, and what they come to; `of` makes it from a posterior.

    Parameters
    ----------
    curves, settings
        The learnt shelf.
    recipe
        What was meant to be in the cup.
    predictive
        How panels of it would read.
    target
        What was asked for.
    """

    curves: Curves
    settings: ShelfSettings
    recipe: Recipe
    predictive: PosteriorPredictive
    target: Target

    @classmethod
    def of(
        cls, curves: Curves, settings: ShelfSettings, target: Target, posterior: Posterior
    ) -> Remedies:
        """What may be done about the last cup of a job, given what is believed of it."""
        predictive = PosteriorPredictive(curves, settings, posterior, target.light)
        return cls(curves, settings, posterior.recipe, predictive, target)

    def options(self, volumes: Volumes) -> dict[str, Plan]:
        """The best plan of each kind; a toner that is not in the mix only where the rest fails."""
        fewest, most = self.settings.mixing.coats
        now = max(1, round(self.recipe.coats))
        coats = [now, *(count for count in range(fewest, most + 1) if count != now)]

        def plan(kind: str, *components: str) -> Plan:
            return best_plan(
                self.predictive,
                self.target,
                components,
                [now] if kind == "stop" else coats,
                step_ml=float(volumes.step_ml),
                most_steps=volumes.most_steps,
                left_ml=float(volumes.left_ml),
                rise=RISE.get(kind, 0.0),
            )

        plans = {kind: plan(kind) for kind in ("stop", "coats")}
        if volumes.most_steps == 0:
            return plans
        mix = [name for name in self.recipe.blend if self.settings.toners[name].in_stock]
        plans[MEDIUM] = plan(MEDIUM, MEDIUM)
        plans["toner"] = plan("toner", MEDIUM, *mix)
        if max(each.chance for each in plans.values()) < EXPECTED_TO_PASS:
            others = [
                plan("new toner", MEDIUM, *mix, name)
                for name, toner in self.settings.toners.items()
                if toner.in_stock and name in self.curves.toners and name not in self.recipe.blend
            ]
            if others:
                plans["new toner"] = max(
                    others, key=lambda each: (each.risk <= MOST_RISK, each.chance)
                )
        return plans

    def best(self, options: Mapping[str, Plan]) -> str:
        """Which kind of plan to take: ``stop`` unless another is clearly more likely to pass.

        Parameters
        ----------
        options
            As `options` gives them.
        """
        best = "stop"
        if options[best].chance >= EXPECTED_TO_PASS:
            return best
        for kind in self.clearly_likelier(options):
            # Of what is worth doing, more trouble only for as much more as it has to gain.
            owed = RISE[kind] - RISE.get(best, 0.0)
            if options[kind].chance < options[best].chance + owed:
                continue
            if options[kind].risk <= MOST_RISK:
                best = kind
        return best

    def clearly_likelier(self, options: Mapping[str, Plan]) -> list[str]:
        """The kinds of plan whose chance is above that of the mix as it is by their `RISE`.

        Parameters
        ----------
        options
            As `options` gives them.
        """
        now = options["stop"].chance
        return [
            kind
            for kind, rise in RISE.items()
            if kind in options and options[kind].chance >= now + rise
        ]

    def additions(self, plan: Plan, volumes: Volumes) -> list[Addition]:
        """What a plan adds: toners by falling amount, then the medium."""
        known = densities(self.settings)
        names = sorted(plan.steps, key=lambda name: (name == MEDIUM, -plan.steps[name], name))
        added = []
        for name in names:
            ml = plan.steps[name] * volumes.step_ml
            grams = None if name not in known else ml * Fraction(known[name])
            added.append(Addition(name, ml, grams))
        return added

    def match(self, plan: Plan, volumes: Volumes) -> Match:
        """A plan as a recipe with the colour that is expected of it."""
        added = np.zeros((1, len(self.curves.toners) + 1))
        for name, count in plan.steps.items():
            column = -1 if name == MEDIUM else self.curves.toners.index(name)
            added[0, column] = count * float(volumes.step_ml)
        coats, left = np.array([float(plan.coats)]), float(volumes.left_ml)
        thin, fresh, thick = (
            self.predictive.of_plans(coats, added, left, build) for build in (_THIN, 1.0, _THICK)
        )
        return self._judged(self._recipe_of(plan, volumes), thin, fresh, thick)

    def next_time(self, after: Recipe) -> Match:
        """The whole-number recipe of the mix's toners that is likeliest to pass in a fresh cup.

        A mix that is a whole-number recipe by itself is taken as it is. Where the shelf's largest
        part leaves every ratio a far worse bet than the mix, larger parts are taken.

        Parameters
        ----------
        after
            The mix.
        """
        if self._is_whole(after):
            return self._fresh([after])
        least = NO_BAD_BET * (self._fresh([after]).pass_probability or 0.0)
        tried = []
        for larger in _LARGER_PARTS:
            most = self.settings.mixing.max_part * larger
            tried.append(self._fresh(self._whole_recipes(after, most)))
            if (tried[-1].pass_probability or 0.0) >= least:
                return tried[-1]
        return max(tried, key=lambda match: match.pass_probability or 0.0)

    def _fresh(self, recipes: Sequence[Recipe]) -> Match:
        """The likeliest to pass of fresh cups, the nearest of those as likely."""
        fresh = self.predictive.of_recipes(recipes)
        nearest = delta_e_2000(fresh.mean, self.target.lab)
        order = np.lexsort((nearest, -np.round(fresh.chance(self.target.lab, self._tolerance), 2)))
        chosen = recipes[int(order[0])]
        thin, fresh, thick = (
            self.predictive.of_recipes([chosen], build) for build in (_THIN, 1.0, _THICK)
        )
        return self._judged(chosen, thin, fresh, thick)

    @property
    def _tolerance(self) -> float:
        return float(self.settings.mixing.tolerance)

    def _judged(self, recipe: Recipe, thin: Fresh, fresh: Fresh, thick: Fresh) -> Match:
        de00 = round(float(delta_e_2000(fresh.mean[0], self.target.lab)), 6)
        return Match(
            recipe=recipe,
            lab=frozen(fresh.mean[0]),
            lab_sd=frozen(fresh.lab_sd[0]),
            de00=de00,
            in_tolerance=de00 <= self._tolerance,
            pass_probability=round(float(fresh.chance(self.target.lab, self._tolerance)[0]), 2),
            unevenness=round(float(delta_e_2000(thin.mean[0], thick.mean[0])), 2),
        )

    def _is_whole(self, recipe: Recipe) -> bool:
        numbers = (*recipe.blend.values(), recipe.coats)
        most = self.settings.mixing.max_part
        return (
            all(number == int(number) for number in numbers)
            and max(recipe.blend.values(), default=0) <= most
            and recipe.medium_parts in self.settings.mixing.medium_parts
        )

    def _whole_recipes(self, after: Recipe, most_part: int) -> list[Recipe]:
        """Whole-number recipes near a mix: its ratio rounded each way, every letdown and coats."""
        mixing, toners = self.settings.mixing, tuple(after.blend)
        fractions = np.array([float(share) for share in after.blend.fractions.values()])
        parts = _all_parts(len(toners), most_part)
        off = np.abs(parts / parts.sum(axis=1, keepdims=True) - fractions).sum(axis=1)
        ratios = parts[np.argsort(off, kind="stable")[:_RATIOS]]
        fewest, most = mixing.coats
        load = float(after.load)
        recipes = {
            after.with_(
                blend=dict(zip(toners, map(int, ratio), strict=True)),
                medium_parts=letdown,
                coats=coats,
            ): None
            for ratio in ratios
            for letdown in mixing.medium_parts
            for coats in range(fewest, most + 1)
            if _LEAST_LOAD <= coats / (1.0 + float(letdown)) / load <= 1.0 / _LEAST_LOAD
        }
        if recipes:
            return list(recipes)
        ratio = dict(zip(toners, map(int, ratios[0]), strict=True))
        return [after.with_(blend=ratio, medium_parts=mixing.medium_parts[0])]

    def _recipe_of(self, plan: Plan, volumes: Volumes) -> Recipe:
        """The mix as it then is: parts in ml to 0.1 or finer, letdown to 0.01."""
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
        digits = 1 if min(ml.values()) >= _FEW_ML else 3
        return Recipe(
            {name: _decimal(amount, digits) for name, amount in ml.items()},
            _decimal(letdown, 2),
            plan.coats,
            self.recipe.ground,
        )


def _decimal(value: Fraction, digits: int) -> Decimal:
    return Decimal(round(value * 10**digits)).scaleb(-digits)


def _all_parts(size: int, most: int) -> IntArray:
    """Ratios of whole parts up to `most` in lowest terms, ``(n, size)``, or as many as are few."""
    while most > 1 and most**size > _MOST_RATIOS:
        most -= 1
    parts = np.indices((most,) * size).reshape(size, -1).T + 1
    return np.asarray(parts[np.gcd.reduce(parts, axis=1) == 1])
