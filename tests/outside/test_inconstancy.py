"""Colour inconstancy against an independent implementation.

Source: the way of ISO 105-J05:2007 (CMCCON02), a corresponding colour and then a colour
difference; the corresponding colour by CMCCAT2000 (Li, Luo, Rigg and Hunt, Color Res. Appl. 27,
49, 2002) and the difference by CIEDE2000, both as colour-science has them.
"""

from __future__ import annotations

import colour
import numpy as np
import pytest

from fewtone.colorimetry import Light, white_point, xyz
from fewtone.colorimetry.appearance import inconstancy

# Two float implementations; the published inverse matrix is printed to eight digits.
IMPLEMENTATIONS = 1e-5
NM = np.arange(400.0, 701.0, 10.0)


@pytest.mark.parametrize("name", ["A", "F11", "LED-B3"])
def test_it_is_what_colour_science_makes_of_it(name: str) -> None:
    """A dozen smooth spectra, each light against D65."""
    rng = np.random.default_rng(7)
    centre, width = rng.uniform(380, 720, (12, 1)), rng.uniform(30, 120, (12, 1))
    spectra = 0.05 + 0.8 * np.exp(-0.5 * ((NM - centre) / width) ** 2)
    light, daylight = Light(name, 10), Light("D65", 10)
    white, white_reference = white_point(light), white_point(daylight)
    there, here = xyz(spectra, NM, light), xyz(spectra, NM, daylight)
    found = inconstancy(there, white, here, white_reference)
    adapted = colour.adaptation.chromatic_adaptation_CMCCAT2000(
        there, white, white_reference, 200, 200
    )
    xy = white_reference[:2] / white_reference.sum()
    looks, is_there = (colour.XYZ_to_Lab(values / 100, xy) for values in (adapted, here))
    expected = colour.delta_E(looks, is_there, method="CIE 2000")
    assert found == pytest.approx(expected, abs=IMPLEMENTATIONS)
    assert found.max() > 1.0
