"""How far a predicted colour may be off, as far as learning knows the curves and the ground.

Model
    Learning gives independent directions in which curves and grounds may be off, one standard
    deviation each (`fewtone.model.uncertainty`). Reflectance and Lab are linear in them as far as
    they go, so a prediction's covariance is the sum over the directions of the outer product of
    its deviation with itself.

    How far hand, grounds and film vary is itself known from few panels, so a prediction is off as
    Student's t is, not as a normal distribution: mostly less than that covariance would have it,
    now and then more. Six degrees of freedom hold as many as they say in the booth (calibrated on
    seeds 1 to 3 and 101 to 106 of the rows "told all" of tests/outside/unkind_worlds.py).
"""

from __future__ import annotations

import numpy as np

from fewtone.colorimetry import Light
from fewtone.model.curves import Curves
from fewtone.optics.terms import FilmDerivatives
from fewtone.prediction.forward import (
    lab_jacobian_of,
    optics_derivatives,
    reflectance_derivatives,
)
from fewtone.typing import FloatArray, IntArray, frozen

__all__ = [
    "departing_deviations",
    "interval_half_width",
    "lab_deviations",
    "lab_deviations_of",
    "reflectance_deviations",
    "standard_deviations",
]

_DEGREES_OF_FREEDOM = 6.0


def interval_half_width(share: float) -> float:
    """Standard deviations to either side of a prediction that hold a share of what is to come [1].

    Of Student's t with 6 degrees of freedom, whose standard deviation is √(6/4) of its scale.

    Parameters
    ----------
    share
        Of fresh colours, between 0 and 1; of .95 it is 2.00, of .68 it is .89.

    Raises
    ------
    ValueError
        The share is not between 0 and 1.
    """
    from scipy.special import stdtrit

    if not 0.0 < share < 1.0:
        raise ValueError(f"An interval holds a share between 0 and 1, not {share!r}.")
    scale = np.sqrt((_DEGREES_OF_FREEDOM - 2.0) / _DEGREES_OF_FREEDOM)
    return float(scale * stdtrit(_DEGREES_OF_FREEDOM, 0.5 + 0.5 * share))


def reflectance_deviations(
    curves: Curves,
    film: FilmDerivatives,
    doses: FloatArray,
    ground: IntArray,
    departures: FloatArray | None = None,
) -> FloatArray | None:
    """How reflectance deviates in each direction in which the curves and grounds may be off.

    Parameters
    ----------
    curves
        The learnt shelf.
    film
        As `fewtone.prediction.forward.reflectance_derivatives` gives it.
    doses, ground
        What it was given, shapes ``(n_recipes, n_toners)`` and ``(n_recipes,)``.
    departures
        As `fewtone.model.variation.film_departures` gives them, ``(n_recipes, 2)``; None where
        coats and letdown are not known: then they are taken to be any that the shop sprays.

    Returns
    -------
    Shape ``(n_recipes, n_directions, n_wavelengths)``: the covariance is the sum over the
    directions of the outer product of the deviation with itself. None where learning carries no
    uncertainty.
    """
    sure = curves.uncertainty
    if sure is None:
        return None
    off = np.empty((len(doses), len(sure.return_ratio), len(curves.wavelength_nm)))
    by_departure = None if departures is None else _dose_deviations(curves, departures)
    hazy = bool(sure.scattering.any())
    by_optics = _optics_derivatives(curves, doses, ground)
    for row, (dose, ground_row) in enumerate(zip(doses, ground, strict=True)):
        has = np.flatnonzero(dose)
        bend = film.d_tau[row] * np.tensordot(dose[has], sure.absorption[:, has], (0, 1))
        if hazy:
            scattered = np.tensordot(dose[has], sure.scattering[:, has], (0, 1))
            bend += film.d_scattering[row] * scattered
        if by_departure is not None:
            bend[len(bend) - sure.apart :] = 0.0
            by_log_dose = film.d_tau[row] * curves.absorption[has]
            by_log_dose += film.d_scattering[row] * curves.scattering[has]
            bend += (by_departure[row][:, has] * dose[has]) @ by_log_dose
        bend += sure.black[:, np.newaxis]
        if by_optics is not None:
            bend += np.stack([sure.index, sure.edge], axis=1) @ by_optics[row]
        bend += film.d_ground[row] * sure.ground_reflectance[:, ground_row]
        off[row] = bend + film.d_return_ratio[row] * sure.return_ratio[:, ground_row, np.newaxis]
    return off


def lab_deviations(
    curves: Curves, reflectance: FloatArray, deviations: FloatArray, light: Light
) -> FloatArray:
    """How Lab deviates, the film model's own error included.

    Parameters
    ----------
    curves
        The learnt shelf.
    reflectance
        Predicted reflectance [1], shape ``(n_recipes, n_wavelengths)``.
    deviations
        As `reflectance_deviations` gives them, shape ``(n_recipes, n_directions, n_wavelengths)``.
    light
        Illuminant and observer of the Lab values.

    Returns
    -------
    Shape ``(n_recipes, n_directions, 3)``, to be read as `reflectance_deviations` is.
    """
    sure = curves.uncertainty
    model_deviations = sure.model_sd * np.eye(3) if sure else np.zeros((0, 3))
    bent = deviations @ lab_jacobian_of(curves, reflectance, light).swapaxes(1, 2)
    return np.concatenate(
        [bent, np.broadcast_to(model_deviations, (len(bent), *model_deviations.shape))], axis=1
    )


def lab_deviations_of(
    curves: Curves, film: FilmDerivatives, jacobian: FloatArray, doses: FloatArray, ground: IntArray
) -> FloatArray:
    """How Lab deviates by the curves and grounds alone, many films at once.

    The same as `lab_deviations` of `reflectance_deviations` without the film model's own error, for
    films of 4 coats at the middle letdown, from which `departing_deviations` go on: here the
    spectra are weighted before the directions are multiplied out, one matrix product for each toner
    and ground.

    Parameters
    ----------
    curves
        The learnt shelf, with its uncertainty.
    film, doses, ground
        As `reflectance_deviations` takes them.
    jacobian
        ∂Lab/∂R, shape ``(n_films, 3, n_wavelengths)``.

    Returns
    -------
    Shape ``(n_films, n_directions, 3)``.
    """
    sure = curves.uncertainty
    assert sure is not None
    off = np.zeros((*jacobian.shape[:2], len(sure.return_ratio)))
    depths = [(film.d_tau, sure.absorption)]
    if sure.scattering.any():
        depths.append((film.d_scattering, sure.scattering))
    for by_depth, deviations in depths:
        weighted = jacobian * by_depth[:, np.newaxis]
        for toner in np.flatnonzero(doses.any(axis=0)):
            has = np.flatnonzero(doses[:, toner])
            amount = doses[has, toner, np.newaxis, np.newaxis]
            off[has] += _multiplied_out(amount * weighted[has], deviations[:, toner])
    by_ground, by_ratio = jacobian * film.d_ground[:, np.newaxis], film.d_return_ratio
    ratio = (jacobian @ by_ratio[:, :, np.newaxis])[:, :, 0]
    # Not `numpy.unique`, which imports all of `numpy.ma`: `check` is to start quickly.
    for ground_row in sorted(set(ground.tolist())):
        over = np.flatnonzero(ground == ground_row)
        off[over] += _multiplied_out(by_ground[over], sure.ground_reflectance[:, ground_row])
        off[over] += ratio[over, :, np.newaxis] * sure.return_ratio[:, ground_row]
    off += jacobian.sum(axis=2)[:, :, np.newaxis] * sure.black
    by_optics = _optics_derivatives(curves, doses, ground)
    if by_optics is not None:
        off += jacobian @ by_optics.swapaxes(1, 2) @ np.stack([sure.index, sure.edge])
    off[..., off.shape[-1] - sure.apart :] = 0.0
    return off.swapaxes(1, 2)


def _multiplied_out(weighted: FloatArray, deviations: FloatArray) -> FloatArray:
    """``(n, k, n_wavelengths)`` by ``(n_directions, n_wavelengths)``, as one matrix product."""
    product = weighted.reshape(-1, weighted.shape[2]) @ deviations.T
    return product.reshape(*weighted.shape[:2], -1)


def departing_deviations(
    curves: Curves, by_log_dose: FloatArray
) -> tuple[FloatArray, FloatArray] | None:
    """How Lab deviates further per log coats and per doubling of the letdown.

    Parameters
    ----------
    curves
        The learnt shelf, with its uncertainty.
    by_log_dose
        ∂Lab/∂ log dose of each toner, shape ``(n_films, n_toners, 3)``.

    Returns
    -------
    By either of `fewtone.model.variation.film_departures`, shape ``(n_films, n_directions, 3)``
    each; None where neither makes a difference.
    """
    sure = curves.uncertainty
    assert sure is not None
    if not (sure.letdown.any() or sure.thinning.any()):
        return None
    by_film = by_log_dose.sum(axis=1)[:, np.newaxis]
    return -sure.thinning[:, np.newaxis] * by_film, sure.letdown @ by_log_dose


def _dose_deviations(curves: Curves, departures: FloatArray) -> FloatArray:
    """How the log dose of each toner deviates, ``(n_recipes, n_directions, n_toners)``."""
    sure = curves.uncertainty
    assert sure is not None
    coats, doublings = departures.T[:, :, np.newaxis, np.newaxis]
    return np.asarray(doublings * sure.letdown - coats * sure.thinning[:, np.newaxis])


def _optics_derivatives(curves: Curves, doses: FloatArray, ground: IntArray) -> FloatArray | None:
    """∂R/∂index and ∂R/∂edge ``(n, 2, n_wavelengths)``; None where both are known."""
    sure = curves.uncertainty
    if sure is None or not (sure.index.any() or sure.edge.any()):
        return None
    return np.stack(optics_derivatives(curves, doses, ground), axis=1)


def standard_deviations(
    curves: Curves,
    doses: FloatArray,
    ground: IntArray,
    light: Light,
    departures: FloatArray | None = None,
) -> tuple[FloatArray, FloatArray] | tuple[None, None]:
    """Standard deviations of reflectance and Lab; ``(n_recipes, n_wavelengths)``, ``(…, 3)``.

    Both are None where learning carries no uncertainty. The arguments are as
    `reflectance_deviations` and `lab_deviations` take them.
    """
    film = reflectance_derivatives(curves, doses, ground)
    off = reflectance_deviations(curves, film, doses, ground, departures)
    if off is None:
        return None, None
    lab_off = lab_deviations(curves, film.reflectance, off, light)
    return _root_sum_square(off), _root_sum_square(lab_off)


def _root_sum_square(deviations: FloatArray) -> FloatArray:
    """Standard deviation of independent deviations, which stand on the middle axis."""
    return frozen(np.sqrt((deviations**2).sum(axis=1)))
