"""How fresh panels of a mix would read, given what its panels told: the posterior predictive.

Model
    Adding x ml to L ml of mix leaves a dose per coat of

        doseᵢ = (mixᵢ · L + (1 + A) · xᵢ · bottleᵢ) / (L + Σ x)

    of toner i, A being the house's additives per paint: they are in the mix and not in what is
    added. Under each hypothesis of the posterior Lab is linear in all that is not known: gun,
    bottles, pours, curves and ground as the readings left them, and what is drawn afresh, the hand
    of the panel, the pours of what is added, the instrument. The predictive is the mixture of these
    normal distributions.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from fewtone.colorimetry import Light, delta_e_2000
from fewtone.model.curves import Curves
from fewtone.model.recipe import Recipe
from fewtone.model.shelf import ShelfSettings
from fewtone.model.variation import film_build_sd, pour_shares, repeat_variance
from fewtone.prediction.forward import lab_of_doses, recipe_doses
from fewtone.prediction.pass_probability import chance_within, normal_points
from fewtone.typing import FloatArray, FloatLike, IntArray, frozen
from fewtone.workshop.panel.panel_model import films_of, square_root
from fewtone.workshop.panel.posterior import (
    BOTTLE_OFF_CHANCE,
    BOTTLE_OFF_SD,
    STEADY_SD,
    Posterior,
)
from fewtone.workshop.pour.mix import MEDIUM, shares

__all__ = ["Fresh", "PosteriorPredictive"]

# Along each axis of a normal distribution.
_NODES = 5
# Points at which how often mixes truly pass is compared.
_POINTS = 256
# A bottle that no panel of the job tells of: on or off, as the prior has it.
_UNTOLD_SD = float(np.hypot(np.sqrt(BOTTLE_OFF_CHANCE) * BOTTLE_OFF_SD, STEADY_SD))


@dataclass(frozen=True, slots=True, eq=False)
class Fresh:
    """Fresh panels of some plans, as a mixture of normal distributions of Lab.

    Parameters
    ----------
    weight
        Of each hypothesis, shape ``(n_hypotheses,)``.
    lab
        Mean under each, shape ``(n_hypotheses, n_plans, 3)``.
    deviations
        How Lab without hand and instrument deviates in each independent direction, common to all
        plans, shape ``(n_hypotheses, n_plans, 3, n_directions)``.
    sprayed
        Covariance that hand and instrument add, shape ``(n_hypotheses, n_plans, 3, 3)``.
    """

    weight: FloatArray
    lab: FloatArray
    deviations: FloatArray
    sprayed: FloatArray

    @property
    def sure(self) -> FloatArray:
        """Covariance without hand and instrument, shape ``(n_hypotheses, n_plans, 3, 3)``."""
        return np.asarray(self.deviations @ self.deviations.swapaxes(-1, -2))

    @property
    def read(self) -> FloatArray:
        """Covariance of what a panel reads, hand and instrument included, shaped like `sure`."""
        return self.sure + self.sprayed

    @property
    def mean(self) -> FloatArray:
        """Mean Lab, shape ``(n_plans, 3)``."""
        return np.asarray(np.tensordot(self.weight, self.lab, 1))

    @property
    def lab_sd(self) -> FloatArray:
        """Standard deviation of Lab without hand and instrument, shape ``(n_plans, 3)``."""
        apart = (self.lab - self.mean) ** 2 + np.diagonal(self.sure, axis1=-2, axis2=-1)
        return np.asarray(np.sqrt(np.tensordot(self.weight, apart, 1)))

    def only(self, plans: slice) -> Fresh:
        """Those of some plans.

        Parameters
        ----------
        plans
            Their positions.
        """
        return Fresh(
            self.weight, self.lab[:, plans], self.deviations[:, plans], self.sprayed[:, plans]
        )

    def pair(self, one: int, other: int) -> Fresh:
        """Those of two plans.

        Parameters
        ----------
        one, other
            Their positions.
        """
        both = [one, other]
        return Fresh(
            self.weight, self.lab[:, both], self.deviations[:, both], self.sprayed[:, both]
        )

    def expected_de00(self, target: FloatLike) -> FloatArray:
        """Mean ΔE00 to the target of panels without hand and instrument, shape ``(n_plans,)``.

        Under each hypothesis by Gauss and Hermite's rule along the axes of its covariance.

        Parameters
        ----------
        target
            CIELAB, shape ``(3,)``.
        """
        steps, weights = _hermite()
        labs = self.lab[..., np.newaxis, :] + steps @ square_root(self.sure).swapaxes(-1, -2)
        return np.asarray(np.tensordot(self.weight, delta_e_2000(labs, target) @ weights, 1))

    def worse(self, target: FloatLike, tolerance: float, clearly: float) -> float:
        """How likely it is that the second of two plans truly passes less often than the first.

        How often a mix truly passes is not known, but how far the two Labs are off, which are
        normally distributed together under each hypothesis: counted at evenly spread points of
        them.

        Parameters
        ----------
        target
            CIELAB, shape ``(3,)``.
        tolerance
            ΔE00 that passes.
        clearly
            Less often by more than this chance.
        """
        count, size = len(self.weight), self.lab.shape[1] * 3
        apart = self.deviations.reshape(count, size, -1)
        root = square_root(apart @ apart.swapaxes(-1, -2))
        off = normal_points(_POINTS, size) @ root.swapaxes(-1, -2)
        labs = self.lab[:, np.newaxis] + off.reshape(count, _POINTS, -1, 3)
        sprayed = np.broadcast_to(self.sprayed[:, np.newaxis], (*labs.shape, 3))
        chances = chance_within(
            labs.reshape(-1, 3), sprayed.reshape(-1, 3, 3), np.asarray(target), tolerance
        ).reshape(labs.shape[:-1])
        lost = chances[..., 0] - chances[..., 1] > clearly
        return float(self.weight @ lost.mean(axis=1))

    def chance(self, target: FloatLike, tolerance: float) -> FloatArray:
        """Chance that a panel reads within tolerance of the target, shape ``(n_plans,)``.

        Parameters
        ----------
        target
            CIELAB, shape ``(3,)``.
        tolerance
            ΔE00 that passes.
        """
        shape = self.lab.shape[:-1]
        lab, covariance = self.lab.reshape(-1, 3), self.read.reshape(-1, 3, 3)
        chances = chance_within(lab, covariance, np.asarray(target), tolerance).reshape(shape)
        return np.asarray(np.tensordot(self.weight, chances, 1))


@lru_cache(maxsize=1)
def _hermite() -> tuple[FloatArray, FloatArray]:
    """Nodes ``(n, 3)`` and weights ``(n,)`` of a standard normal distribution in space."""
    node, weight = np.polynomial.hermite_e.hermegauss(_NODES)
    nodes = np.stack(np.meshgrid(node, node, node, indexing="ij"), axis=-1).reshape(-1, 3)
    weights = np.multiply.outer(np.multiply.outer(weight, weight), weight).ravel()
    return frozen(nodes), frozen(weights / weights.sum())


@dataclass(frozen=True, slots=True, eq=False)
class PosteriorPredictive:
    """Fresh panels of the last cup of a job.

    Parameters
    ----------
    curves, settings
        The learnt shelf.
    posterior
        What the job's panels told.
    light
        Illuminant and observer of the Lab values.
    """

    curves: Curves
    settings: ShelfSettings
    posterior: Posterior
    light: Light

    @property
    def additives(self) -> float:
        """Additives per paint by volume [1]."""
        return float(sum(additive.percent for additive in self.settings.additives)) / 100.0

    def of_plans(
        self, coats: FloatArray | IntArray, added: FloatArray, left_ml: float, build: float = 1.0
    ) -> Fresh:
        """Fresh panels of what is in the cup, with something added to it.

        Parameters
        ----------
        coats
            Coats of each plan, shape ``(n_plans,)``.
        added
            Volume added of each learnt toner, the last column of medium [ml], shape
            ``(n_plans, n_toners + 1)``.
        left_ml
            What is left of the mix [ml].
        build
            Film build of all panels relative to a standard coat [1].
        """
        share = added / (left_ml + added.sum(axis=1))[:, np.newaxis]

        def spread(parameters: FloatArray) -> _Spread:
            dose, old = self._mixed(parameters, added, left_ml)
            # What was in the mix is as it is, what is added is by its bottle and its pour.
            by_parameter = old[:, :, np.newaxis] * self.posterior.in_mix
            by_parameter += (1.0 - old)[:, :, np.newaxis] * self._by_strength
            pours = np.repeat(-share[:, np.newaxis], old.shape[1], axis=1)
            toners = np.arange(old.shape[1])
            pours[:, toners, toners] += 1.0 - old
            return _Spread(dose, by_parameter, pours * (added > 0.0)[:, np.newaxis])

        return self._fresh(spread, self.posterior.recipe.ground, coats, build)

    def of_recipes(self, recipes: Sequence[Recipe], build: float = 1.0) -> Fresh:
        """Fresh panels of fresh cups of recipes over one ground.

        Bottles, gun and curves are as the readings left them, the pours are drawn afresh.

        Parameters
        ----------
        recipes
            What is mixed afresh and sprayed.
        build
            Film build relative to a standard coat [1].
        """
        per_coat, _ = recipe_doses(self.curves, [recipe.with_(coats=1) for recipe in recipes])
        volumes = []
        for recipe in recipes:
            parts = shares(recipe, self.settings)
            volumes.append([float(parts.get(name, 0)) for name in (*self.curves.toners, MEDIUM)])
        pours = np.array([pour_shares(np.array(volume)) for volume in volumes])
        pours *= (np.array(volumes) > 0.0)[:, np.newaxis]

        def spread(parameters: FloatArray) -> _Spread:
            dose = per_coat * np.exp(self._by_strength @ parameters)
            by_parameter = np.broadcast_to(self._by_strength, (len(dose), *self._by_strength.shape))
            return _Spread(dose, by_parameter, pours)

        coats = np.array([float(recipe.coats) for recipe in recipes])
        return self._fresh(spread, recipes[0].ground, coats, build)

    def centre(self, coats: FloatArray | IntArray, added: FloatArray, left_ml: float) -> FloatArray:
        """Lab at the posterior's mean but for what the curves are off by, ``(n_plans, 3)``.

        Parameters
        ----------
        coats
            Of each plan, shape ``(n_plans,)``.
        added
            What each adds of every learnt toner, and of medium last [ml], shape ``(n_plans,
            n_toners + 1)``.
        left_ml
            What is left of the mix [ml].
        """
        parameters = sum(
            (one.weight * one.explanation.parameters for one in self.posterior.hypotheses),
            start=np.zeros(self.posterior.in_mix.shape[1]),
        )
        dose = self._mixed(parameters, added, left_ml)[0]
        dose = dose * self.curves.films(coats)[:, np.newaxis]
        dose = dose * np.exp(parameters[self.posterior.gun])
        return lab_of_doses(self.curves, dose, self.posterior.recipe.ground, self.light)

    @property
    def _by_strength(self) -> FloatArray:
        """∂ log dose/∂ parameter by the bottles alone, shape ``(n_toners, n_parameters)``."""
        by = np.zeros_like(self.posterior.in_mix)
        columns = [self.curves.toners.index(name) for name in self.posterior.toners]
        by[columns, list(self.posterior.strength)] = 1.0
        return by

    def _mixed(
        self, parameters: FloatArray, added: FloatArray, left_ml: float
    ) -> tuple[FloatArray, FloatArray]:
        """Doses of one coat ``(n_plans, n_toners)``, and what share was in the mix before."""
        recipe = self.posterior.recipe.with_(coats=1)
        per_coat = recipe_doses(self.curves, [recipe])[0][0]
        in_mix = per_coat * np.exp(self.posterior.in_mix @ parameters) * left_ml
        new = (1.0 + self.additives) * added[:, :-1] * np.exp(self._by_strength @ parameters)
        dose = (in_mix + new) / (left_ml + added.sum(axis=1))[:, np.newaxis]
        old = np.divide(in_mix, in_mix + new, out=np.zeros_like(dose), where=dose > 0.0)
        return dose, old

    def _fresh(
        self,
        spread: Callable[[FloatArray], _Spread],
        ground: str,
        coats: FloatArray | IntArray,
        build: float,
    ) -> Fresh:
        """The mixture over the hypotheses, each linearised about its most probable parameters."""
        mixing, posterior = self.settings.mixing, self.posterior
        passes, film = np.asarray(coats, dtype=float), self.curves.films(coats)
        row = self.curves.grounds.index(ground)
        columns = [self.curves.toners.index(name) for name in posterior.toners]
        untold = np.setdiff1d(np.arange(len(self.curves.toners)), columns)
        repeat = repeat_variance(self.settings.measurement) * np.eye(3)
        labs, deviations, sprayed = [], [], []
        for hypothesis in posterior.hypotheses:
            explanation = hypothesis.explanation
            of = spread(explanation.parameters)
            gun = np.exp(explanation.parameters[posterior.gun])
            dose = of.dose * (build * gun * film)[:, np.newaxis]
            films = films_of(
                self.curves, dose, np.full(len(dose), row), self.light, deviations=True
            )
            assert films.deviations is not None
            directions = np.moveaxis(films.deviations, 0, -1)
            by_parameter = of.by_parameter.copy()
            by_parameter[:, :, posterior.gun] += 1.0
            by_all = films.by_log_dose @ by_parameter + posterior.shift
            rows = np.concatenate([by_all, directions], axis=-1)
            parameter_deviations = np.concatenate(
                [
                    mixing.pour_cv * (films.by_log_dose @ of.pours),
                    _UNTOLD_SD * films.by_log_dose[:, :, untold],
                ],
                axis=-1,
            )
            hand = films.by_log_dose.sum(axis=-1) * film_build_sd(passes, mixing)[:, np.newaxis]
            shift = posterior.shift @ explanation.parameters
            labs.append(films.lab + shift + directions @ explanation.directions)
            deviations.append(
                np.concatenate([explanation.deviations_of(rows), parameter_deviations], axis=-1)
            )
            sprayed.append(hand[:, :, np.newaxis] * hand[:, np.newaxis] + repeat)
        weight = np.array([hypothesis.weight for hypothesis in posterior.hypotheses])
        return Fresh(weight, np.array(labs), np.array(deviations), np.array(sprayed))


class _Spread(NamedTuple):
    """Doses of one coat without the gun ``(n_plans, n_toners)``, and what their logs depend on.

    ``by_parameter`` ``(n_plans, n_toners, n_parameters)`` without the gun; ``pours``
    ``(n_plans, n_toners, n_toners + 1)`` of the pours that are drawn afresh.
    """

    dose: FloatArray
    by_parameter: FloatArray
    pours: FloatArray
