"""An independent spraying booth: the outside world that the package is judged against.

Own optics (`optics`), invented toners and grounds (`dyes`), colorimetry through colour-science
(`colours`), and a hand and an instrument (`panels`). It never imports the package.
"""

from __future__ import annotations

from booth.colours import delta_e, lab, xyz_weights
from booth.dyes import (
    GRID_NM,
    TrueGround,
    TrueToner,
    lamp_grounds,
    lamp_toners,
    other_toners,
    random_toners,
)
from booth.optics import Lobe, reflectance
from booth.panels import Booth, Step
from booth.recipes import Blends, blend_text, random_blends

__all__ = [
    "GRID_NM",
    "Blends",
    "Booth",
    "Lobe",
    "Step",
    "TrueGround",
    "TrueToner",
    "blend_text",
    "delta_e",
    "lab",
    "lamp_grounds",
    "lamp_toners",
    "other_toners",
    "random_blends",
    "random_toners",
    "reflectance",
    "xyz_weights",
]
