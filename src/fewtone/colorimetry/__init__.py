"""From a reflectance spectrum to the colour that is seen, and how far two colours lie apart.

CIE colorimetry for standard illuminants and observers: `weights` and `xyz` (tristimulus values,
Y = 100 for the perfect diffuser), CIELAB, colour differences, sRGB and Display P3 for swatches on a
screen.
"""

from __future__ import annotations

from fewtone.colorimetry.cielab import lab_from_xyz, lab_jacobian, xyz_from_lab
from fewtone.colorimetry.difference import (
    delta_e_2000,
    delta_e_2000_metric,
    delta_e_ab,
)
from fewtone.colorimetry.light import ILLUMINANTS, OBSERVERS, Light, white_point
from fewtone.colorimetry.srgb import display_p3_from_xyz, lab_from_hex, srgb_from_xyz
from fewtone.colorimetry.weighting import weights, xyz

__all__ = [
    "ILLUMINANTS",
    "OBSERVERS",
    "Light",
    "delta_e_2000",
    "delta_e_2000_metric",
    "delta_e_ab",
    "display_p3_from_xyz",
    "lab_from_hex",
    "lab_from_xyz",
    "lab_jacobian",
    "srgb_from_xyz",
    "weights",
    "white_point",
    "xyz",
    "xyz_from_lab",
]
