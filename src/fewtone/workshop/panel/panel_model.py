"""What panels read as a function of what may be off, and the most probable explanation of it.

Model
    The dose of toner i on reading r is

        log doseᵣᵢ = log nominalᵣᵢ + Σᵤ derivativeᵣᵢᵤ · parameterᵤ

    with parameters such as the gun, a panel's hand, a bottle's strength, a pour; all normal, with
    a prior mean and covariance P. What is read is

        labᵣ = film(doseᵣ) + Σᵤ shiftᵤ · parameterᵤ + Σ_d deviation_dᵣ · z_d + noise,   z ~ N(0, 1)

    the deviations being those of curves, grounds and film model (`fewtone.prediction.uncertainty`),
    worked out at the nominal doses and common to all readings, and the noise the instrument's.

Inference
    Gauss-Newton steps to the most probable parameters (maximum a posteriori) with the analytic
    Jacobian S, z being integrated out: with C the covariance of deviations and noise and
    M = S P Sᵀ + C, a step goes to mean + P Sᵀ M⁻¹ (lab - film + S (parameters - mean)), halved as
    long as it does not help. Laplace's approximation gives the rest: the evidence
    -½ (cost + log |M|) and the posterior covariance of parameters and z together. P needs no
    inverse, so that a parameter may be known exactly.

Validity
    Misses of some tens of percent in dose.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fewtone.colorimetry import Light, delta_e_2000
from fewtone.model.curves import Curves
from fewtone.optics.terms import FilmDerivatives
from fewtone.prediction.forward import lab_jacobian_of, lab_of, reflectance_derivatives
from fewtone.prediction.uncertainty import lab_deviations, reflectance_deviations
from fewtone.typing import FloatArray, IntArray

__all__ = ["CURVES_SD", "Explanation", "Films", "PanelModel", "films_of", "square_root"]

# Where learning does not say how sure the curves are [CIELAB units per coordinate].
CURVES_SD = 0.15
_MOST_STEPS, _SMALL_STEP, _HALVINGS = 30, 1e-9, 12
# Beyond a factor of e³ a dose says nothing; keeps a first step from running away.
_FARTHEST = 3.0


@dataclass(frozen=True, slots=True, eq=False)
class Films:
    """Colours of films with their derivatives.

    Parameters
    ----------
    lab
        CIELAB, shape ``(n, 3)``.
    by_log_dose
        ∂Lab/∂ log dose of each learnt toner, shape ``(n, 3, n_toners)``.
    deviations
        How Lab deviates in each independent direction in which curves, grounds and film model may
        be off, by one standard deviation, shape ``(n_directions, n, 3)``; None if not asked for.
    """

    lab: FloatArray
    by_log_dose: FloatArray
    deviations: FloatArray | None = None


def films_of(
    curves: Curves, doses: FloatArray, ground: IntArray, light: Light, *, deviations: bool = False
) -> Films:
    """Films over their grounds, with their derivatives.

    Parameters
    ----------
    curves
        The learnt shelf.
    doses
        Of each learnt toner [standard coats], shape ``(n, n_toners)``.
    ground
        Row of each film's ground in the curves, shape ``(n,)``.
    light
        Illuminant and observer.
    deviations
        Whether to work out too how far curves and grounds may be off.
    """
    film = reflectance_derivatives(curves, doses, ground)
    jacobian = lab_jacobian_of(curves, film.reflectance, light)
    by_dose = (jacobian * film.d_tau[:, np.newaxis]) @ curves.absorption.T
    if curves.scattering.any():
        by_dose += (jacobian * film.d_scattering[:, np.newaxis]) @ curves.scattering.T
    return Films(
        lab=lab_of(curves, film.reflectance, light),
        by_log_dose=by_dose * doses[:, np.newaxis],
        deviations=_deviations(curves, film, doses, ground, light) if deviations else None,
    )


def _deviations(
    curves: Curves, film: FilmDerivatives, doses: FloatArray, ground: IntArray, light: Light
) -> FloatArray:
    off = reflectance_deviations(curves, film, doses, ground)
    if off is None:
        usual = CURVES_SD * np.eye(3)[:, np.newaxis]
        return np.broadcast_to(usual, (3, len(doses), 3))
    return lab_deviations(curves, film.reflectance, off, light).swapaxes(0, 1)


def square_root(covariance: FloatArray) -> FloatArray:
    """S, along the axes of a covariance C, with S Sᵀ = C.

    Parameters
    ----------
    covariance
        C, positive semidefinite up to rounding, shape ``(..., n, n)``.

    Returns
    -------
    Shaped like it.
    """
    variance, axes = np.linalg.eigh(covariance)
    return np.asarray(axes * np.sqrt(np.maximum(variance, 0.0))[..., np.newaxis, :])


@dataclass(frozen=True, slots=True, eq=False)
class Explanation:
    """The most probable parameters under one prior, and how well they do.

    Parameters
    ----------
    parameters
        Posterior mean, shape ``(n_parameters,)``.
    directions
        Posterior mean of z, shape ``(n_directions,)``.
    covariance
        The prior covariance of the parameters, ``(n_parameters, n_parameters)``.
    jacobian
        ∂ readings/∂ (parameters, z) there, shape ``(3 n_readings, n_parameters + n_directions)``.
    weight
        M⁻¹, shape ``(3 n_readings, 3 n_readings)``.
    cost
        Squared distance of readings and prior mean from what is most probable, in standard
        deviations: a χ² of as many degrees of freedom as there are readings' coordinates.
    log_evidence
        Of the readings under this prior, up to a constant of the model.
    """

    parameters: FloatArray
    directions: FloatArray
    covariance: FloatArray
    jacobian: FloatArray
    weight: FloatArray
    cost: float
    log_evidence: float

    def sd(self, parameter: int) -> float:
        """Posterior standard deviation of one parameter.

        Parameters
        ----------
        parameter
            Its number.
        """
        row = np.zeros((1, self.jacobian.shape[1]))
        row[0, parameter] = 1.0
        return float(np.sqrt(self.covariance_of(row)[0, 0]))

    def covariance_of(self, rows: FloatArray) -> FloatArray:
        """Posterior covariance of linear functions of parameters and z.

        Parameters
        ----------
        rows
            Their derivatives, shape ``(..., n_functions, n_parameters + n_directions)``.
        """
        apart = self.deviations_of(rows)
        return np.asarray(apart @ apart.swapaxes(-1, -2))

    def deviations_of(self, rows: FloatArray) -> FloatArray:
        """How linear functions of parameters and z deviate in each independent direction.

        With the prior's root R, parameters and z being R u with u ~ N(0, I), and M⁻¹ = L Lᵀ, the
        posterior covariance of u is I - Vᵀ q² V, where Lᵀ J R = U q V.

        Parameters
        ----------
        rows
            Their derivatives, shape ``(..., n_functions, n_parameters + n_directions)``.

        Returns
        -------
        By one standard deviation of each direction, shaped like `rows`; the directions are common
        to all functions.
        """
        size = len(self.covariance)
        root = square_root(self.covariance)

        def by_unit(functions: FloatArray) -> FloatArray:
            return np.concatenate([functions[..., :size] @ root, functions[..., size:]], axis=-1)

        whitened = np.linalg.cholesky(self.weight).T @ by_unit(self.jacobian)
        _, known, along = np.linalg.svd(whitened, full_matrices=False)
        shrunk = 1.0 - np.sqrt(np.maximum(1.0 - known**2, 0.0))
        prior = by_unit(rows)
        return np.asarray(prior - ((prior @ along.T) * shrunk) @ along)


@dataclass(frozen=True, slots=True, eq=False)
class PanelModel:
    """Readings of panels, and what they depend on.

    Parameters
    ----------
    curves, light
        The learnt shelf; illuminant and observer of the readings.
    ground
        Row of each reading's ground in the curves, shape ``(n_readings,)``.
    nominal
        Dose of each learnt toner as it was meant [standard coats], ``(n_readings, n_toners)``.
    log_dose
        ∂ log dose/∂ parameter, shape ``(n_readings, n_toners, n_parameters)``.
    shift
        ∂Lab/∂ parameter of all readings alike, beside what the doses do, ``(3, n_parameters)``.
    observed
        CIELAB, shape ``(n_readings, 3)``.
    noise
        Variance of each reading's coordinates, shape ``(n_readings,)``.
    deviations
        As `Films` has them, shape ``(n_directions, n_readings, 3)``.
    """

    curves: Curves
    light: Light
    ground: IntArray
    nominal: FloatArray
    log_dose: FloatArray
    shift: FloatArray
    observed: FloatArray
    noise: FloatArray
    deviations: FloatArray

    @classmethod
    def of(
        cls,
        curves: Curves,
        light: Light,
        ground: IntArray,
        nominal: FloatArray,
        log_dose: FloatArray,
        observed: FloatArray,
        noise: FloatArray,
        shift: FloatArray | None = None,
    ) -> PanelModel:
        """The model of these readings, with the deviations at their nominal doses.

        Parameters
        ----------
        curves, light
            The learnt shelf; illuminant and observer of the readings.
        ground
            Row of each reading's ground in the curves, shape ``(n_readings,)``.
        nominal
            Dose of each learnt toner as it was meant [standard coats], shape ``(n_readings,
            n_toners)``.
        log_dose
            ∂ log dose/∂ parameter, shape ``(n_readings, n_toners, n_parameters)``.
        observed
            CIELAB, shape ``(n_readings, 3)``.
        noise
            Variance of each reading's coordinates, shape ``(n_readings,)``.
        shift
            ∂Lab/∂ parameter of all readings alike, shape ``(3, n_parameters)``; none if None.
        """
        off = films_of(curves, nominal, ground, light, deviations=True).deviations
        assert off is not None
        if shift is None:
            shift = np.zeros((3, log_dose.shape[-1]))
        return cls(curves, light, ground, nominal, log_dose, shift, observed, noise, off)

    def films(self, parameters: FloatArray) -> Films:
        """What the readings would be without noise and deviations.

        Parameters
        ----------
        parameters
            Shape ``(n_parameters,)``.
        """
        change = np.clip(self.log_dose @ parameters, -_FARTHEST, _FARTHEST)
        films = films_of(self.curves, self.nominal * np.exp(change), self.ground, self.light)
        return replace(films, lab=films.lab + self.shift @ parameters)

    def mean_de00(self, parameters: FloatArray) -> float:
        """Mean ΔE00 between the readings and what the parameters predict.

        Parameters
        ----------
        parameters
            Shape ``(n_parameters,)``.
        """
        return float(np.mean(delta_e_2000(self.observed, self.films(parameters).lab)))

    def explain(
        self, mean: FloatArray, covariance: FloatArray, start: FloatArray | None = None
    ) -> Explanation:
        """The most probable parameters under a normal prior.

        Parameters
        ----------
        mean, covariance
            Of the prior, shapes ``(n_parameters,)`` and ``(n_parameters, n_parameters)``.
        start
            v of the first step, the parameters being mean + covariance · v, shape
            ``(n_parameters,)``; 0 if None.
        """
        directions = self.deviations.reshape(len(self.deviations), -1).T
        apart = directions @ directions.T + np.diag(np.repeat(self.noise, 3))
        apart_inverse = np.linalg.inv(apart)

        def cost_of(films: Films, dual: FloatArray) -> float:
            rest = (self.observed - films.lab).ravel()
            return float(rest @ apart_inverse @ rest + dual @ covariance @ dual)

        dual = np.zeros(len(mean)) if start is None else start
        films = self.films(mean + covariance @ dual)
        cost = cost_of(films, dual)
        for _ in range(_MOST_STEPS):
            jacobian = self._jacobian(films)
            spread = jacobian @ covariance @ jacobian.T + apart
            rest = (self.observed - films.lab).ravel() + jacobian @ covariance @ dual
            step = jacobian.T @ np.linalg.solve(spread, rest) - dual
            for _ in range(_HALVINGS):
                tried = self.films(mean + covariance @ (dual + step))
                tried_cost = cost_of(tried, dual + step)
                if tried_cost <= cost:
                    break
                step = 0.5 * step
            else:
                break
            gained, cost, films, dual = cost - tried_cost, tried_cost, tried, dual + step
            if gained <= _SMALL_STEP * (1.0 + cost):
                break
        jacobian = self._jacobian(films)
        spread = jacobian @ covariance @ jacobian.T + apart
        rest = (self.observed - films.lab).ravel()
        return Explanation(
            parameters=mean + covariance @ dual,
            directions=directions.T @ apart_inverse @ rest,
            covariance=covariance,
            jacobian=np.hstack([jacobian, directions]),
            weight=np.asarray(np.linalg.inv(spread), dtype=np.float64),
            cost=cost,
            log_evidence=-0.5 * (cost + float(np.linalg.slogdet(spread)[1])),
        )

    def _jacobian(self, films: Films) -> FloatArray:
        """∂ readings/∂ parameters, shape ``(3 n_readings, n_parameters)``."""
        jacobian = films.by_log_dose @ self.log_dose + self.shift
        return np.asarray(jacobian.reshape(-1, jacobian.shape[-1]))
