"""The strength of a bottle by panels of it: the most probable one, and how sure that is.

Model
    That of `fewtone.workshop.panel.panel_model` with the parameters

    strength   how much stronger the bottle is than the learnt curve, as a logarithm: it multiplies
               absorption and scattering alike
    hand       how heavy each reading's film came out: panel_cv for the panel, coat_cv for each of
               its coats
    pour       how far each component is off in the cup that all the panels were sprayed from
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fewtone.colorimetry import Light
from fewtone.model.curves import Curves
from fewtone.model.recipe import Recipe
from fewtone.model.shelf import ShelfSettings
from fewtone.model.variation import film_build_covariance, pour_shares, repeat_variance
from fewtone.prediction.forward import recipe_doses
from fewtone.typing import FloatArray
from fewtone.workshop.panel.panel_model import Explanation, PanelModel
from fewtone.workshop.panel.readings import PanelReading
from fewtone.workshop.pour.mix import MEDIUM, shares

__all__ = ["StrengthModel"]


@dataclass(frozen=True, slots=True, eq=False)
class StrengthModel:
    """The readings of a bottle; the strength is the first of the parameters.

    Parameters
    ----------
    panels
        The model of the readings.
    column
        The toner's among the learnt ones.
    prior
        Covariance of the parameters, ``(n_parameters, n_parameters)``; the strength's is 0 here
        and given to `explain`.
    """

    panels: PanelModel
    column: int
    prior: FloatArray

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
    ) -> StrengthModel:
        """The model of a bottle.

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
        nominal, ground = recipe_doses(curves, [recipe.with_(coats=c) for c, _ in readings])
        names, k = tuple(recipe.blend), len(readings)
        columns, column = [curves.toners.index(one) for one in names], curves.toners.index(name)
        parts = shares(recipe, settings)
        volume = np.array([float(parts.get(one, 0)) for one in (*names, MEDIUM)])
        log_dose = np.zeros((k, len(curves.toners), 1 + k + len(volume)))
        log_dose[:, column, 0] = 1.0
        log_dose[np.arange(k), :, 1 + np.arange(k)] = 1.0
        log_dose[:, columns, 1 + k :] = pour_shares(volume)
        mixing = settings.mixing
        coats = np.array([float(count) for count, _ in readings])
        prior = np.zeros((log_dose.shape[-1],) * 2)
        # Other panels have a hand of their own.
        hand = film_build_covariance(coats, mixing) * np.equal.outer(panels, panels)
        prior[1 : 1 + k, 1 : 1 + k] = hand
        prior[1 + k :, 1 + k :] = mixing.pour_cv**2 * np.eye(len(volume))
        observed = np.array([lab for _, lab in readings])
        noise = np.full(k, repeat_variance(settings.measurement))
        model = PanelModel.of(curves, light, ground, nominal, log_dose, observed, noise)
        return cls(model, column, prior)

    def at(self, log_strength: float) -> FloatArray:
        """Parameters of a bottle of this strength, hand and pours as they were meant.

        Parameters
        ----------
        log_strength
            Logarithm of the bottle's strength [1].

        Returns
        -------
        Shape ``(n_parameters,)``.
        """
        parameters = np.zeros(len(self.prior))
        parameters[0] = log_strength
        return parameters

    def explain(self, mean: float, sd: float) -> Explanation:
        """The most probable parameters if the strength's logarithm is normal with this prior.

        Parameters
        ----------
        mean, sd
            Of the logarithm of the bottle's strength [1].
        """
        prior = self.prior.copy()
        prior[0, 0] = sd**2
        return self.panels.explain(self.at(mean), prior)

    def log_dose_change(self, parameters: FloatArray) -> float:
        """Mean change of the toner's log dose over the readings.

        Parameters
        ----------
        parameters
            Shape ``(n_parameters,)``.
        """
        return float(np.mean(self.panels.log_dose[:, self.column] @ parameters))
