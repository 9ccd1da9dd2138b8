"""sRGB swatches and hex colours."""

from __future__ import annotations

import numpy as np
import pytest

from fewtone.colorimetry import Light, lab_from_hex, srgb_from_xyz, white_point, xyz_from_lab
from fewtone.errors import FewtoneError

WHITE = white_point(Light("D65", 2))
ROUNDING = 1e-9


def test_greys_are_neutral() -> None:
    """Every grey hex colour has no a* and no b*, and white is L* 100."""
    for value in range(256):
        lab = lab_from_hex("#" + 3 * f"{value:02x}")
        assert lab[1:] == pytest.approx([0.0, 0.0], abs=ROUNDING)
    assert lab_from_hex("#ffffff") == pytest.approx([100.0, 0.0, 0.0], abs=ROUNDING)
    assert lab_from_hex("#000000") == pytest.approx([0.0, 0.0, 0.0], abs=ROUNDING)


def test_three_digits_are_doubled() -> None:
    """#2a5 is #22aa55; capitals and blanks around do not matter."""
    assert lab_from_hex("#2a5").tolist() == lab_from_hex(" #22AA55 ").tolist()


@pytest.mark.parametrize(
    "text",
    ["2f5d50", "#2f5d5", "#2f5d5g", "#", "", "##2f5d50", "#2f5d50ff", "# 2f5d50", "38,-18,9"],
)
def test_text_that_is_no_hex_colour_is_refused(text: str) -> None:
    """The message quotes the text and shows how to write it."""
    with pytest.raises(FewtoneError) as caught:
        lab_from_hex(text)
    (fault,) = caught.value.faults
    assert fault.value == text
    assert fault.fix == "Write it like #2f5d50."


def test_out_of_gamut_is_told_and_clipped() -> None:
    """A colour that no screen shows is clipped into 0..1 and marked; its neighbour is not."""
    xyz = xyz_from_lab([[60.0, -80.0, -20.0], [60.0, -10.0, -5.0]], WHITE)
    rgb, in_gamut = srgb_from_xyz(xyz)
    assert in_gamut.tolist() == [False, True]
    assert ((rgb >= 0.0) & (rgb <= 1.0)).all()
    assert rgb[0, 0] == 0.0


def test_half_a_step_out_still_counts_as_shown() -> None:
    """White lit a little too bright prints as white; brighter than white does not count."""
    rgb, in_gamut = srgb_from_xyz(np.array([[1.003], [1.02]]) * WHITE)
    assert rgb == pytest.approx(np.ones((2, 3)), abs=1e-12)
    assert in_gamut.tolist() == [True, False]
