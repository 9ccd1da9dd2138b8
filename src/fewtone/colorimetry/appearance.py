"""How a colour holds when the light changes.

Model
    Metamerism: two colours that match in one light part in another. ISO 18314-4:2024 takes out what
    they differ by in the reference light and measures what is left in the other.
    Adaptation: the eye settles on the light's white. CMCCAT2000 says which colour, seen in the
    reference light, looks as the given one does in its own.

Validity
    Surface colours. CMCCAT2000 was fitted to corresponding colours of uniform patches, mostly
    between daylight and lamplight.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Literal

import numpy as np

from fewtone.colorimetry import delta_e_2000, delta_e_ab, lab_from_xyz
from fewtone.typing import FloatArray, FloatLike, frozen

__all__ = ["adapt_cmccat2000", "inconstancy", "metamerism_index"]

# C. Li, M. R. Luo, B. Rigg and R. W. G. Hunt, Color Res. Appl. 27, 49-58 (2002),
# doi:10.1002/col.10005.
_SHARPENED = frozen(
    [[0.7982, 0.3389, -0.1371], [-0.5918, 1.5512, 0.0406], [0.0008, 0.0239, 0.9753]]
)
_UNSHARPENED = frozen(np.linalg.inv(_SHARPENED))


def metamerism_index(
    standard: FloatLike,
    sample: FloatLike,
    white: FloatLike,
    *,
    correction: Literal["multiplicative", "additive"] = "multiplicative",
    difference: Callable[[FloatLike, FloatLike], FloatArray] = delta_e_ab,
) -> FloatArray:
    """How far a match in one light parts in another.

    Parameters
    ----------
    standard, sample
        X, Y, Z of both colours, first in the reference light, in which they are to match, then in
        the other; shape ``(..., 2, 3)``.
    white
        X, Y, Z of the two lights' whites, shape ``(2, 3)``.
    correction
        How the sample is brought onto the standard in the reference light: by ratios of X, Y, Z,
        or by differences of L*, a*, b*.
    difference
        Distance of two CIELAB colours: `delta_e_ab`, or `fewtone.colorimetry.delta_e_2000`.

    Returns
    -------
    The index, in units of the difference, shape ``(...)``.

    Notes
    -----
    ISO 18314-4:2024, which recommends ratios in XYZ and differences in CIELAB.
    """
    standard = np.asarray(standard, dtype=np.float64)
    sample = np.asarray(sample, dtype=np.float64)
    standard_lab = lab_from_xyz(standard, white)
    if correction == "multiplicative":
        sample = sample * (standard[..., :1, :] / sample[..., :1, :])
        sample_lab = lab_from_xyz(sample, white)
    else:
        sample_lab = lab_from_xyz(sample, white)
        sample_lab = sample_lab - (sample_lab[..., :1, :] - standard_lab[..., :1, :])
    return difference(standard_lab[..., 1, :], sample_lab[..., 1, :])


def adapt_cmccat2000(
    xyz: FloatLike,
    white: FloatLike,
    white_reference: FloatLike,
    *,
    luminance: float = 200.0,
    luminance_reference: float = 200.0,
    surround: float = 1.0,
) -> FloatArray:
    """Colour that looks, in the reference light, as the given one does in its own.

    Parameters
    ----------
    xyz
        X, Y, Z in its own light, shape ``(..., 3)``.
    white, white_reference
        X, Y, Z of the two lights' whites, shape ``(3,)``.
    luminance, luminance_reference
        Luminance of the adapting field in either light [cd/m²].
    surround
        1 for a surround of ordinary brightness, 0.8 for a dim or dark one.

    Returns
    -------
    X, Y, Z in the reference light, shape ``(..., 3)``.

    Notes
    -----
    CMCCAT2000: C. Li, M. R. Luo, B. Rigg and R. W. G. Hunt, Color Res. Appl. 27, 49 (2002),
    doi:10.1002/col.10005. ::

        D = F (0.08 log₁₀((L₁ + L₂)/2) + 0.76 - 0.45 (L₁ - L₂)/(L₁ + L₂)), held to 0..1
        R' = R (D (Y_w/Y_wr)(R_wr/R_w) + 1 - D), and so G and B
    """
    white = np.asarray(white, dtype=np.float64)
    white_reference = np.asarray(white_reference, dtype=np.float64)
    total = luminance + luminance_reference
    degree = 0.08 * math.log10(0.5 * total) + 0.76
    degree = surround * (degree - 0.45 * (luminance - luminance_reference) / total)
    degree = min(max(degree, 0.0), 1.0)
    gain = (_SHARPENED @ white_reference) / (_SHARPENED @ white) * (white[1] / white_reference[1])
    cone = np.asarray(xyz, dtype=np.float64) @ _SHARPENED.T
    return np.asarray((cone * (degree * gain + 1.0 - degree)) @ _UNSHARPENED.T)


def inconstancy(
    xyz: FloatLike, white: FloatLike, xyz_reference: FloatLike, white_reference: FloatLike
) -> FloatArray:
    """How far a colour itself moves when the light changes and the eye has settled on it.

    Parameters
    ----------
    xyz, white
        X, Y, Z of the colour in the other light, and of that light's white; shapes ``(..., 3)``
        and ``(3,)``.
    xyz_reference, white_reference
        The same in the reference light, usually D65; of the same shapes.

    Returns
    -------
    ΔE00 between the colour in the reference light and the one that would look there as it does in
    the other, shape ``(...)``; 0 for a colour that is constant.

    Notes
    -----
    The way of ISO 105-J05:2007 (CMCCON02): a corresponding colour, then a colour difference. Here
    by CMCCAT2000 at 200 cd/m² in either light, and by CIEDE2000; figures are not to be mixed with
    those of the standard's own formulas.
    """
    adapted = adapt_cmccat2000(xyz, white, white_reference)
    return delta_e_2000(
        lab_from_xyz(adapted, white_reference), lab_from_xyz(xyz_reference, white_reference)
    )
