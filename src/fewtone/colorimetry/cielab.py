"""CIELAB: tristimulus values seen from a white, and back.

Model
    CIE 15:2018, 8.2.1; ISO/CIE 11664-4. The cube root holds above (6/29)³ of the white, a straight
    line below it. The line goes on below zero, so that everything has an inverse everywhere.
"""

from __future__ import annotations

import numpy as np

from fewtone.typing import FloatArray, FloatLike

__all__ = ["lab_from_xyz", "lab_jacobian", "xyz_from_lab"]

_LINEAR_BELOW = (6.0 / 29.0) ** 3
_LINEAR_SLOPE = (29.0 / 6.0) ** 2 / 3.0
_LINEAR_OFFSET = 4.0 / 29.0


def lab_from_xyz(xyz: FloatLike, white: FloatLike) -> FloatArray:
    """CIELAB of tristimulus values.

    Parameters
    ----------
    xyz
        X, Y, Z, shape ``(..., 3)``.
    white
        X, Y, Z of the white, shape ``(3,)``, or one that broadcasts against `xyz`.

    Returns
    -------
    L*, a*, b*, shape ``(..., 3)``.
    """
    ratio = np.asarray(xyz, dtype=np.float64) / np.asarray(white, dtype=np.float64)
    root = np.cbrt(ratio)
    if ratio.size and ratio.min() <= _LINEAR_BELOW:
        np.copyto(root, _LINEAR_SLOPE * ratio + _LINEAR_OFFSET, where=ratio <= _LINEAR_BELOW)
    lab = np.empty_like(root)
    lab[..., 0] = 116.0 * root[..., 1] - 16.0
    lab[..., 1] = 500.0 * (root[..., 0] - root[..., 1])
    lab[..., 2] = 200.0 * (root[..., 1] - root[..., 2])
    return lab


def xyz_from_lab(lab: FloatLike, white: FloatLike) -> FloatArray:
    """Tristimulus values of CIELAB colours: the inverse of `lab_from_xyz`, shape ``(..., 3)``.

    Parameters
    ----------
    lab
        L*, a*, b*, shape ``(..., 3)``.
    white
        X, Y, Z of the white, shape ``(3,)``.
    """
    lab = np.asarray(lab, dtype=np.float64)
    root = np.empty_like(lab)
    root[..., 1] = (lab[..., 0] + 16.0) / 116.0
    root[..., 0] = root[..., 1] + lab[..., 1] / 500.0
    root[..., 2] = root[..., 1] - lab[..., 2] / 200.0
    straight = (root - _LINEAR_OFFSET) / _LINEAR_SLOPE
    ratio = np.where(root > 6.0 / 29.0, root**3, straight)
    return np.asarray(ratio * np.asarray(white, dtype=np.float64))


def lab_jacobian(xyz: FloatLike, white: FloatLike) -> FloatArray:
    """How CIELAB moves with the tristimulus values.

    Parameters
    ----------
    xyz, white
        As for `lab_from_xyz`.

    Returns
    -------
    ``slopes[..., i, j]`` is d lab_i / d xyz_j, shape ``(..., 3, 3)``.
    """
    white = np.asarray(white, dtype=np.float64)
    ratio = np.asarray(xyz, dtype=np.float64) / white
    # Below the bend the base is replaced only to keep the power defined there.
    cubic = np.maximum(ratio, _LINEAR_BELOW) ** (-2.0 / 3.0) / 3.0
    slope = np.where(ratio > _LINEAR_BELOW, cubic, _LINEAR_SLOPE) / white
    jacobian = np.zeros((*slope.shape, 3))
    jacobian[..., 0, 1] = 116.0 * slope[..., 1]
    jacobian[..., 1, 0] = 500.0 * slope[..., 0]
    jacobian[..., 1, 1] = -500.0 * slope[..., 1]
    jacobian[..., 2, 1] = 200.0 * slope[..., 1]
    jacobian[..., 2, 2] = -200.0 * slope[..., 2]
    return jacobian
