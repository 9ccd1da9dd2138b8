"""How far apart two colours look.

Model
    CIEDE2000, and the plain distance in CIELAB that some standards still ask for.

Validity
    CIEDE2000 was fitted to differences up to about 5; larger ones are ranked, not measured.
"""

from __future__ import annotations

import math

import numpy as np

from fewtone.typing import FloatArray, FloatLike

__all__ = ["delta_e_2000", "delta_e_2000_metric", "delta_e_ab"]

# Degrees to radians once. The mean hue lies in -180°..180°: 275° is there -85°, so that a hue is
# 85° + h from it below zero and h - 275° above.
_TURN_25, _TURN_60 = math.radians(25.0), math.radians(60.0)
_BLUE_BELOW, _BLUE_ABOVE = math.radians(85.0), math.radians(275.0)
_COS_30 = math.cos(math.radians(30.0))
_COS_6, _SIN_6 = math.cos(math.radians(6.0)), math.sin(math.radians(6.0))
_COS_63, _SIN_63 = math.cos(math.radians(63.0)), math.sin(math.radians(63.0))
# Divisors are at least this: far below any colour's, far above underflow.
_NO_CHROMA = 1e-100
# Hues within this many radians of opposite are opposite: the rounding of a' alone moves them so.
_OPPOSITE_HUES = 1e-12
# Colours handled at once: their intermediate arrays then stay in the processor's cache, which
# halves the time for a million colours.
_BLOCK = 16_384
# Step [CIELAB units] over which the metric is taken: small beside what its weights vary over, far
# above rounding.
_METRIC_STEP = 0.3


def delta_e_2000(lab_1: FloatLike, lab_2: FloatLike) -> FloatArray:
    """Colour difference CIEDE2000 with k_L = k_C = k_H = 1.

    Parameters
    ----------
    lab_1, lab_2
        L*, a*, b*, shapes ``(..., 3)`` that broadcast together.

    Returns
    -------
    ΔE00, shape ``(...)``.

    Notes
    -----
    G. Sharma, W. Wu and E. N. Dalal, Color Res. Appl. 30, 21-30 (2005),
    doi:10.1002/col.20070; ISO/CIE 11664-6. ::

        a' = (1 + G) a,  G = (1 - √(C̄⁷/(C̄⁷ + 25⁷)))/2
        ΔE² = (ΔL'/S_L)² + (ΔC'/S_C)² + (ΔH'/S_H)² + R_T (ΔC'/S_C)(ΔH'/S_H)

    Hue enters through the vectors (a', b') instead of angles: with u·v = a'₁a'₂ + b'₁b'₂ and
    u×v = a'₁b'₂ - a'₂b'₁, ΔH' = u×v √(2/(C'₁C'₂ + u·v)), which loses no digits for small
    differences, and the mean hue is the direction of C'₂u + C'₁v. Of the trigonometry only one
    arctangent and one sine remain. Where hues are exactly opposite the published formula jumps;
    the mean hue is then the lower hue plus 90°, as it gives.
    """
    lab_1, lab_2 = np.asarray(lab_1, dtype=np.float64), np.asarray(lab_2, dtype=np.float64)
    shape = np.broadcast_shapes(lab_1.shape, lab_2.shape)
    size = math.prod(shape[:-1])
    if size <= _BLOCK:
        return _delta_e_2000(lab_1, lab_2)
    lab_1, lab_2 = np.broadcast_to(lab_1, shape), np.broadcast_to(lab_2, shape)
    difference = np.empty(shape[:-1])
    rows = max(1, _BLOCK * shape[0] // size)
    for start in range(0, shape[0], rows):
        block = slice(start, start + rows)
        difference[block] = _delta_e_2000(lab_1[block], lab_2[block])
    return difference


def delta_e_2000_metric(lab: FloatLike) -> FloatArray:
    """How small steps from a colour look: ΔE00² ≈ δᵀ M δ for a step δ in CIELAB.

    Parameters
    ----------
    lab
        L*, a*, b*, shape ``(..., 3)``.

    Returns
    -------
    M, symmetric and not negative, shape ``(..., 3, 3)``.

    Notes
    -----
    By polarisation of `delta_e_2000` over central steps, M_ij = (q(i + j) - q(i - j))/4, so that
    there is no second version of the formula.
    """
    centre = np.asarray(lab, dtype=np.float64)
    rows = [(i, j) for i in range(3) for j in range(i)]
    unit = np.eye(3)
    steps = [*unit]
    for i, j in rows:
        steps += [unit[i] + unit[j], unit[i] - unit[j]]
    half = 0.5 * _METRIC_STEP * np.array(steps).reshape(-1, *[1] * (centre.ndim - 1), 3)
    square = delta_e_2000(centre + half, centre - half) ** 2 / _METRIC_STEP**2
    metric = np.empty((*centre.shape, 3))
    for i in range(3):
        metric[..., i, i] = square[i]
    for (i, j), plus, minus in zip(rows, square[3::2], square[4::2], strict=True):
        metric[..., i, j] = metric[..., j, i] = 0.25 * (plus - minus)
    return metric


def delta_e_ab(lab_1: FloatLike, lab_2: FloatLike) -> FloatArray:
    """Distance in CIELAB, ΔE*ab (CIE 15:2018, 8.2.1.3), shaped as `delta_e_2000`."""
    step = np.asarray(lab_1, dtype=np.float64) - np.asarray(lab_2, dtype=np.float64)
    return np.asarray(np.sqrt((step * step).sum(axis=-1)))


def _delta_e_2000(lab_1: FloatArray, lab_2: FloatArray) -> FloatArray:
    """CIEDE2000 as `delta_e_2000` states it, of arrays that broadcast, shape ``(...)``."""
    b_1, b_2 = lab_1[..., 2], lab_2[..., 2]
    chroma_mean = 0.5 * (_length(lab_1[..., 1], b_1) + _length(lab_2[..., 1], b_2))
    stretch = 1.5 - 0.5 * _chroma_share(chroma_mean)
    a_1, a_2 = stretch * lab_1[..., 1], stretch * lab_2[..., 1]
    chroma_1, chroma_2 = _length(a_1, b_1), _length(a_2, b_2)
    chroma_mean = 0.5 * (chroma_1 + chroma_2)

    product = chroma_1 * chroma_2
    dot = a_1 * a_2 + b_1 * b_2
    cross = a_1 * b_2 - a_2 * b_1
    # Two forms of ΔH' = 2√(C'₁C'₂) sin(Δh'/2), each where it loses no digits.
    wide = dot < 0.0
    root = np.sqrt(2.0 * (product + np.abs(dot)))
    hue_step = np.where(wide, np.copysign(root, cross), 2.0 * cross / np.maximum(root, _NO_CHROMA))
    mean_a, mean_b = a_1 * chroma_2 + a_2 * chroma_1, b_1 * chroma_2 + b_2 * chroma_1
    opposite = wide & (np.abs(cross) <= _OPPOSITE_HUES * product)
    if opposite.any():
        first = (b_1 > b_2) | ((b_1 == b_2) & (a_1 > a_2))
        hue_step = np.where(opposite, np.where(first, root, -root), hue_step)
        mean_a = np.where(opposite, -np.where(first, b_1, b_2), mean_a)
        mean_b = np.where(opposite, np.where(first, a_1, a_2), mean_b)

    # Cosines and sines of the mean hue and its multiples. Without chroma ΔH' is zero and so
    # nothing depends on the hue.
    length = np.maximum(_length(mean_a, mean_b), _NO_CHROMA)
    cos_1, sin_1 = mean_a / length, mean_b / length
    cos_2, sin_2 = cos_1 * cos_1 - sin_1 * sin_1, 2.0 * cos_1 * sin_1
    cos_3, sin_3 = cos_2 * cos_1 - sin_2 * sin_1, sin_2 * cos_1 + cos_2 * sin_1
    cos_4, sin_4 = cos_2 * cos_2 - sin_2 * sin_2, 2.0 * cos_2 * sin_2
    hue_weight = (
        1.0
        - 0.17 * (_COS_30 * cos_1 + 0.5 * sin_1)
        + 0.24 * cos_2
        + 0.32 * (_COS_6 * cos_3 - _SIN_6 * sin_3)
        - 0.20 * (_COS_63 * cos_4 + _SIN_63 * sin_4)
    )
    hue = np.arctan2(sin_1, cos_1)
    from_blue = np.where(hue < 0.0, hue + _BLUE_BELOW, hue - _BLUE_ABOVE)
    rotation = -np.sin(_TURN_60 * np.exp(-((from_blue / _TURN_25) ** 2)))
    rotation *= 2.0 * _chroma_share(chroma_mean)

    light_square = (0.5 * (lab_1[..., 0] + lab_2[..., 0]) - 50.0) ** 2
    light_step = lab_2[..., 0] - lab_1[..., 0]
    light_step /= 1.0 + 0.015 * light_square / np.sqrt(20.0 + light_square)
    chroma_step = (chroma_2 - chroma_1) / (1.0 + 0.045 * chroma_mean)
    hue_step /= 1.0 + 0.015 * chroma_mean * hue_weight
    square = light_step**2 + chroma_step**2 + hue_step**2 + rotation * chroma_step * hue_step
    # |R_T| is below 2, so only rounding could take the square below zero.
    return np.asarray(np.sqrt(np.maximum(square, 0.0)))


def _length(x: FloatArray, y: FloatArray) -> FloatArray:
    """√(x² + y²); hypot's guard against overflow would take most of the time."""
    return np.asarray(np.sqrt(x * x + y * y))


def _chroma_share(chroma: FloatArray) -> FloatArray:
    """√(C⁷/(C⁷ + 25⁷))."""
    square = chroma * chroma
    seventh = square * square * square * chroma
    return np.asarray(np.sqrt(seventh / (seventh + 25.0**7)))
