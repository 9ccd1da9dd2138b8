"""An independent spraying booth: the outside world that the package is judged against.

Own optics (`directions`, `kernels`, `optics`), invented toners and grounds (`dyes`), ground paints
that mix (`paints`), colorimetry through colour-science (`colours`), a hand and an instrument
(`panels`), what is written down of them (`files`), and ways in which all that departs from what is
assumed (`worlds`). It never imports the package.
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
from booth.files import Step
from booth.kernels import Lobe
from booth.optics import reflectance
from booth.paints import Paint, PaintGround, keyed, keying_paints, random_paints
from booth.panels import Booth
from booth.recipes import Blends, blend_text, random_blends
from booth.worlds import World

__all__ = [
    "GRID_NM",
    "Blends",
    "Booth",
    "Lobe",
    "Paint",
    "PaintGround",
    "Step",
    "TrueGround",
    "TrueToner",
    "World",
    "blend_text",
    "delta_e",
    "keyed",
    "keying_paints",
    "lab",
    "lamp_grounds",
    "lamp_toners",
    "other_toners",
    "random_blends",
    "random_paints",
    "random_toners",
    "reflectance",
    "xyz_weights",
]
