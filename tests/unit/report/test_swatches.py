"""One rule for every swatch, held to another library's colours and to its own promises."""

from __future__ import annotations

from itertools import product

import colour
import numpy as np
import pytest

from fewtone.colorimetry import Light, lab_from_hex, srgb_from_xyz, white_point, xyz_from_lab
from fewtone.report.swatches import SCREEN, swatch, swatches

LIGHTS = tuple(Light(name, observer) for name in ("D65", "A", "F11") for observer in (2, 10))
# Whole steps of 1/255; the other library's white points differ in the fourth digit.
STEP = 1


@pytest.mark.parametrize("light", LIGHTS, ids=str)
def test_agrees_with_colour_science(light: Light) -> None:
    """Lab → XYZ → CMCCAT2000 → sRGB by colour-science gives the same steps of 1/255."""
    lab = np.array(list(product((15.0, 40.0, 65.0, 90.0), (-30.0, 0.0, 30.0), (-25.0, 0.0, 45.0))))
    name = {2: "cie_2_1931", 10: "cie_10_1964"}[light.observer]
    illuminant = {"F11": "FL11"}.get(light.illuminant, light.illuminant)
    xy, screen_xy = (
        colour.CCS_ILLUMINANTS[name][illuminant],
        colour.CCS_ILLUMINANTS["cie_2_1931"]["D65"],
    )
    adapted = colour.adaptation.chromatic_adaptation_CMCCAT2000(
        100 * colour.Lab_to_XYZ(lab, xy),
        100 * colour.xy_to_XYZ(xy),
        100 * colour.xy_to_XYZ(screen_xy),
        L_A1=1000,
        L_A2=1000,
    )
    expected = np.asarray(255 * np.clip(colour.XYZ_to_sRGB(adapted / 100), 0, 1))
    found = np.array([each.rgb for each in swatches(lab, light)])
    assert np.abs(found - expected).max() <= STEP


@pytest.mark.parametrize("light", LIGHTS, ids=str)
def test_white_is_white_and_grey_is_grey(light: Light) -> None:
    """An eye that has settled on a light sees its white white: no neutral has a cast."""
    assert swatch((100.0, 0.0, 0.0), light).rgb == (255, 255, 255)
    for lightness in range(0, 101, 5):
        red, green, blue = swatch((float(lightness), 0.0, 0.0), light).rgb
        assert red == green == blue


@pytest.mark.parametrize("code", ["#2f5d50", "#ff0000", "#010203", "#fefefe", "#8a2be2"])
def test_a_hex_colour_comes_back_as_itself(code: str) -> None:
    """In sRGB's own light nothing is adapted."""
    back = swatch(lab_from_hex(code), SCREEN)
    assert (back.hex, back.shown) == (code, True)


def test_under_the_screens_light_it_is_srgb_itself() -> None:
    """In D65/2 the rule is the plain sRGB formula."""
    lab = np.array([[40.0, 20.0, -10.0], [70.0, -30.0, 25.0]])
    coded, _ = srgb_from_xyz(xyz_from_lab(lab, white_point(SCREEN)))
    found = np.array([each.rgb for each in swatches(lab, SCREEN)])
    np.testing.assert_array_equal(found, np.rint(255 * coded))


@pytest.mark.parametrize(
    ("lab", "shown"),
    [((50.0, 0.0, 0.0), True), ((50.0, -100.0, 60.0), False), ((30.0, 40.0, -110.0), False)],
)
def test_what_srgb_does_not_hold_says_so(lab: tuple[float, float, float], shown: bool) -> None:
    """Colours outside are clipped to a colour that exists, and marked."""
    found = swatch(lab, Light("D65", 10))
    assert found.shown == shown
    assert all(0 <= channel <= 255 for channel in found.rgb)


def test_side_by_side_they_differ_as_the_colours_do() -> None:
    """Equal Lab gives equal swatches whatever it is a swatch of."""
    lab = np.array([[38.0, 30.0, 28.0], [38.0, 30.0, 28.0], [38.0, 30.0, 31.0]])
    one, same, other = swatches(lab, Light("D65", 10))
    assert one == same != other
