"""How paint varies, stated once: a panel's film build, its coats, the pours, the instrument.

Model
    The logarithm of a panel's film build is off by a share that all its coats have in common
    (``panel_cv``: a heavy or a light hand) and by each coat's own (``coat_cv``); later steps of a
    strip contain the earlier coats. Each component of a mix is poured off by ``pour_cv``: more of
    one is a greater share of it and a smaller one of all others. A reading is off by ``repeat_sd``
    in each Lab coordinate.
"""

from __future__ import annotations

import numpy as np

from fewtone.model.shelf import Measurement, Mixing
from fewtone.typing import FloatArray, FloatLike

__all__ = [
    "film_build_covariance",
    "film_build_sd",
    "film_departures",
    "film_departures_rms",
    "pour_deviations",
    "pour_shares",
    "repeat_variance",
    "segment_covariance",
]

# Coats of the film that strengths are stated for.
_USUAL_COATS = 4.0
# Film of less coats than this is a mist, of which no law of coats holds.
_LEAST_COATS = 0.5

# A hand that is said not to vary at all still may by this much: keeps estimates well posed.
_LEAST_COAT_CV = 1e-3
# An instrument that is said to repeat better than this in Lab is not believed.
_LEAST_REPEAT_SD = 0.02


def film_build_sd(coats: FloatLike, mixing: Mixing) -> FloatArray:
    """Standard deviation of the log film build of a fresh panel, shaped like `coats`.

    √(panel_cv² + coat_cv²/coats): the coats' own errors average out. A film of less than one coat
    varies as one coat does.
    """
    passes = np.maximum(np.asarray(coats, dtype=float), 1.0)
    return np.asarray(np.hypot(mixing.panel_cv, mixing.coat_cv / np.sqrt(passes)))


def film_departures(coats: FloatLike, medium_parts: FloatLike, middle_letdown: float) -> FloatArray:
    """How far films are from 4 coats at a letdown for which strengths are stated.

    Parameters
    ----------
    coats, medium_parts
        Of each film, shape ``(n,)``.
    middle_letdown
        Parts of medium to one of blend there [1].

    Returns
    -------
    log(coats/4), and how often the letdown doubles, log₂((1 + m)/(1 + middle)); shape ``(n, 2)``.
    """
    log_coats = np.log(np.maximum(np.asarray(coats, dtype=float), _LEAST_COATS) / _USUAL_COATS)
    whole = np.log2((1.0 + np.asarray(medium_parts, dtype=float)) / (1.0 + middle_letdown))
    return np.stack(np.broadcast_arrays(log_coats, whole), axis=-1)


def film_departures_rms(mixing: Mixing, middle_letdown: float) -> tuple[float, float]:
    """Root mean squares of `film_departures` over the coats and letdowns of a shop.

    The arguments are the shop's, and as `film_departures` takes it.
    """
    passes = np.arange(mixing.coats[0], mixing.coats[1] + 1, dtype=float)
    letdowns = [float(m) for m in mixing.medium_parts]
    by_coats = film_departures(passes, 0.0, 0.0)[:, 0]
    by_letdown = film_departures(_USUAL_COATS, letdowns, middle_letdown)[:, 1]
    return float(np.sqrt((by_coats**2).mean())), float(np.sqrt((by_letdown**2).mean()))


def film_build_covariance(coats: FloatArray, mixing: Mixing) -> FloatArray:
    """Covariance of the log film build at several steps of one panel, ``(n_steps, n_steps)``.

    Later steps contain the earlier coats; the panel's own factor is common to all.

    Parameters
    ----------
    coats
        At each step, shape ``(n_steps,)``.
    mixing
        How far panels and coats vary.
    """
    common = np.minimum.outer(coats, coats) / np.multiply.outer(coats, coats)
    return np.asarray(mixing.panel_cv**2 + mixing.coat_cv**2 * common)


def segment_covariance(coats: FloatArray, mixing: Mixing) -> FloatArray:
    """Covariance of the log film builds of the segments of one strip, ``(n_segments, n_segments)``.

    A segment is the coats between two steps that were read. The panel's own factor is common to
    all; n coats in one segment average out.

    Parameters
    ----------
    coats
        Standard coats in each segment, shape ``(n_segments,)``.
    mixing
        How far panels and coats vary.
    """
    coat = np.log1p(max(mixing.coat_cv, _LEAST_COAT_CV) ** 2)
    panel = np.log1p(mixing.panel_cv**2)
    return np.asarray(panel + np.diag(coat / np.maximum(coats, 1.0)))


def pour_shares(volume: FloatArray) -> FloatArray:
    """∂ log share of each toner by the log pour of each toner and of the medium.

    Parameters
    ----------
    volume
        Share of each toner, then of the medium, in the mix by volume [1], ``(n_toners + 1,)``.

    Returns
    -------
    δᵢⱼ - volumeⱼ, shape ``(n_toners, n_toners + 1)``.
    """
    toners = volume.size - 1
    return np.asarray(np.eye(toners, toners + 1) - volume)


def pour_deviations(volume: FloatArray, mixing: Mixing) -> FloatArray:
    """How the log share of each toner deviates by the pour of each component.

    Parameters
    ----------
    volume
        Share of each toner in the mix by volume [1], shape ``(n_toners,)``; the rest is medium.
    mixing
        How far a pour varies.

    Returns
    -------
    Shape ``(n_toners + 1, n_toners)``, one row for each component, the medium last.
    """
    return mixing.pour_cv * pour_shares(np.append(volume, 1.0 - volume.sum())).T


def repeat_variance(measurement: Measurement) -> float:
    """Variance of one Lab coordinate of a reading."""
    return float(max(measurement.repeat_sd, _LEAST_REPEAT_SD) ** 2)
