"""Lights: names, reading, order, white points."""

from __future__ import annotations

import numpy as np
import pytest

from fewtone.colorimetry import ILLUMINANTS, OBSERVERS, Light, white_point
from fewtone.errors import FewtoneError, UsageError

REQUIRED = ("A", "C", "D50", "D55", "D65", "D75", "F2", "F11", "LED-B3")


def test_every_light_prints_and_reads_back() -> None:
    """Each illuminant with each observer survives printing and parsing."""
    assert set(REQUIRED) <= set(ILLUMINANTS)
    assert OBSERVERS == (2, 10)
    for illuminant in ILLUMINANTS:
        for observer in OBSERVERS:
            light = Light(illuminant, observer)
            assert str(light) == f"{illuminant}/{observer}"
            assert Light.parse(str(light)) == light


@pytest.mark.parametrize(
    "text",
    ["d65/10", " D65 / 10 ", "D65/10°", "D65/ 10 °"],
    ids=["case", "spaces", "degree", "all"],
)
def test_loose_writing_is_read(text: str) -> None:
    """Capitals, spaces and a degree sign do not matter."""
    assert Light.parse(text) == Light("D65", 10)


@pytest.mark.parametrize("text", ["FL11/2", "fl11/2", "F11/2"])
def test_both_names_of_a_lamp_are_read(text: str) -> None:
    """FL11 of CIE 15 and F11 of the benches are one lamp."""
    assert Light.parse(text) == Light("F11", 2)


@pytest.mark.parametrize(
    "text", ["", "D65", "D65/5", "D66/10", "/10", "D65/10/2", "D65-10", "10/D65"]
)
def test_text_that_is_no_light_is_refused(text: str) -> None:
    """The message quotes the text and says what is allowed."""
    with pytest.raises(FewtoneError) as caught:
        Light.parse(text)
    (fault,) = caught.value.faults
    assert fault.value == text
    assert f"'{text}'" in fault.message
    assert "D65, D75" in fault.message
    assert fault.fix == "Write it like D65/10."


@pytest.mark.parametrize(("illuminant", "observer"), [("D66", 10), ("d65", 10), ("D65", 5)])
def test_only_known_lights_can_be_made(illuminant: str, observer: int) -> None:
    """A light that has no table cannot come into being."""
    with pytest.raises(FewtoneError, match=f"'{illuminant}/{observer}' is no light"):
        Light(illuminant, observer)


def test_lights_sort() -> None:
    """Lights have an order, by illuminant and then observer."""
    lights = [Light("D65", 10), Light("A", 2), Light("D65", 2), Light("A", 10)]
    assert [str(light) for light in sorted(lights)] == ["A/2", "A/10", "D65/2", "D65/10"]


def test_white_point_is_normalised_and_read_only() -> None:
    """Y is 100 for every light, and nobody can write into the shared array."""
    for illuminant in ILLUMINANTS:
        white = white_point(Light(illuminant, 10))
        assert white[1] == pytest.approx(100.0, abs=1e-12)
        assert np.isfinite(white).all()
    with pytest.raises(ValueError, match="read-only"):
        white[0] = 0.0


@pytest.mark.parametrize("name", ["E", "FL3.1", "HP1", "D60", "LED-RGB1", "ID65"])
@pytest.mark.parametrize("observer", [2, 10])
def test_other_standard_illuminants_have_colour_sciences_white(name: str, observer: int) -> None:
    """White points by the library's own integration at 1 nm, with its own interpolation."""
    import colour

    cmfs = colour.MSDS_CMFS[
        {2: "CIE 1931 2 Degree Standard Observer", 10: "CIE 1964 10 Degree Standard Observer"}[
            observer
        ]
    ]
    shape = colour.SpectralShape(360, 780, 1)
    lamp = colour.SDS_ILLUMINANTS[name].copy().align(shape)
    wanted = colour.colorimetry.sd_to_XYZ_integration(
        colour.sd_ones(shape), cmfs.copy().align(shape), lamp
    )
    light = Light.parse(f"{name.lower()}/{observer}")
    assert str(light) == f"{name}/{observer}"
    # It interpolates lamps by Sprague's polynomial, where the CIE's rule here is a straight line.
    assert white_point(light) == pytest.approx(100.0 * wanted / wanted[1], abs=0.3)


def test_an_unknown_light_lists_those_known() -> None:
    """Packaged and tabulated ones alike."""
    with pytest.raises(UsageError, match=r"LED-B5.*FL3\.1"):
        Light.parse("Q65/10")
