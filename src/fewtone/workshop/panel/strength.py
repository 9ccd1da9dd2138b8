"""The strength of a bottle by panels of it: the most probable one, and how sure that is.

Model
    The dose of toner i on panel p is

        log dose = log(coats · share) + handₚ + pourᵢ - Σⱼ volumeⱼ · pourⱼ + [i is new] · strength

    strength   how much stronger the bottle is than the learnt curve, as a logarithm: it multiplies
               absorption and scattering alike
    hand       how heavy this panel came out: panel_cv for the panel, coat_cv for each of its coats
    pour       how far each component is off in the cup that all the panels were sprayed from

    What was read is the film's Lab, off by what learning says that the curves, the ground and the
    film model are, and by the instrument's noise. All of it is normal and small; Gauss-Newton
    steps give the most probable strength (maximum a posteriori) with hands and pours free, and
    the curvature there its standard deviation (Laplace's approximation).

Validity
    Misses of some tens of percent in dose.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fewtone.colorimetry import Light, delta_e_2000
from fewtone.model.curves import Curves
from fewtone.model.recipe import Recipe
from fewtone.model.shelf import ShelfSettings
from fewtone.model.variation import film_build_covariance, pour_shares, repeat_variance
from fewtone.prediction.forward import (
    lab_of_doses,
    recipe_dose,
    recipe_doses,
    reflectance_derivatives,
)
from fewtone.prediction.uncertainty import lab_deviations, reflectance_deviations
from fewtone.typing import FloatArray
from fewtone.workshop.panel.posterior import CURVES_SD
from fewtone.workshop.panel.readings import PanelReading
from fewtone.workshop.pour.mix import MEDIUM, shares

__all__ = ["Explanation", "StrengthProblem"]

# Parameters known exactly (a hand or a pour of no variation) still need an inverse.
_FLOOR = 1e-4
_MOST_STEPS, _SMALL_STEP, _PROBE = 30, 1e-8, 1e-5


@dataclass(frozen=True, slots=True, eq=False)
class Explanation:
    """The most probable parameters under one prior of the strength, and how well they do.

    Parameters
    ----------
    mean
        The parameters of the problem, shape ``(n_parameters,)``; the strength's logarithm comes
        first.
    sd
        Standard deviation of the strength's logarithm.
    log_evidence
        Of the readings under this prior, up to a constant of the problem.
    reduced_residual
        How unlikely the readings are, as standard deviations per coordinate (root mean square).
    """

    mean: FloatArray
    sd: float
    log_evidence: float
    reduced_residual: float


@dataclass(frozen=True, slots=True, eq=False)
class StrengthProblem:
    """The parameters as one vector: strength, hand of each reading, pours, the medium's pour.

    ``log dose = log(nominal) + log_dose_of @ parameters`` for each reading.
    """

    curves: Curves
    ground: str
    light: Light
    columns: list[int]
    place: int  # of the new toner among the mix's
    nominal: FloatArray  # (n_readings, n_mix_toners)
    observed: FloatArray  # (n_readings, 3)
    covariance: FloatArray  # (3 n_readings, 3 n_readings): instrument, curves, ground, model
    log_dose_of: FloatArray  # (n_readings, n_mix_toners, n_parameters)
    prior: FloatArray  # (n_parameters, n_parameters): covariance; the strength's is set later

    @classmethod
    def of(
        cls,
        curves: Curves,
        settings: ShelfSettings,
        recipe: Recipe,
        name: str,
        readings: Sequence[PanelReading],
        panels: Sequence[int],
        light: Light,
    ) -> StrengthProblem:
        """The problem of a bottle.

        Parameters
        ----------
        curves, settings
            The shelf, the new toner's curve as it was learnt.
        recipe
            What was sprayed.
        name
            The toner whose bottle is new.
        readings, panels
            Coats and CIELAB of each reading, and a number for the panel that it is of.
        light
            Their illuminant and observer.

        Raises
        ------
        FewtoneError
            The recipe names a toner or ground that was not learnt.
        """
        sprayed = [recipe.with_(coats=coats) for coats, _ in readings]
        doses = np.array([recipe_dose(curves, one) for one in sprayed])
        names, k = tuple(recipe.blend), len(readings)
        n, place = len(names), names.index(name)
        columns = [curves.toners.index(one) for one in names]
        parts = shares(recipe, settings)
        volume = np.array([float(parts.get(one, 0)) for one in (*names, MEDIUM)])
        log_dose_of = np.zeros((k, n, k + n + 2))
        log_dose_of[:, place, 0] = 1.0
        log_dose_of[np.arange(k), :, 1 + np.arange(k)] = 1.0
        log_dose_of[:, :, 1 + k :] = pour_shares(volume)
        mixing = settings.mixing
        coats = np.array([float(count) for count, _ in readings])
        # Other panels have a hand of their own.
        hand = film_build_covariance(coats, mixing) * np.equal.outer(panels, panels)
        prior = np.diag(np.full(k + n + 2, mixing.pour_cv**2 + _FLOOR**2))
        prior[1 : 1 + k, 1 : 1 + k] = hand + _FLOOR**2 * np.eye(k)
        repeat = repeat_variance(settings.measurement)
        return cls(
            curves=curves,
            ground=recipe.ground,
            light=light,
            columns=columns,
            place=place,
            nominal=doses[:, columns],
            observed=np.array([lab for _, lab in readings]),
            covariance=repeat * np.eye(3 * k) + _curves_covariance(curves, sprayed, light),
            log_dose_of=log_dose_of,
            prior=prior,
        )

    def predicted(self, parameters: FloatArray) -> FloatArray:
        """Lab of the readings, shape ``(..., n_readings, 3)``, for ``(..., n_parameters)``."""
        change = np.einsum("rtu,...u->...rt", self.log_dose_of, parameters)
        doses = np.zeros((*change.shape[:-1], len(self.curves.toners)))
        doses[..., self.columns] = self.nominal * np.exp(np.clip(change, -3.0, 3.0))
        return lab_of_doses(self.curves, doses, self.ground, self.light)

    def mean_de00(self, parameters: FloatArray) -> float:
        """Mean ΔE00 between the readings and what the parameters predict."""
        return float(np.mean(delta_e_2000(self.observed, self.predicted(parameters))))

    def explain(self, mean: float, sd: float) -> Explanation:
        """The most probable parameters if the strength's logarithm is normal with this prior."""
        prior = self.prior.copy()
        prior[0, 0] = sd**2
        size = len(prior)
        expected = np.zeros(size)
        expected[0] = mean
        precision, noise = np.linalg.inv(prior), np.linalg.inv(self.covariance)

        def cost(at: FloatArray) -> float:
            rest = (self.observed - self.predicted(at)).ravel()
            return float(rest @ noise @ rest + (at - expected) @ precision @ (at - expected))

        at, least = expected, cost(expected)
        for _ in range(_MOST_STEPS):
            points = np.vstack([at, at + _PROBE * np.eye(size)])
            values = self.predicted(points).reshape(len(points), -1)
            slopes = ((values[1:] - values[0]) / _PROBE).T
            curvature = slopes.T @ noise @ slopes + precision
            rest = self.observed.ravel() - values[0]
            step = np.linalg.solve(curvature, slopes.T @ noise @ rest - precision @ (at - expected))
            # A step that overshoots is halved until it helps.
            while cost(at + step) > least and np.abs(step).max() > _SMALL_STEP:
                step = 0.5 * step
            if np.abs(step).max() <= _SMALL_STEP:
                break
            at, least = at + step, cost(at + step)
        sizes = (np.linalg.slogdet(m)[1] for m in (self.covariance, prior, curvature))
        return Explanation(
            mean=at,
            sd=float(np.sqrt(np.linalg.inv(curvature)[0, 0])),
            log_evidence=-0.5 * (least + float(sum(sizes))),
            reduced_residual=float(np.sqrt(least / (self.observed.size - 1))),
        )


def _curves_covariance(curves: Curves, recipes: Sequence[Recipe], light: Light) -> FloatArray:
    """Covariance of the Labs of recipes by curves, ground and film model, all steps together."""
    doses, ground = recipe_doses(curves, recipes)
    film = reflectance_derivatives(curves, doses, ground)
    off = reflectance_deviations(curves, film, doses, ground)
    if off is None:
        bent = np.tile(CURVES_SD * np.eye(3), len(recipes))
    else:
        bent = lab_deviations(curves, film.reflectance, off, light).swapaxes(0, 1)
        bent = bent.reshape(len(bent), -1)
    return np.asarray(bent.T @ bent)
