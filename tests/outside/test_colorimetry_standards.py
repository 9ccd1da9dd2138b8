"""Colorimetry against published values and against colour-science."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
from numpy.typing import NDArray

from fewtone.colorimetry import (
    ILLUMINANTS,
    OBSERVERS,
    Light,
    delta_e_2000,
    delta_e_ab,
    display_p3_from_xyz,
    lab_from_hex,
    lab_from_xyz,
    srgb_from_xyz,
    weights,
    white_point,
    xyz,
    xyz_from_lab,
)
from fewtone.colorimetry.appearance import adapt_cmccat2000, metamerism_index

with warnings.catch_warnings():
    # It says at import that it cannot draw without a plotting library; nothing is drawn here.
    warnings.simplefilter("ignore")
    import colour

    from fewtone.data import make_colorimetry

Array = NDArray[np.float64]

ROUNDING = 1e-9  # sums of a few hundred float64 terms of size 100

# G. Sharma, W. Wu and E. N. Dalal, "The CIEDE2000 color-difference formula: implementation notes,
# supplementary test data, and mathematical observations", Color Res. Appl. 30, 21-30 (2005),
# table 1: L*, a*, b* of both colours, ΔE00. The hues of pair 14 are exactly opposite, where the
# formula jumps between 4.8045 and 4.7461; the table, and so fewtone, has 4.8045.
PAIRS = [
    (50, 2.6772, -79.7751, 50, 0, -82.7485, 2.0425),
    (50, 3.1571, -77.2803, 50, 0, -82.7485, 2.8615),
    (50, 2.8361, -74.02, 50, 0, -82.7485, 3.4412),
    (50, -1.3802, -84.2814, 50, 0, -82.7485, 1),
    (50, -1.1848, -84.8006, 50, 0, -82.7485, 1),
    (50, -0.9009, -85.5211, 50, 0, -82.7485, 1),
    (50, 0, 0, 50, -1, 2, 2.3669),
    (50, -1, 2, 50, 0, 0, 2.3669),
    (50, 2.49, -0.001, 50, -2.49, 0.0009, 7.1792),
    (50, 2.49, -0.001, 50, -2.49, 0.001, 7.1792),
    (50, 2.49, -0.001, 50, -2.49, 0.0011, 7.2195),
    (50, 2.49, -0.001, 50, -2.49, 0.0012, 7.2195),
    (50, -0.001, 2.49, 50, 0.0009, -2.49, 4.8045),
    (50, -0.001, 2.49, 50, 0.001, -2.49, 4.8045),
    (50, -0.001, 2.49, 50, 0.0011, -2.49, 4.7461),
    (50, 2.5, 0, 50, 0, -2.5, 4.3065),
    (50, 2.5, 0, 73, 25, -18, 27.1492),
    (50, 2.5, 0, 61, -5, 29, 22.8977),
    (50, 2.5, 0, 56, -27, -3, 31.903),
    (50, 2.5, 0, 58, 24, 15, 19.4535),
    (50, 2.5, 0, 50, 3.1736, 0.5854, 1),
    (50, 2.5, 0, 50, 3.2972, 0, 1),
    (50, 2.5, 0, 50, 1.8634, 0.5757, 1),
    (50, 2.5, 0, 50, 3.2592, 0.335, 1),
    (60.2574, -34.0099, 36.2677, 60.4626, -34.1751, 39.4387, 1.2644),
    (63.0109, -31.0961, -5.8663, 62.8187, -29.7946, -4.0864, 1.263),
    (61.2901, 3.7196, -5.3901, 61.4292, 2.248, -4.962, 1.8731),
    (35.0831, -44.1164, 3.7933, 35.0232, -40.0716, 1.5901, 1.8645),
    (22.7233, 20.0904, -46.694, 23.0331, 14.973, -42.5619, 2.0373),
    (36.4612, 47.858, 18.3852, 36.2715, 50.5065, 21.2231, 1.4146),
    (90.8027, -2.0831, 1.441, 91.1528, -1.6435, 0.0447, 1.4441),
    (90.9257, -0.5406, -0.9208, 88.6381, -0.8985, -0.7239, 1.5381),
    (6.7747, -0.2908, -2.4247, 5.8714, -0.0985, -2.2286, 0.6377),
    (2.0776, 0.0795, -1.135, 0.9033, -0.0636, -0.5514, 0.9082),
]


@pytest.mark.parametrize("swapped", [False, True], ids=["as printed", "swapped"])
def test_ciede2000_pairs(swapped: bool) -> None:
    """All 34 published pairs, in either order, agree to the four places they are printed to."""
    pairs = np.array(PAIRS, dtype=np.float64)
    one, two = pairs[:, :3], pairs[:, 3:6]
    found = delta_e_2000(two, one) if swapped else delta_e_2000(one, two)
    assert len(PAIRS) == 34
    assert found == pytest.approx(pairs[:, 6], abs=5.001e-5)


# X and Z for Y = 100 as ASTM E308 and CIE 15 print them; the sources are cited from memory, the
# values were recomputed for this project.
@pytest.mark.parametrize(
    ("light", "x", "z"),
    [
        ("D65/10", 94.811, 107.304),
        ("D65/2", 95.047, 108.883),
        ("D50/2", 96.422, 82.521),
        ("A/10", 111.144, 35.200),
    ],
)
def test_white_points(light: str, x: float, z: float) -> None:
    """White points are the published ones, which other summations move in the second place."""
    assert white_point(Light.parse(light)) == pytest.approx([x, 100.0, z], abs=0.01)


# X, Y, Z under D65/10 and A/10: ISO 18314-4, the worked example (as printed in the
# documentation of colour-science).
STANDARD = [[7.6576, 10.7116, 5.0731], [8.96442, 10.1878, 1.6663]]
SAMPLE = [[7.6933, 10.5616, 5.54474], [8.56438, 10.0324, 1.9315]]


def test_metamerism_index_example() -> None:
    """Both corrections of ISO 18314-4 give the example's index, in ΔE*ab."""
    whites = np.stack([white_point(Light("D65", 10)), white_point(Light("A", 10))])
    # The example's X, Y, Z have four or five digits; half of the last moves a* by 0.001.
    digits = 1e-3
    ratios = metamerism_index(STANDARD, SAMPLE, whites, correction="multiplicative")
    steps = metamerism_index(STANDARD, SAMPLE, whites, correction="additive")
    assert ratios == pytest.approx(3.7907, abs=digits)
    assert steps == pytest.approx(3.8268, abs=digits)


def test_cmccat2000_example() -> None:
    """The worked example of Westland, Ripamonti and Cheung (2012), lamplight to daylight."""
    found = adapt_cmccat2000([22.48, 22.74, 8.54], [111.15, 100.0, 35.20], [94.81, 100.0, 107.30])
    assert found == pytest.approx([19.52698, 23.06834, 24.97175], abs=5.1e-6)


@pytest.mark.parametrize("luminances", [(200.0, 200.0), (20.0, 800.0), (1000.0, 5.0)])
@pytest.mark.parametrize("surround", ["Average", "Dim"])
def test_cmccat2000_agrees_with_colour_science(
    luminances: tuple[float, float], surround: str
) -> None:
    """Adaptation of many colours agrees with colour-science at any luminance and surround."""
    whites = white_point(Light("F11", 10)), white_point(Light("D65", 10))
    conditions = colour.adaptation.VIEWING_CONDITIONS_CMCCAT2000[surround]
    colours = np.random.default_rng(3).uniform(1.0, 90.0, (50, 3))
    found = adapt_cmccat2000(
        colours,
        *whites,
        luminance=luminances[0],
        luminance_reference=luminances[1],
        surround=conditions.F,
    )
    expected = colour.adaptation.chromatic_adaptation_forward_CMCCAT2000(
        colours, *whites, *luminances, conditions
    )
    assert found == pytest.approx(np.asarray(expected), abs=ROUNDING)


def test_packaged_table_is_what_the_script_makes() -> None:
    """The packaged lights and observers are, bit for bit, what colour-science gives now."""
    packaged = np.load(make_colorimetry.TABLE_FILE)
    made = make_colorimetry.table()
    assert packaged.dtype == made.dtype
    assert packaged.tobytes() == made.tobytes()


@pytest.mark.parametrize("observer", OBSERVERS)
@pytest.mark.parametrize("illuminant", ILLUMINANTS)
def test_light_agrees_with_colour_science(illuminant: str, observer: int) -> None:
    """Chart spectra under every light agree with colour-science's summation at 1 nm."""
    chart = colour.SDS_COLOURCHECKERS["ISO 17321-1"].values()
    expected = [_summed(patch, illuminant, observer) for patch in chart]
    reflectance = np.array([patch.values for patch in chart])
    found = xyz(reflectance, np.arange(380.0, 781.0, 5.0), Light(illuminant, observer))
    # colour-science interpolates by fifth-degree polynomials and holds no tail below 380 nm,
    # where there is next to no light; three-band lamps feel the interpolation most.
    assert found == pytest.approx(np.array(expected), abs=0.01)


def _summed(patch: colour.SpectralDistribution, illuminant: str, observer: int) -> Array:
    """X, Y, Z by colour-science, light and observer tabulated at 1 nm from 380 to 780 nm."""
    shape = colour.SpectralShape(380, 780, 1)
    names = {2: "CIE 1931 2 Degree Standard Observer", 10: "CIE 1964 10 Degree Standard Observer"}
    lamp = (
        colour.sd_CIE_standard_illuminant_A(shape)
        if illuminant == "A"
        else colour.SDS_ILLUMINANTS[illuminant.replace("F", "FL")]
        .copy()
        .interpolate(shape, interpolator=colour.LinearInterpolator)
        .trim(shape)
    )
    observed = colour.MSDS_CMFS[names[observer]].copy().trim(shape)
    fine = patch.copy().interpolate(shape, interpolator=colour.SpragueInterpolator)
    return np.asarray(colour.sd_to_XYZ(fine, observed, lamp, method="Integration"))


def test_chart_reads_as_published() -> None:
    """A chart's spectra give its published chromaticities under D50/2.

    The averaged measurements of thirty 24-patch charts, spectra and CIE xyY, as packaged by
    colour-science; xyY are printed to four digits.
    """
    chart, published = (
        colour.SDS_COLOURCHECKERS["babel_average"],
        colour.CCS_COLOURCHECKERS["babel_average"].data,
    )
    light, white = Light("D50", 2), white_point(Light("D50", 2))
    grid = np.arange(380.0, 731.0, 10.0)
    found = lab_from_xyz(xyz([chart[name].values for name in published], grid, light), white)
    expected = colour.xyY_to_XYZ(np.array(list(published.values()))) * 100.0
    difference = delta_e_2000(found, lab_from_xyz(expected, white))
    # Reflectance is printed to three places: half a digit is 0.2 in L* of the darkest patch.
    print_rounding = 0.2
    assert difference.max() < print_rounding
    assert np.median(difference) < 0.2 * print_rounding


def test_weights_at_each_nanometre_are_light_times_observer() -> None:
    """On the table's own grid the rule is the plain sum of CIE 15, from colour-science's tables."""
    grid = np.arange(360.0, 781.0)
    lamp = colour.SDS_ILLUMINANTS["D65"]
    observed = colour.MSDS_CMFS["CIE 1964 10 Degree Standard Observer"]
    matching = np.array([observed[nanometre] for nanometre in grid])
    products = np.interp(grid, lamp.wavelengths, lamp.values)[:, np.newaxis] * matching
    expected = 100.0 * products / products[:, 1].sum()
    assert weights(grid, Light("D65", 10)) == pytest.approx(expected, abs=ROUNDING)


def _colours(count: int) -> Array:
    """Random colours over the whole solid, near-black and neutral ones among them."""
    random = np.random.default_rng(11)
    lab = np.stack(
        [
            random.uniform(0.0, 100.0, count),
            random.normal(0.0, 40.0, count),
            random.normal(0.0, 40.0, count),
        ],
        axis=-1,
    )
    lab[: count // 10, 0] *= 0.05
    lab[:: count // 20, 1:] = 0.0
    return lab


def test_cielab_agrees_with_colour_science() -> None:
    """CIELAB there and back agrees with colour-science, near black too."""
    white = white_point(Light("D65", 10))
    chromaticity = colour.XYZ_to_xy(white / 100.0)
    lab = _colours(500)
    expected = np.asarray(colour.Lab_to_XYZ(lab, chromaticity)) * 100.0
    assert xyz_from_lab(lab, white) == pytest.approx(expected, abs=ROUNDING)
    assert lab_from_xyz(expected, white) == pytest.approx(lab, abs=ROUNDING)


def test_ciede2000_agrees_with_colour_science() -> None:
    """ΔE00 of all pairs among random colours agrees with colour-science, large ones too."""
    lab = _colours(200)
    found = delta_e_2000(lab[:, np.newaxis], lab)
    expected = colour.delta_E(lab[:, np.newaxis], lab[np.newaxis], method="CIE 2000")
    # Angles near ±180° lose digits in the other route; 1e-6 is what picks are compared to.
    assert found == pytest.approx(np.asarray(expected), abs=1e-7)


def test_plain_distance_agrees_with_colour_science() -> None:
    """ΔE*ab agrees with colour-science."""
    lab = _colours(100)
    expected = colour.delta_E(lab[:50], lab[50:], method="CIE 1976")
    assert delta_e_ab(lab[:50], lab[50:]) == pytest.approx(np.asarray(expected), abs=ROUNDING)


# IEC 61966-2-1: X, Y, Z of the primaries (columns of its matrix) are those of BT.709 with white
# x = 0.3127, y = 0.3290; fewtone's white is CIE D65 itself, 0.31273, 0.32902.
WHITE_DIGITS = 0.03


def test_srgb_primaries() -> None:
    """The primaries of IEC 61966-2-1 code to full red, green and blue, all in gamut."""
    primaries = np.array([[41.24, 21.26, 1.93], [35.76, 71.52, 11.92], [18.05, 7.22, 95.05]])
    coded, in_gamut = srgb_from_xyz(primaries)
    assert coded == pytest.approx(np.eye(3), abs=2e-3)
    assert in_gamut.all()


def test_srgb_agrees_with_colour_science() -> None:
    """Screen colours agree with colour-science inside the gamut, and hex colours everywhere."""
    random = np.random.default_rng(5)
    coded = random.integers(0, 256, (300, 3))
    expected_xyz = np.asarray(colour.sRGB_to_XYZ(coded / 255.0)) * 100.0
    found, in_gamut = srgb_from_xyz(expected_xyz)
    half_a_step = 0.5  # so that both print the same hex colour; the whites part by 0.26 at most
    assert found * 255.0 == pytest.approx(coded, abs=half_a_step)
    assert in_gamut.all()
    chromaticity = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
    for value, value_xyz in zip(coded[:100], expected_xyz, strict=False):
        lab = lab_from_hex("#{:02x}{:02x}{:02x}".format(*value))
        expected = colour.XYZ_to_Lab(value_xyz / 100.0, chromaticity)
        assert lab == pytest.approx(np.asarray(expected), abs=WHITE_DIGITS)


def test_display_p3_agrees_with_colour_science() -> None:
    """Against colour-science's Display P3, whose matrix is printed to ten digits and more.

    Greys, and colours within and beyond sRGB; the white is printed to five digits there.
    """
    space = colour.RGB_COLOURSPACES["Display P3"]
    rng = np.random.default_rng(3)
    coded = np.concatenate([rng.uniform(0.0, 1.0, (200, 3)), np.eye(3), np.ones((1, 3)) * 0.5])
    xyz = 100.0 * np.asarray(colour.RGB_to_XYZ(coded, space, apply_cctf_decoding=True))
    found, holds = display_p3_from_xyz(xyz)
    np.testing.assert_allclose(found, coded, atol=1e-3)
    assert holds.all()
    _, in_srgb = srgb_from_xyz(xyz)
    assert not in_srgb[200:203].any()
