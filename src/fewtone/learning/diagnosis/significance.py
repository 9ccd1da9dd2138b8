"""How far each panel is from what all others say of it, as a chance.

Three questions are asked of a panel's residuals: are they too large as a whole, is a single number
far off, and is its film or its scale off by more than a hand or an instrument makes them. The
answer is −log₁₀ p: minus the common logarithm of the chance that a good panel would be so far off.
"""

from __future__ import annotations

import numpy as np
from scipy.special import log_ndtr

from fewtone.learning.leave_one_out import Expectation
from fewtone.typing import FloatArray

__all__ = ["film_gain", "neg_log10_p"]


def neg_log10_p(expected: list[Expectation], n_panels: int) -> FloatArray:
    """−log₁₀ of the chance that a good panel would be so far off, shape ``(n_panels,)``."""
    out = np.zeros(n_panels)
    for one in expected:
        out[one.group.panels] = _neg_log10_p(one)
    return out


def film_gain(one: Expectation, shift: float) -> tuple[FloatArray, FloatArray]:
    """What is gained by taking each panel's film to be thicker than written.

    Parameters
    ----------
    one
        What all others say of the panels.
    shift
        Natural logarithm of how many times as thick (as strong) the film then is.

    Returns
    -------
    Gain in log likelihood ``(n_panels,)``, and the shift in standard deviations of what the others
    and the hand leave open ``(n_panels,)``.
    """
    segments = one.group.segments.shape[1]
    slope = one.by_local[..., :segments].sum(axis=-1)
    solved = np.linalg.solve(one.covariance, np.stack([slope, one.residual], axis=-1))
    precision = (slope * solved[..., 0]).sum(axis=1)
    pull = (slope * solved[..., 1]).sum(axis=1)
    gain = -shift * pull - 0.5 * shift**2 * precision
    return np.asarray(gain), np.asarray(abs(shift) * np.sqrt(np.maximum(precision, 0.0)))


def _neg_log10_p(one: Expectation) -> FloatArray:
    """-log₁₀ p of each panel of a group, by what of it is least likely.

    χ² = rᵀ C⁻¹ r on as many degrees of freedom as rows; a number alone is (C⁻¹ r)ᵢ/√(C⁻¹)ᵢᵢ; a
    direction d is dᵀ C⁻¹ r/√(dᵀ C⁻¹ d). Each p counts as often as it was tried (Bonferroni).
    """
    inverse = np.linalg.inv(one.covariance)
    weighted = (inverse @ one.residual[..., np.newaxis])[..., 0]
    rows = one.residual.shape[1]
    # Wilson and Hilferty (1931), doi:10.1073/pnas.17.12.684: the cube root of chi-squared is
    # nearly normal, far out too.
    distance = np.maximum((one.residual * weighted).sum(axis=1), 0.0)
    whole = (distance / rows) ** (1 / 3)
    width = 2.0 / (9.0 * rows)
    log_chances = [log_ndtr(-((whole - 1.0 + width) / np.sqrt(width)))]
    # One number alone: what its residual is once all others are known.
    precision = np.maximum(np.diagonal(inverse, axis1=1, axis2=2), 1e-12)
    single = np.abs(weighted) / np.sqrt(precision)
    log_chances.append(_two_sided(single.max(axis=1), rows))
    directions = _directions(one)
    if directions.shape[-1]:
        pull = (directions.swapaxes(1, 2) @ weighted[..., np.newaxis])[..., 0]
        weight = np.einsum("pri,prs,psi->pi", directions, inverse, directions, optimize=True)
        along = np.abs(pull) / np.sqrt(np.maximum(weight, 1e-12))
        log_chances.append(_two_sided(along.max(axis=1), directions.shape[-1]))
    best = np.minimum.reduce(log_chances) + np.log(len(log_chances))
    return np.asarray(np.maximum(-best / np.log(10.0), 0.0))


def _two_sided(deviation: FloatArray, tried: int) -> FloatArray:
    return np.asarray(log_ndtr(-deviation) + np.log(2.0 * tried))


def _directions(one: Expectation) -> FloatArray:
    """Slopes of the residuals in film and scale: of the whole panel, and of each of its readings.

    Shape ``(n_panels, n_rows, n_directions)``.
    """
    count = one.group.segments.shape[1]
    kinds = []
    if count:
        kinds.append(one.by_local[..., :count].sum(axis=-1))
    if one.group.spectral.any():
        kinds.append(one.by_local[..., -1])
    directions = list(kinds)
    readings = one.group.readings.shape[1]
    if readings > 1:
        for k in range(readings):
            direction = np.zeros(one.residual.shape[1])
            for reading, columns, _ in one.blocks():
                direction[columns] = reading == k
            directions += [slope * direction for slope in kinds]
    if not directions:
        return np.zeros((*one.residual.shape, 0))
    return np.stack(directions, axis=-1)
