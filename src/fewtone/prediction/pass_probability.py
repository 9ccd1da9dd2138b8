"""How likely a fresh panel passes.

Model
    Everything that makes a fresh panel differ from its prediction is small, so Lab is taken to be
    linear in it and normal: the curves and the ground (as learning knows them, without what is only
    feared), the film model's own error, how grounds differ from panel to panel, the panel's film
    build, the pour of each component and the instrument (`fewtone.model.variation`). Of a film that
    is known by its doses, all is the same however it is sprayed but for film build and pours, which
    depend on the number of coats, and for how unsure coats and letdowns are that were not read.

    ΔE00² to the target is taken to be δᵀ M δ for the step δ from the target to a panel, with the
    metric M of the colour halfway between target and prediction, about which ΔE00 itself is
    defined. The chance is then that of a generalised chi-square, P(δᵀ M δ ≤ tolerance²).

How it is counted
    In coordinates in which M is the unit matrix and the covariance diagonal, the chance is the
    normal distribution's share of a ball. Along the axis of greatest deviation it is a difference
    of two values of the distribution function, across it a product of two Gauss-Legendre rules
    that reach as far as the ball, or the normal density, does. The same arguments give the same
    answer every time.

Validity
    Variations of some percent in dose; recipes over grounds and of toners that were learnt. Of
    400,000 draws of the same normal distribution, judged by ΔE00 itself, as many pass to within .01
    at a tolerance of 1, .02 at 2 and .03 at 5 (60 recipes of the demo shelf).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from fewtone.colorimetry import Light, delta_e_2000_metric
from fewtone.model.curves import Curves
from fewtone.model.recipe import Recipe
from fewtone.model.shelf import ShelfSettings
from fewtone.model.target import Target
from fewtone.model.variation import film_build_sd, film_departures
from fewtone.prediction.forward import (
    lab_jacobian_of,
    lab_of,
    recipe_doses,
    reflectance_derivatives,
)
from fewtone.prediction.uncertainty import departing_deviations, lab_deviations_of
from fewtone.typing import FloatArray, IntArray, frozen

__all__ = [
    "FilmSpread",
    "PassProbability",
    "chance_within",
    "normal_points",
    "pass_any_probability",
    "pass_probability",
]

# Beyond so many standard deviations lies less than a ten thousandth.
_FARTHEST = 4.0
# Nodes along the axes of least and of middling deviation: with 12 each nothing moves by .001.
_LEAST_NODES, _MIDDLE_NODES = 8, 10
# A deviation below this ΔE00 is none.
_LEAST_SD = 1e-4
# Recipes at once: what is worked out at their nodes then stays in the processor's cache.
_BLOCK = 256
# Φ(x) ≈ 1/(1 + exp(-x (1.5976 + .070566 x²))) to 1.4e-4: S. R. Bowling et al.,
# J. Ind. Eng. Manag. 2, 114 (2009), doi:10.3926/jiem.2009.v2n1.p114-127.
_SLOPE, _CUBE = 1.5976, 0.070566
# Where the logistic form is 0 or 1 to all digits; exp would overflow soon after.
_FLAT = 12.0
# Points at which the chance of passing for at least one target is counted.
_POINTS = 4096


@dataclass(frozen=True, slots=True, eq=False)
class FilmSpread:
    """Colours of films and how fresh panels of them spread, however they are sprayed.

    Parameters
    ----------
    lab
        Predicted CIELAB, shape ``(n, 3)``.
    shared
        Covariance of Lab but for what depends on the coats, shape ``(n, 3, 3)``.
    by_build
        ∂Lab/∂ log film build, shape ``(n, 3)``.
    by_dose
        Σ doseⱼ ∂Lab/∂ log doseⱼ over the toners, shape ``(n, 3)``.
    dose, dose_square
        Σ doseⱼ and Σ doseⱼ² [standard coats], shape ``(n,)`` each.
    departing
        Covariance that coats c and letdown d add, as `film_departures` counts them: what c, d, c²,
        c·d and d² are multiplied by, shape ``(n, 5, 3, 3)``; None where they add none.
    """

    lab: FloatArray
    shared: FloatArray
    by_build: FloatArray
    by_dose: FloatArray
    dose: FloatArray
    dose_square: FloatArray
    departing: FloatArray | None


@dataclass(frozen=True, slots=True, eq=False)
class PassProbability:
    """The chance of passing against one target.

    Parameters
    ----------
    curves, settings
        The learnt shelf, with its uncertainty, and how hand, pour and instrument vary.
    target, tolerance
        What is asked for, and the ΔE00 that passes.
    """

    curves: Curves
    settings: ShelfSettings
    target: Target
    tolerance: float

    def spread(
        self, doses: FloatArray, ground: IntArray, lights: Sequence[Light] = ()
    ) -> FilmSpread:
        """How fresh panels of films spread.

        Parameters
        ----------
        doses
            Of each learnt toner [standard coats], shape ``(n, n_toners)``.
        ground
            Row of each film's ground in the curves, shape ``(n,)``.
        lights
            Lights in which panels are seen; the target's if there are none. In k lights a panel's
            colour has 3k coordinates, light after light.
        """
        curves, settings = self.curves, self.settings
        lights = lights or (self.target.light,)
        film = reflectance_derivatives(curves, doses, ground)
        jacobian = np.concatenate(
            [lab_jacobian_of(curves, film.reflectance, light) for light in lights], axis=1
        )
        sure = curves.uncertainty
        assert sure is not None
        likely = np.sqrt(1.0 - sure.feared)[:, np.newaxis]
        off = likely * lab_deviations_of(curves, film, jacobian, doses, ground)
        # ∂Lab/∂ log dose of each toner, (n, n_toners, 3).
        by_toner = (jacobian * film.d_tau[:, np.newaxis]) @ curves.absorption.T
        if curves.scattering.any():
            by_toner += (jacobian * film.d_scattering[:, np.newaxis]) @ curves.scattering.T
        by_toner = by_toner.swapaxes(1, 2) * doses[:, :, np.newaxis]
        further = departing_deviations(curves, by_toner)
        instrument = settings.measurement.repeat_sd**2 + sure.model_sd**2
        by_ground = (jacobian @ film.reflectance[:, :, np.newaxis])[:, :, 0]
        by_ground *= np.where(curves.metallic, *curves.ground_cv[::-1])[ground, np.newaxis]
        panels = by_ground[:, :, np.newaxis] * by_ground[:, np.newaxis]
        pours = settings.mixing.pour_cv**2 * (by_toner.swapaxes(1, 2) @ by_toner)
        return FilmSpread(
            lab=np.concatenate(
                [lab_of(curves, film.reflectance, light) for light in lights], axis=1
            ),
            shared=off.swapaxes(1, 2) @ off
            + panels
            + pours
            + instrument * np.tile(np.eye(3), (len(lights), len(lights))),
            by_build=by_toner.sum(axis=1),
            by_dose=(doses[:, np.newaxis] @ by_toner)[:, 0],
            dose=doses.sum(axis=1),
            dose_square=(doses**2).sum(axis=1),
            departing=None
            if further is None
            else _departing(off, *(likely * each for each in further)),
        )

    def of(
        self, spread: FilmSpread, film: IntArray, coats: FloatArray, medium_parts: FloatArray
    ) -> FloatArray:
        """The chance of films sprayed in so many coats at a letdown.

        Parameters
        ----------
        spread
            As `spread` gives it.
        film, coats, medium_parts
            Which of its films, the coats, and the letdown, shape ``(n,)`` each.

        Returns
        -------
        Shape ``(n,)``; a multiple of .01.
        """
        target = np.array(self.target.lab)
        chances = np.empty(len(film))
        for start in range(0, len(film), _BLOCK):
            block = slice(start, start + _BLOCK)
            lab = spread.lab[film[block]]
            covariance = self._covariance(spread, film[block], coats[block], medium_parts[block])
            chances[block] = chance_within(lab, covariance, target, self.tolerance)
        return np.round(chances, 2)

    def _covariance(
        self, spread: FilmSpread, film: IntArray, coats: FloatArray, medium_parts: FloatArray
    ) -> FloatArray:
        """Of Lab of a fresh panel, shape ``(n, 3, 3)``.

        A pour deviates the log dose of toner i by δᵢⱼ - volumeⱼ (`pour_shares`), and volumeⱼ is
        doseⱼ/coats: the outer products' sum over the components comes apart into sums that do not
        know the coats.
        """
        pour = self.settings.mixing.pour_cv**2
        passes = np.where(coats > 0.0, coats, np.inf)
        medium = 1.0 - spread.dose[film] / passes
        volume_square = spread.dose_square[film] / passes**2 + medium**2
        build, by_dose = spread.by_build[film], spread.by_dose[film] / passes[:, np.newaxis]
        along = film_build_sd(coats, self.settings.mixing) ** 2 + pour * volume_square
        crossed = build[:, :, np.newaxis] * by_dose[:, np.newaxis]
        covariance = along[:, np.newaxis, np.newaxis] * (
            build[:, :, np.newaxis] * build[:, np.newaxis]
        )
        covariance -= pour * (crossed + crossed.swapaxes(1, 2))
        covariance += spread.shared[film]
        if spread.departing is not None:
            c, d = film_departures(coats, medium_parts, self.curves.middle_letdown).T
            size = np.stack([c, d, c**2, c * d, d**2], axis=1)
            covariance += (size[:, :, np.newaxis, np.newaxis] * spread.departing[film]).sum(axis=1)
        return np.asarray(covariance)


def chance_within(
    lab: FloatArray, covariance: FloatArray, target: FloatArray, tolerance: float
) -> FloatArray:
    """Chance that normally distributed Labs lie within a ΔE00 of a target.

    Parameters
    ----------
    lab, covariance
        Their means and covariances, shapes ``(n, 3)`` and ``(n, 3, 3)``.
    target, tolerance
        CIELAB, shape ``(3,)``, and the ΔE00 that passes.

    Returns
    -------
    P(δᵀ M δ ≤ tolerance²), shape ``(n,)``.
    """
    step = lab - target
    root = np.linalg.cholesky(delta_e_2000_metric(target + 0.5 * step))
    mean = (root.swapaxes(1, 2) @ step[:, :, np.newaxis])[:, :, 0]
    variance, axes = np.linalg.eigh(root.swapaxes(1, 2) @ covariance @ root)
    sd = np.sqrt(np.maximum(variance, _LEAST_SD**2))
    mean = (axes.swapaxes(1, 2) @ mean[:, :, np.newaxis])[:, :, 0]
    radius = np.full(len(step), tolerance)
    # Least, then middling deviation: z and the density's weight at each node.
    offset, weight = _nodes(radius, mean[:, 0], sd[:, 0], _LEAST_NODES)
    radius = _root(tolerance**2 - offset**2)
    middle, sd_middle = mean[:, 1, np.newaxis], sd[:, 1, np.newaxis]
    offset, weight_middle = _nodes(radius, middle, sd_middle, _MIDDLE_NODES)
    half = _root(radius[..., np.newaxis] ** 2 - offset**2)
    share = (mean[:, 2] / sd[:, 2])[:, np.newaxis, np.newaxis]
    half /= sd[:, 2][:, np.newaxis, np.newaxis]
    inside = _distribution(half - share)
    inside += _distribution(half + share)
    inside -= 1.0
    inside *= weight_middle
    chance = (inside.sum(axis=-1) * weight).sum(axis=-1)
    return np.asarray(np.clip(chance, 0.0, 1.0))


def pass_probability(
    curves: Curves,
    settings: ShelfSettings,
    recipes: Sequence[Recipe],
    target: Target,
    tolerance: float,
) -> FloatArray | None:
    """Chance that a fresh panel sprayed from each recipe reads within tolerance of the target.

    Parameters
    ----------
    curves, settings
        The learnt shelf, and how hand, pour and instrument vary.
    recipes
        What is sprayed.
    target, tolerance
        What is asked for, and the ΔE00 that passes.

    Returns
    -------
    Shape ``(n_recipes,)``, rounded to .01; None where learning carries no uncertainty.

    Raises
    ------
    FewtoneError
        A recipe names a toner or ground that was not learnt.
    """
    if curves.uncertainty is None:
        return None
    chance = PassProbability(curves, settings, target, tolerance)
    spread = chance.spread(*recipe_doses(curves, recipes))
    return chance.of(spread, np.arange(len(recipes)), *_sprayed(recipes))


def pass_any_probability(
    curves: Curves,
    settings: ShelfSettings,
    recipes: Sequence[Recipe],
    versions: Sequence[Sequence[Target]],
    tolerance: float,
) -> FloatArray | None:
    """Chance that a fresh panel of each recipe reads within tolerance of at least one version.

    The panels of `pass_probability`, counted at evenly spread points of their distribution, which
    is right to about .005. A panel has one spectrum, whose colours in several lights go together;
    what the instrument misreads is the same in all of them. Never below the chance for one version
    nor above the sum of all.

    Parameters
    ----------
    curves, settings, recipes, tolerance
        As `pass_probability` takes them.
    versions
        Versions of one colour, each in one light or in several, in all of which a panel is then to
        be within tolerance.

    Returns
    -------
    Shape ``(n_recipes,)``, rounded to .01; None where learning carries no uncertainty.

    Raises
    ------
    FewtoneError
        A recipe names a toner or ground that was not learnt.
    """
    if curves.uncertainty is None:
        return None
    lights = tuple(dict.fromkeys(target.light for version in versions for target in version))
    chance = PassProbability(curves, settings, versions[0][0], tolerance)
    spread = chance.spread(*recipe_doses(curves, recipes), lights)
    covariance = chance._covariance(spread, np.arange(len(recipes)), *_sprayed(recipes))
    variance, axes = np.linalg.eigh(covariance)
    # The widest directions first: points are spread most evenly along their first coordinates.
    root = (axes * np.sqrt(np.maximum(variance, 0.0))[:, np.newaxis])[..., ::-1]
    points = normal_points(_POINTS, root.shape[-1]) @ root.swapaxes(1, 2)
    inside = np.zeros((len(recipes), _POINTS), dtype=np.bool_)
    alone = []
    for version in versions:
        passes = np.ones_like(inside)
        for target in version:
            seen = slice(3 * lights.index(target.light), 3 * lights.index(target.light) + 3)
            step = spread.lab[:, seen] - np.array(target.lab)
            metric = delta_e_2000_metric(np.array(target.lab) + 0.5 * step)
            panels = step[:, np.newaxis] + points[..., seen]
            passes &= ((panels @ metric) * panels).sum(axis=2) <= tolerance**2
        inside |= passes
        within = passes.mean(axis=1)
        if len(version) == 1:
            in_light = covariance[:, seen, seen]
            within = chance_within(spread.lab[:, seen], in_light, np.array(target.lab), tolerance)
        alone.append(within)
    counted = np.clip(inside.mean(axis=1), np.max(alone, axis=0), np.sum(alone, axis=0))
    return np.asarray(np.round(np.minimum(counted, 1.0), 2))


@lru_cache(maxsize=2)
def normal_points(count: int, size: int) -> FloatArray:
    """Points spread evenly as the standard normal distribution, ``(count, size)``.

    An additive recurrence whose steps are powers of the root of x^(d + 1) = x + 1 (the sequence
    R_d of M. Roberts, The Unreasonable Effectiveness of Quasirandom Sequences, 2018,
    extremelearning.com.au) in d dimensions, made normal by the Box-Muller transform, which takes
    two for two.

    Parameters
    ----------
    count
        How many.
    size
        Dimensions.
    """
    pairs = (size + 1) // 2
    root = 2.0
    for _ in range(60):
        root = (1.0 + root) ** (1.0 / (2 * pairs + 1))
    steps = root ** -np.arange(1.0, 2 * pairs + 1)
    even = (0.5 + np.arange(1, count + 1)[:, np.newaxis] * steps) % 1.0
    radius = np.sqrt(-2.0 * np.log(np.maximum(even[:, :pairs], 1e-12)))
    angle = 2.0 * np.pi * even[:, pairs:]
    normal = np.hstack([radius * np.cos(angle), radius * np.sin(angle)])[:, :size]
    return frozen(np.ascontiguousarray(normal))


def _sprayed(recipes: Sequence[Recipe]) -> tuple[FloatArray, FloatArray]:
    """Coats and letdown of recipes, ``(n_recipes,)`` each."""
    coats = np.array([float(recipe.coats) for recipe in recipes])
    return coats, np.array([float(recipe.medium_parts) for recipe in recipes])


def _departing(off: FloatArray, by_coats: FloatArray, by_letdown: FloatArray) -> FloatArray:
    """`FilmSpread.departing` of deviations and of what coats and letdown add to them."""

    def crossed(one: FloatArray, other: FloatArray) -> FloatArray:
        product = one.swapaxes(1, 2) @ other
        return np.asarray(product + product.swapaxes(1, 2))

    return np.stack(
        [
            crossed(off, by_coats),
            crossed(off, by_letdown),
            by_coats.swapaxes(1, 2) @ by_coats,
            crossed(by_coats, by_letdown),
            by_letdown.swapaxes(1, 2) @ by_letdown,
        ],
        axis=1,
    )


def _nodes(
    radius: FloatArray, mean: FloatArray, sd: FloatArray, count: int
) -> tuple[FloatArray, FloatArray]:
    """Gauss-Legendre nodes of a normal density between -radius and radius.

    Where the density ends before the radius does, so do the nodes. Returns the nodes and the weight
    of each, both ``(..., count)``.
    """
    node, weight = _legendre(count)
    low = np.maximum((-radius - mean) / sd, -_FARTHEST)
    width = np.maximum(np.minimum((radius - mean) / sd, _FARTHEST) - low, 0.0)
    z = low[..., np.newaxis] + width[..., np.newaxis] * node
    density = np.exp(-0.5 * z**2)
    density *= width[..., np.newaxis] * (weight / np.sqrt(2.0 * np.pi))
    z *= sd[..., np.newaxis]
    z += mean[..., np.newaxis]
    return z, density


def _root(square: FloatArray) -> FloatArray:
    return np.asarray(np.sqrt(np.maximum(square, 0.0)))


def _distribution(x: FloatArray) -> FloatArray:
    """The standard normal distribution function, to 1.4e-4."""
    x = np.clip(x, -_FLAT, _FLAT)
    power = x * x
    power *= -_CUBE
    power -= _SLOPE
    power *= x
    np.exp(power, out=power)
    power += 1.0
    return np.asarray(np.divide(1.0, power, out=power))


@lru_cache(maxsize=4)
def _legendre(count: int) -> tuple[FloatArray, FloatArray]:
    """Nodes and weights of the Gauss-Legendre rule on 0..1."""
    node, weight = np.polynomial.legendre.leggauss(count)
    return frozen(0.5 * (node + 1.0)), frozen(0.5 * weight)
