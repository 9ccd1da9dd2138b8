"""What to spray next: the few panels that would make this shelf's blends surest.

Model
    The curves deviate in the directions that the uncertainty holds, each by an independent standard
    normal number, and everything is linear in them. *Targets* are random blends of the kind the
    shop matches; how far off each is expected to be is √(trace of its Lab covariance in ΔE00's own
    metric). *Candidates* are random recipes that the shop can spray. A candidate's reading pins the
    directions down as far as the instrument's noise, and the film build of that one panel, which
    nobody knows, allow. Panels are chosen one after another, each being the one that lowers the
    mean over the targets most once those before it are read.

    What is only feared, such as a flake unlike the shelf's other ones where it was read bare alone,
    makes panels that tell of it look worth most, and they are worth little where it is not so.
    That it is so and that it is not count as equally likely: the panel is chosen that lowers the
    mean over both most.

    Minimising the mean variance instead (A-optimality proper) spends the panels on the few worst
    recipes, and spraying the least sure recipe did no better in the booth than a random one.

Validity
    Deviations small enough that colour is linear in them. Targets and candidates are always the
    same ones for the same shelf, so the answer is.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from fewtone.colorimetry import Light, delta_e_2000_metric, weights
from fewtone.learning.noise import Noise
from fewtone.learning.parameters import GAIN_SD
from fewtone.model.curves import Curves
from fewtone.model.recipe import Recipe
from fewtone.model.shelf import ShelfSettings
from fewtone.model.variation import film_build_sd
from fewtone.optics.terms import FilmDerivatives
from fewtone.prediction.forward import (
    departures_of,
    lab_jacobian_of,
    lab_of,
    recipe_doses,
    reflectance_derivatives,
)
from fewtone.prediction.uncertainty import reflectance_deviations
from fewtone.typing import FloatArray

__all__ = ["Suggestion", "second_light", "suggest"]

_SEED = 5
_TARGETS, _CANDIDATES = 240, 800
_MOST_TONERS = 3
# Recipes looked at together: their deviations fill some tens of megabytes on a large shelf.
_BLOCK = 32
# Neighbouring wavelengths of a spectrum tell much the same: it is read in this many bands.
_BANDS = 10
# Turned onto what they tell most of, no more of them than this tell anything worth reading.
_NUMBERS = 6


@dataclass(frozen=True, slots=True)
class Suggestion:
    """A panel worth spraying, once those suggested before it are read.

    Parameters
    ----------
    recipe
        What to spray.
    before, after
        How far off this shelf's blends are expected to be without and with it [ΔE00].
    """

    recipe: Recipe
    before: float
    after: float


def suggest(
    curves: Curves,
    settings: ShelfSettings,
    noise: Noise,
    lights: Sequence[Light],
    *,
    feared: int = 0,
    count: int = 5,
) -> tuple[Suggestion, ...]:
    """Choose the panels to spray next.

    Parameters
    ----------
    curves
        The learnt shelf.
    settings
        What the shop can spray, and how its hand varies.
    noise
        Of its instrument.
    lights
        Under which it reads Lab; none if it reads spectra.
    feared
        How many of the uncertainty's directions, the last ones that panels tell of, are only
        feared: panels are chosen as much for a shelf without them.
    count
        How many panels.

    Returns
    -------
    The panels in the order of their worth; none where learning carries no uncertainty or no
    toner is in stock.
    """
    rng = np.random.default_rng(_SEED)
    targets = _draw(curves, settings, rng, _TARGETS)
    candidates = _draw(curves, settings, rng, _CANDIDATES)
    if curves.uncertainty is None or not targets:
        return ()
    wanted, lasting_variance = _wanted(curves, targets, settings.measurement.light)
    jacobians = _reading_jacobians(curves, candidates, settings, noise, lights)
    outcomes = [_Expected(jacobians, wanted, lasting_variance)]
    if feared:
        kept = np.s_[..., : wanted.shape[-1] - feared]
        outcomes.append(_Expected(jacobians[kept], wanted[kept], lasting_variance))
    free = np.ones(len(candidates), dtype=np.bool_)
    suggestions: list[Suggestion] = []
    while len(suggestions) < count and free.any():
        left = np.array([each.after_each() for each in outcomes])
        best = int(np.where(free, left.sum(axis=0), np.inf).argmin())
        free[[recipe == candidates[best] for recipe in candidates]] = False
        suggestions.append(Suggestion(candidates[best], outcomes[0].now, float(left[0, best])))
        if len(suggestions) < count:
            for each in outcomes:
                each.read(best)
    return tuple(suggestions)


def second_light(lights: Sequence[Light]) -> Light | None:
    """The light to read Lab in beside the one that is read; None if there are several or none.

    The light of a lamp is as far from daylight as instruments offer, so it tells most.
    """
    if len(lights) != 1:
        return None
    (one,) = lights
    return Light("D65" if one.illuminant == "A" else "A", one.observer)


class _Expected:
    """How far off targets are expected to be by one uncertainty, as panels are read one by one.

    With H the Jacobian of a candidate's reading in the directions, in standard deviations of its
    noise, G those of a target, and P the directions' covariance, the reading takes
    Gᵀ P H (1 + Hᵀ P H)⁻¹ Hᵀ P G off the target's covariance. P itself is never needed: HᵀPH and
    HᵀPG are brought up to date by the rank of one reading.
    """

    def __init__(
        self, jacobians: FloatArray, wanted: FloatArray, lasting_variance: FloatArray
    ) -> None:
        self._shape = n_candidates, n_read, _ = jacobians.shape
        self._jacobians = jacobians
        self._flat = jacobians.reshape(n_candidates * n_read, -1)
        self._within = np.eye(n_read) + jacobians @ jacobians.swapaxes(1, 2)
        across = self._flat @ wanted.reshape(-1, wanted.shape[-1]).T
        self._across = across.reshape(n_candidates, n_read, -1)
        self._variance = (wanted**2).sum(axis=(1, 2)) + lasting_variance
        # P is the unit matrix less usedᵀ used.
        self._used = np.zeros((0, self._flat.shape[1]))

    @property
    def now(self) -> float:
        """Mean over the targets [ΔE00]."""
        return float(np.sqrt(self._variance).mean())

    def after_each(self) -> FloatArray:
        """The same once one candidate is read [ΔE00], ``(n_candidates,)``."""
        taken = self._taken(slice(None))
        return np.asarray(np.sqrt(np.maximum(self._variance - taken, 0.0)).mean(axis=1))

    def read(self, which: int) -> None:
        """From here on the panel of this candidate counts as read."""
        taken = self._taken(slice(which, which + 1))[0]
        root = np.linalg.cholesky(self._within[which])
        jacobian = self._jacobians[which]
        jacobian = jacobian - (jacobian @ self._used.T) @ self._used
        row = np.linalg.solve(root, jacobian)
        n_candidates, n_read, _ = self._shape
        gone = (self._flat @ row.T).reshape(n_candidates, n_read, -1)
        self._across = self._across - gone @ np.linalg.solve(root, self._across[which])
        self._within = self._within - gone @ gone.swapaxes(1, 2)
        self._variance = self._variance - taken
        self._used = np.concatenate([self._used, row])

    def _taken(self, which: slice) -> FloatArray:
        """What candidates take off the targets' variances, ``(n, n_targets)``."""
        roots = np.linalg.inv(np.linalg.cholesky(self._within[which]))
        taken = ((roots @ self._across[which]) ** 2).sum(axis=1)
        return np.asarray(taken.reshape(len(taken), -1, 3).sum(axis=2))


def _wanted(
    curves: Curves, targets: Sequence[Recipe], light: Light
) -> tuple[FloatArray, FloatArray]:
    """Jacobian of the targets' colours in the directions ``(n_targets, 3, n_directions)``.

    They are in ΔE00 and uncorrelated: their squares sum to the variance. Beside it stands what no
    panel lowers ``(n_targets,)``: lasting directions, and what the film model itself misses.
    """
    assert curves.uncertainty is not None
    jacobian, lasting_variance = [], []
    for film, off, _, _ in _in_blocks(curves, targets):
        metric = delta_e_2000_metric(lab_of(curves, film.reflectance, light))
        values, vectors = np.linalg.eigh(metric)
        root = vectors * np.sqrt(np.maximum(values, 0.0))[:, np.newaxis]
        slope = root.swapaxes(1, 2) @ lab_jacobian_of(curves, film.reflectance, light) @ off
        learnable = slope.shape[2] - curves.uncertainty.lasting
        jacobian.append(slope[..., :learnable])
        lasting = (slope[..., learnable:] ** 2).sum(axis=(1, 2))
        lasting_variance.append(lasting + curves.uncertainty.model_sd**2 * values.sum(axis=1))
    return np.concatenate(jacobian), np.concatenate(lasting_variance)


def _reading_jacobians(
    curves: Curves,
    candidates: Sequence[Recipe],
    settings: ShelfSettings,
    noise: Noise,
    lights: Sequence[Light],
) -> FloatArray:
    """Jacobian of the candidates' readings, ``(n_candidates, n_read, n_directions)``.

    They are in standard deviations and uncorrelated: of the instrument, and of the panel's own
    film build and gain and the lasting directions, which are integrated out.
    """
    assert curves.uncertainty is not None
    mixing, jacobians = settings.mixing, []
    for film, off, dose, recipes in _in_blocks(curves, candidates):
        by_log_film = film.d_tau * (dose @ curves.absorption)
        by_log_film += film.d_scattering * (dose @ curves.scattering)
        build = film_build_sd([float(recipe.coats) for recipe in recipes], mixing)
        hidden = np.stack([build[:, np.newaxis] * by_log_film, GAIN_SD * film.reflectance], axis=2)
        link = _read_as(curves, film.reflectance, noise, lights)
        if lights:
            # A gain is none of Lab's.
            hidden = hidden[..., :1]
        learnable = off.shape[2] - curves.uncertainty.lasting
        hidden = link @ np.concatenate([hidden, off[..., learnable:]], axis=2)
        spread = np.eye(link.shape[1]) + hidden @ hidden.swapaxes(1, 2)
        jacobians.append(np.linalg.solve(np.linalg.cholesky(spread), link @ off[..., :learnable]))
    return _in_fewer(np.concatenate(jacobians))


def _in_fewer(jacobians: FloatArray) -> FloatArray:
    """The same readings as fewer uncorrelated numbers, ``(n_candidates, n_told, n_directions)``.

    A spectrum is turned onto what it tells most of, its most telling number last.
    """
    _, vectors = np.linalg.eigh(jacobians @ jacobians.swapaxes(1, 2))
    return np.asarray(vectors[..., -_NUMBERS:].swapaxes(1, 2) @ jacobians)


def _read_as(
    curves: Curves, reflectance: FloatArray, noise: Noise, lights: Sequence[Light]
) -> FloatArray:
    """Jacobian of a reading in R(λ), in its noise's ``(n_recipes, n_read, n_wavelengths)``."""
    assert curves.uncertainty is not None
    if lights:
        # What the film model misses hides the curves as noise does.
        links = []
        for light in lights:
            xyz = reflectance @ weights(curves.wavelength_nm, light)
            sd = np.hypot(
                noise.of_lab(xyz, curves.wavelength_nm, light), curves.uncertainty.model_sd
            )
            links.append(lab_jacobian_of(curves, reflectance, light) / sd[..., np.newaxis])
        return np.concatenate(links, axis=1)
    waves = curves.wavelength_nm.size
    band = np.arange(waves) * min(_BANDS, waves) // waves
    averaged = (band == np.arange(band[-1] + 1)[:, np.newaxis]).astype(np.float64)
    averaged /= np.sqrt(averaged.sum(axis=1, keepdims=True))
    sd = noise.of_reflectance(reflectance)
    return np.asarray(averaged / sd[:, np.newaxis])


def _in_blocks(
    curves: Curves, recipes: Sequence[Recipe]
) -> Iterator[tuple[FilmDerivatives, FloatArray, FloatArray, Sequence[Recipe]]]:
    """Some recipes at a time.

    Their films, deviations ``(n, n_wavelengths, n_directions)``, doses ``(n, n_toners)``, and they
    themselves.
    """
    for start in range(0, len(recipes), _BLOCK):
        some = recipes[start : start + _BLOCK]
        doses, ground = recipe_doses(curves, some)
        film = reflectance_derivatives(curves, doses, ground)
        off = reflectance_deviations(curves, film, doses, ground, departures_of(curves, some))
        assert off is not None
        yield film, off.swapaxes(1, 2), doses, some


def _draw(
    curves: Curves, settings: ShelfSettings, rng: np.random.Generator, count: int
) -> list[Recipe]:
    """Random recipes that the shop can spray of what was learnt and is in stock."""
    mixing = settings.mixing
    toners = [name for name in curves.toners if settings.toners[name].in_stock]
    recipes: list[Recipe] = []
    while toners and len(recipes) < count:
        several = min(int(rng.integers(1, _MOST_TONERS + 1)), len(toners))
        blend = rng.choice(len(toners), size=several, replace=False)
        parts = rng.integers(1, mixing.max_part + 1, size=several)
        parts //= np.gcd.reduce(parts)
        recipes.append(
            Recipe(
                {toners[i]: int(part) for i, part in zip(blend, parts, strict=True)},
                mixing.medium_parts[int(rng.integers(len(mixing.medium_parts)))],
                int(rng.integers(mixing.coats[0], mixing.coats[1] + 1)),
                curves.grounds[int(rng.integers(len(curves.grounds)))],
            )
        )
    return recipes
