"""How far a panel's film build and an instrument's readings vary, as judging panels needs it."""

from __future__ import annotations

import numpy as np

from fewtone.model.shelf import Measurement, Mixing
from fewtone.typing import FloatArray

__all__ = ["hand_covariance", "repeat_variance"]

# An instrument that is said to repeat better than this in Lab is not believed.
_LEAST_REPEAT_SD = 0.02


def hand_covariance(coats: FloatArray, mixing: Mixing) -> FloatArray:
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


def repeat_variance(measurement: Measurement) -> float:
    """Variance of one Lab coordinate of a reading."""
    return float(max(measurement.repeat_sd, _LEAST_REPEAT_SD) ** 2)
