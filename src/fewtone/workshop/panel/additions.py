"""What may be added to a mix, and how a fresh panel of it would then read.

Model
    Adding x ml to L ml of mix leaves a dose per coat of

        doseᵢ = (mixᵢ · L + (1 + A) · xᵢ · bottleᵢ) / (L + Σ x)

    of toner i, A being the house's additives per paint: they are in the mix and not in what is
    added. Nothing can be taken out, so every x is 0 or more; the cup shows steps, so every x is a
    whole number of them.

Search
    All whole-number additions that fit, as far as their number allows; else on a coarser grid
    first, refined around its best points down to single steps. Distances are taken at the centre
    of the posterior; the best few are then compared by their expected ΔE00 over its draws.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from fewtone.colorimetry import Light, delta_e_2000
from fewtone.model.curves import Curves
from fewtone.model.recipe import Recipe
from fewtone.model.shelf import ShelfSettings
from fewtone.prediction.forward import lab_of_doses, recipe_dose
from fewtone.typing import FloatArray, IntArray, frozen
from fewtone.workshop.panel.posterior import BOTTLE_OFF_CHANCE, BOTTLE_OFF_SD, STEADY_SD, Posterior
from fewtone.workshop.pour.mix import MEDIUM

__all__ = ["Plan", "PosteriorPredictive", "best_plans"]

_MOST_POINTS = 40_000
_KEPT = 16
# Among plans that come equally near, fewer components and less paint win [ΔE00 each].
_PER_COMPONENT, _PER_DOUBLING = 0.02, 0.1


@dataclass(frozen=True, slots=True)
class Plan:
    """Something to do, and how a fresh panel would then read.

    Parameters
    ----------
    coats
        Coats to give.
    steps
        Steps of each component to add; what is not added is left out.
    expected_de00
        Mean ΔE00 of a fresh panel without hand or instrument, over the posterior.
    lab
        Its mean CIELAB over the posterior.
    """

    coats: int
    steps: dict[str, int]
    expected_de00: float
    lab: tuple[float, float, float]


@dataclass(frozen=True, slots=True, eq=False)
class PosteriorPredictive:
    """How fresh panels of a mix would read, given a posterior.

    Parameters
    ----------
    curves
        The learnt shelf.
    ground
        Name of the ground.
    light
        Illuminant and observer of the target.
    target
        CIELAB that is wanted, shape ``(3,)``.
    per_coat
        Dose of each learnt toner in one coat as the recipe has it, shape ``(n_toners,)``.
    additives
        Additives per paint by volume [1].
    gun, mix, bottles, offset
        Draws of the posterior over all learnt toners, shapes ``(n_draws,)``,
        ``(n_draws, n_toners)`` twice, ``(n_draws, 3)``.
    """

    curves: Curves
    ground: str
    light: Light
    target: FloatArray
    per_coat: FloatArray
    additives: float
    gun: FloatArray
    mix: FloatArray
    bottles: FloatArray
    offset: FloatArray

    @classmethod
    def of(
        cls,
        curves: Curves,
        settings: ShelfSettings,
        recipe: Recipe,
        posterior: Posterior,
        target: FloatArray,
        light: Light,
    ) -> PosteriorPredictive:
        """Look ahead from a posterior; bottles not in the mix are as their prior has them."""
        draws, size = len(posterior.gun), len(curves.toners)
        columns = [curves.toners.index(name) for name in posterior.toners]
        mix = np.zeros((draws, size))
        mix[:, columns] = posterior.mix
        spread = math.sqrt(BOTTLE_OFF_CHANCE * BOTTLE_OFF_SD**2 + STEADY_SD**2)
        bottles = spread * np.random.default_rng(1).standard_normal((draws, size))
        bottles[:, columns] = posterior.bottles
        return cls(
            curves=curves,
            ground=recipe.ground,
            light=light,
            target=frozen(target),
            per_coat=recipe_dose(curves, recipe.with_(coats=1)),
            additives=float(sum(additive.percent for additive in settings.additives)) / 100.0,
            gun=posterior.gun,
            mix=mix,
            bottles=bottles,
            offset=posterior.offset,
        )

    def centre(self) -> PosteriorPredictive:
        """The same at the posterior's mean alone: one draw."""
        return replace(
            self,
            gun=self.gun.mean(axis=0, keepdims=True),
            mix=self.mix.mean(axis=0, keepdims=True),
            bottles=self.bottles.mean(axis=0, keepdims=True),
            offset=self.offset.mean(axis=0, keepdims=True),
        )

    def lab(self, coats: IntArray | FloatArray, added: FloatArray, left_ml: float) -> FloatArray:
        """CIELAB of fresh panels, shape ``(n_draws, n_plans, 3)``.

        Parameters
        ----------
        coats
            Shape ``(n_plans,)``.
        added
            Volume added of each learnt toner, the last column of medium [ml], shape
            ``(n_plans, n_toners + 1)``.
        left_ml
            What is left of the mix [ml].
        """
        in_mix = self.per_coat * np.exp(self.mix)[:, np.newaxis] * left_ml
        new = (1.0 + self.additives) * added[:, :-1] * np.exp(self.bottles)[:, np.newaxis]
        dose = (in_mix + new) / (left_ml + added.sum(axis=1))[:, np.newaxis]
        dose = dose * np.exp(self.gun)[:, np.newaxis, np.newaxis] * coats[:, np.newaxis]
        lab = lab_of_doses(self.curves, dose, self.ground, self.light)
        return np.asarray(lab + self.offset[:, np.newaxis])

    def lab_of_builds(
        self, coats: IntArray, added: FloatArray, left_ml: float, builds: FloatArray
    ) -> FloatArray:
        """As `lab`, each draw at a film build of its own [1], shape ``(n_draws,)``."""
        return replace(self, gun=self.gun + np.log(builds)).lab(coats, added, left_ml)

    def distance(self, lab: FloatArray) -> FloatArray:
        """ΔE00 to the target, shape ``(n_draws, n_plans)``."""
        return delta_e_2000(lab, self.target)


def best_plans(
    predictive: PosteriorPredictive,
    components: Sequence[str],
    coats: Sequence[int],
    *,
    step_ml: float,
    most_steps: int,
    left_ml: float,
) -> list[Plan]:
    """The best plans that add some of these components in steps, the best first.

    Parameters
    ----------
    predictive
        What fresh panels would read.
    components
        What may be added: ``medium`` and toners' names; none for coats alone.
    coats
        Which numbers of coats may be given.
    step_ml, most_steps
        The cup's step [ml], and how many of them fit in all.
    left_ml
        What is left of the mix [ml].
    """
    centre, size = predictive.centre(), len(components)
    columns = [_column(predictive.curves, name) for name in components]

    def added(steps: IntArray) -> FloatArray:
        volumes = np.zeros((len(steps), len(predictive.curves.toners) + 1))
        volumes[:, columns] = steps * step_ml
        return volumes

    def kept(points: IntArray) -> IntArray:
        """The best points; a point is coats, then the steps of each component."""
        points = np.unique(points, axis=0)
        lab = centre.lab(points[:, 0], added(points[:, 1:]), left_ml)
        cost = centre.distance(lab)[0] + _effort(points[:, 1:], step_ml / left_ml)
        return points[np.argsort(cost, kind="stable")[:_KEPT]]

    coarse = 1
    while math.comb(most_steps // coarse + size, size) * len(coats) > _MOST_POINTS:
        coarse += 1
    grid = _all_sums(size, most_steps // coarse) * coarse
    best = kept(np.vstack([np.insert(grid, 0, count, axis=1) for count in coats]))
    around = np.indices((3,) * size).reshape(size, 3**size).T - 1
    while coarse > 1:
        coarse = (coarse + 1) // 2
        near = best[:, np.newaxis, 1:] + coarse * around
        near = np.concatenate(
            [np.repeat(best[:, :1], len(around), axis=0), near.reshape(-1, size)], axis=1
        )
        fits = (near[:, 1:] >= 0).all(axis=1) & (near[:, 1:].sum(axis=1) <= most_steps)
        best = kept(np.vstack([best, near[fits]]))
    lab = predictive.lab(best[:, 0], added(best[:, 1:]), left_ml)
    expected = predictive.distance(lab).mean(axis=0)
    order = np.argsort(expected + _effort(best[:, 1:], step_ml / left_ml), kind="stable")
    return [
        Plan(
            coats=int(best[row, 0]),
            steps={
                name: int(count)
                for name, count in zip(components, best[row, 1:], strict=True)
                if count
            },
            expected_de00=float(expected[row]),
            lab=_triple(lab[:, row].mean(axis=0)),
        )
        for row in order
    ]


def _effort(steps: IntArray, share: float) -> FloatArray:
    """What a plan costs beside its distance [ΔE00]: components to open, paint to make."""
    opened = _PER_COMPONENT * (steps > 0).sum(axis=1)
    return np.asarray(opened + _PER_DOUBLING * share * steps.sum(axis=1))


def _all_sums(size: int, most: int) -> IntArray:
    """Every vector of whole numbers of 0 or more whose sum is at most `most`, ``(n, size)``."""
    rows = np.zeros((1, 0), dtype=np.int64)
    for _ in range(size):
        room = most - rows.sum(axis=1) + 1
        first = np.repeat(np.cumsum(room) - room, room)
        rows = np.column_stack([np.repeat(rows, room, axis=0), np.arange(room.sum()) - first])
    return rows


def _column(curves: Curves, name: str) -> int:
    return len(curves.toners) if name == MEDIUM else curves.toners.index(name)


def _triple(values: FloatArray) -> tuple[float, float, float]:
    return float(values[0]), float(values[1]), float(values[2])
