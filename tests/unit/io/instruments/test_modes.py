"""Which measurement mode counts."""

from __future__ import annotations

import pytest

from exports import NM, colour_object, cxf, lab_value, specification, spectrum
from fewtone.errors import FewtoneError, UsageError
from fewtone.io.instruments.choose import ChosenReading, choose
from fewtone.io.instruments.cxf import read_cxf
from fewtone.model.shelf import Measurement
from fewtone.optics.film import Geometry

LOW, HIGH = [0.2] * len(NM), [0.3] * len(NM)
SPHERE = "<SphereGeometry>Specular_{}</SphereGeometry>"
SHELF = Measurement()


def taken(
    values: list[str],
    specifications: list[str],
    mode: str | None = None,
    shelf: Measurement = SHELF,
) -> tuple[ChosenReading, tuple[str, ...]]:
    """The one sample of a file, as a shelf takes it."""
    export = read_cxf(cxf([colour_object("P1", *values)], specifications), "bench.cxf")
    (found,), cautions = choose(export, shelf, mode=mode)
    return found, cautions


def first_value(found: ChosenReading) -> float:
    """The first reflectance."""
    assert found.reflectance is not None
    return float(found.reflectance[0])


TWO = (
    [spectrum(LOW), spectrum(HIGH, "CS2")],
    [specification(condition="M0_Incandescent"), specification("CS2", condition="M2_UVExcluded")],
)


def test_several_modes_are_refused_and_listed() -> None:
    """A file in M0 and M2 leaves a choice that is the user's."""
    with pytest.raises(FewtoneError, match="several measurement modes: M0 45:0") as caught:
        taken(*TWO)
    assert "(`mode`), such as M0" in (caught.value.faults[0].fix or "")


@pytest.mark.parametrize(("mode", "value"), [("M0", 0.2), ("m2", 0.3), ("CS2", 0.3)])
def test_the_mode_that_was_named_counts(mode: str, value: float) -> None:
    """By condition or by the specification's id; the other is told as not used."""
    found, cautions = taken(*TWO, mode=mode)
    assert first_value(found) == value
    assert any("not used" in caution for caution in cautions)


def test_a_mode_that_is_not_there() -> None:
    """Naming another mode is wrong usage, and the file's modes are listed."""
    with pytest.raises(UsageError, match="goes by 'M1'"):
        taken(*TWO, mode="M1")


@pytest.mark.parametrize(("geometry", "value"), [("di:8", 0.2), ("de:8", 0.3)])
def test_the_shelfs_geometry_decides(geometry: str, value: float) -> None:
    """Of a sphere's readings with and without gloss the shelf's are taken, without asking."""
    specifications = [
        specification(geometry=SPHERE.format("Included")),
        specification("CS2", geometry=SPHERE.format("Excluded")),
    ]
    shelf = Measurement(geometry=Geometry(geometry))
    found, _ = taken([spectrum(LOW), spectrum(HIGH, "CS2")], specifications, shelf=shelf)
    assert first_value(found) == value


@pytest.mark.parametrize(
    ("geometry", "said"),
    [
        (SPHERE.format("Included"), "di:8"),
        (
            "<SingleAngle><SingleAngleConfiguration>Uniplanar</SingleAngleConfiguration>"
            "<IlluminationAngle>45</IlluminationAngle><MeasurementAngle>15</MeasurementAngle>"
            "</SingleAngle>",
            "'45:15'",
        ),
        (
            "<MultiAngle><BRDFAngle/></MultiAngle>",
            "'several angles'",
        ),
    ],
)
def test_another_geometry_is_refused(geometry: str, said: str) -> None:
    """Readings in two geometries never meet: the message names both and how to mend it."""
    with pytest.raises(FewtoneError, match=f"taken in {said}, and the shelf is read in 45:0"):
        taken([spectrum(LOW)], [specification(geometry=geometry)])


def test_a_polariser_is_refused() -> None:
    """M3 hides what flake sends back."""
    with pytest.raises(FewtoneError, match="polariser"):
        taken([spectrum(LOW)], [specification(condition="M3_Polarized")])


def test_an_unsaid_geometry_is_told() -> None:
    """It is taken to be the shelf's, with a caution."""
    geometry = "<UnknownGeometry>bench light</UnknownGeometry>"
    _, cautions = taken([spectrum(LOW)], [specification(geometry=geometry)])
    assert any("'bench light', which is not understood" in caution for caution in cautions)


def test_lab_beside_a_spectrum_may_say_less() -> None:
    """Lab whose specification does not name the condition is the same mode's."""
    found, _ = taken(
        [spectrum(LOW), lab_value((51.8, 0, 0), "CS2")],
        [
            specification(condition="M1_Daylight"),
            specification("CS2", light=("D50", "2"), kind="Colorimetric_Reflectance"),
        ],
    )
    assert first_value(found) == 0.2
    assert [str(light) for light in found.lab] == ["D50/2"]
