"""How close the weighting rule comes to summation at every nanometre, on measured spectra.

The figures that `fewtone.colorimetry.weighting` states are measured here. The reference is a plain
sum over 360 to 780 nm with colour-science's tables; the spectra are the 99 colour evaluation
samples of CIE 224:2017 at 1 nm, the 24-patch charts of ISO 17321-1 and of thirty averaged
specimens (all as packaged by colour-science), and 600 synthetic translucent films.
"""

from __future__ import annotations

import warnings
from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from fewtone.colorimetry import Light, weights

with warnings.catch_warnings():
    # It says at import that it cannot draw without a plotting library; nothing is drawn here.
    warnings.simplefilter("ignore")
    import colour
    from colour.quality.cfi2017 import load_TCS_CIE2017

Array = NDArray[np.float64]

NANOMETRES: Array = np.arange(360.0, 781.0)
OBSERVERS = {
    2: "CIE 1931 2 Degree Standard Observer",
    10: "CIE 1964 10 Degree Standard Observer",
}
GRIDS = {
    "400-700/10": np.arange(400.0, 701.0, 10.0),
    "380-780/5": np.arange(380.0, 781.0, 5.0),
    "360-740/20": np.arange(360.0, 741.0, 20.0),
    "420-680/10": np.arange(420.0, 681.0, 10.0),
}

# As the module's docstring states: median, 95th percentile and largest ΔE00 of the rule itself, of
# products of light and observer at the readings alone, and of straight lines between readings.
STATED = [
    ("400-700/10", "D65/10", (0.0014, 0.0075, 0.084), (0.027, 0.087, 0.33), (0.068, 0.161, 0.61)),
    ("400-700/10", "A/10", (0.0014, 0.0065, 0.068), (0.017, 0.075, 0.20), (0.066, 0.154, 0.41)),
    ("400-700/10", "F11/10", (0.0026, 0.0233, 0.113), (1.71, 5.57, 8.70), (0.075, 0.197, 0.54)),
    ("380-780/5", "D65/10", (0.0001, 0.0003, 0.001), (0.002, 0.004, 0.009), (0.017, 0.039, 0.15)),
    ("360-740/20", "D65/10", (0.0215, 0.0733, 0.225), (0.101, 0.235, 0.38), (0.276, 0.633, 2.4)),
    ("360-740/20", "F11/10", (0.0500, 0.2329, 0.812), (2.54, 7.26, 10.4), (0.298, 0.805, 1.99)),
]
FOUR_PLACES, THREE_PLACES = 6e-5, 6e-4  # half a digit of the printed figures
LIBRARIES = 0.02  # relative; the films depend on numpy's generator, the charts on an interpolation


@cache
def spectra() -> Array:
    """Reflectance at every nanometre, shape ``(747, 421)``."""
    samples = load_TCS_CIE2017(colour.SpectralShape(380, 780, 1))
    measured = [np.pad(np.asarray(samples.values).T, ((0, 0), (20, 0)), mode="edge")]
    for chart in ("ISO 17321-1", "babel_average"):
        for patch in colour.SDS_COLOURCHECKERS[chart].values():
            nodes, values = np.asarray(patch.wavelengths), np.asarray(patch.values)
            held = np.clip(NANOMETRES, nodes[0], nodes[-1])
            measured.append(CubicSpline(nodes, values)(held)[np.newaxis])
    return np.concatenate([*measured, _films(600)])


def _films(count: int) -> Array:
    """Films of one to three Gaussian absorption bands over a white of 0.8, seen in 45:0."""
    random = np.random.default_rng(1)
    films = np.empty((count, NANOMETRES.size))
    for film in films:
        depth = np.full(NANOMETRES.size, random.uniform(0.0, 0.1))
        for _ in range(random.integers(1, 4)):
            centre, width = random.uniform(350.0, 720.0), random.uniform(25.0, 80.0)
            height = np.exp(random.uniform(np.log(0.1), np.log(3.0)))
            depth += height * np.exp(-0.5 * ((NANOMETRES - centre) / width) ** 2)
        film[:] = 0.8 * np.exp(-2.13 * depth)
    return films


def per_nanometre(light: str) -> Array:
    """Illuminant times observer scaled to Y = 100, from colour-science, shape ``(421, 3)``."""
    illuminant, observer = light.split("/")
    observed = colour.MSDS_CMFS[OBSERVERS[int(observer)]]
    matching = np.asarray(observed.values)[np.isin(observed.wavelengths, NANOMETRES)]
    if illuminant == "A":
        lamp = colour.sd_CIE_standard_illuminant_A(colour.SpectralShape(360, 780, 1))
    else:
        lamp = colour.SDS_ILLUMINANTS[illuminant.replace("F", "FL")]
    power = np.interp(NANOMETRES, lamp.wavelengths, lamp.values, left=0.0, right=0.0)
    products = power[:, np.newaxis] * matching
    return np.asarray(100.0 / products[:, 1].sum() * products)


def lab(xyz: Array, white: Array) -> Array:
    """CIELAB by colour-science."""
    return np.asarray(colour.XYZ_to_Lab(xyz / 100.0, colour.XYZ_to_xy(white / 100.0)))


def figures(xyz: Array, true_xyz: Array, white: Array) -> Array:
    """Median, 95th percentile and largest ΔE00."""
    difference = colour.delta_E(lab(xyz, white), lab(true_xyz, white), method="CIE 2000")
    return np.asarray([*np.percentile(difference, [50.0, 95.0]), np.max(difference)])


def measure(grid: str, light: str, *, true_tails: bool = False) -> Array:
    """Figures of the rule, of products at the readings, of straight lines; shape ``(3, 3)``."""
    nodes, table = GRIDS[grid], per_nanometre(light)
    white = table.sum(axis=0)
    at_nodes = spectra()[:, np.isin(NANOMETRES, nodes)]
    held = NANOMETRES if true_tails else np.clip(NANOMETRES, nodes[0], nodes[-1])
    true_xyz = spectra()[:, np.searchsorted(NANOMETRES, held)] @ table

    products = table[np.isin(NANOMETRES, nodes)] * (nodes[1] - nodes[0])
    products[0] += table[nodes[0] > NANOMETRES].sum(axis=0)
    products[-1] += table[nodes[-1] < NANOMETRES].sum(axis=0)
    products *= white / products.sum(axis=0)
    straight = np.asarray([np.interp(NANOMETRES, nodes, row) for row in at_nodes])
    return np.asarray(
        [
            figures(at_nodes @ weights(nodes, Light.parse(light)), true_xyz, white),
            figures(at_nodes @ products, true_xyz, white),
            figures(straight @ table, true_xyz, white),
        ]
    )


@pytest.mark.parametrize(("grid", "light", "rule", "products", "straight"), STATED)
def test_accuracy_is_as_stated(
    grid: str,
    light: str,
    rule: tuple[float, ...],
    products: tuple[float, ...],
    straight: tuple[float, ...],
) -> None:
    """The docstring's accuracy figures are what the spectra give, for all three rules."""
    measured = measure(grid, light)
    for found, stated in zip(measured, (rule, products, straight), strict=True):
        assert found == pytest.approx(stated, abs=THREE_PLACES, rel=LIBRARIES)
    assert measured[0, :2] == pytest.approx(rule[:2], abs=FOUR_PLACES, rel=LIBRARIES)


@pytest.mark.parametrize("grid", ["400-700/10", "380-780/5", "360-740/20"])
@pytest.mark.parametrize("light", ["D65/10", "D50/2", "C/2", "F2/10", "F11/10", "LED-B3/10"])
def test_rule_is_the_best_of_the_three(grid: str, light: str) -> None:
    """Median and 95th percentile are below those of both simpler rules, in every kind of light."""
    rule, *others = measure(grid, light)[:, :2]
    for other in others:
        assert (rule < other).all()


@pytest.mark.parametrize(
    ("grid", "median", "largest"), [("400-700/10", 0.004, 0.20), ("420-680/10", 0.07, 2.5)]
)
def test_cost_of_missing_tails_is_as_stated(grid: str, median: float, largest: float) -> None:
    """Holding the tails under D65/10 costs what the docstring states."""
    found = measure(grid, "D65/10", true_tails=True)[0]
    one_digit = 0.04  # relative; the figures are stated to one or two digits
    assert found[[0, 2]] == pytest.approx([median, largest], rel=one_digit)
