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
    mean over both most. Over a ground that was only read bare a panel may be a strip, read at each
    coat: it is asked for where that lowers the mean by clearly more.

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
from fewtone.model.variation import film_build_covariance, film_build_sd
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

__all__ = ["OnlyBare", "Suggestion", "second_light", "suggest"]

_SEED = 5
_TARGETS, _CANDIDATES = 240, 800
_MOST_TONERS = 3
# Recipes looked at together: their deviations fill some tens of megabytes on a large shelf.
_BLOCK = 32
# Neighbouring wavelengths of a spectrum tell much the same: it is read in this many bands.
_BANDS = 10
# Turned onto what they tell most of, no more of them than this tell anything worth reading.
_NUMBERS = 6
# A strip is masked and read step by step: it is worth that where it leaves so many times as much as
# a panel does. So many of the best panels over grounds that were only read bare are looked at as
# strips.
_STRIP_LEAVES, _AS_STRIPS = 0.95, 4


@dataclass(frozen=True, slots=True)
class OnlyBare:
    """What a panel is worth over a ground of which no film was read.

    Parameters
    ----------
    ground
        Its name.
    before, after
        How far off blends over it are expected to be without and with the panel [ΔE00].
    others
        The same of blends over all grounds that films were read over, without it; None where there
        are none.
    """

    ground: str
    before: float
    after: float
    others: float | None

    def __str__(self) -> str:
        """Say why it is asked for and what it gains."""
        beside = ""
        if self.others is not None:
            beside = f" ({self.others:.2f} over grounds that you sprayed)"
        return (
            f"No film over {self.ground} was read, and bare it does not tell how its flake sends "
            f"light back through one: blends over it are expected to be off by {self.before:.2f}"
            f"{beside}, and with this panel by {self.after:.2f}."
        )


@dataclass(frozen=True, slots=True)
class Suggestion:
    """A panel worth spraying, once those suggested before it are read.

    Parameters
    ----------
    recipe
        What to spray.
    before, after
        How far off this shelf's blends are expected to be without and with it [ΔE00].
    coats
        At which it is read: its own, or each up to them where a strip tells clearly more.
    only_bare
        Why it is asked for; None over a ground that films were read over.
    """

    recipe: Recipe
    before: float
    after: float
    coats: tuple[int, ...]
    only_bare: OnlyBare | None = None

    @property
    def is_strip(self) -> bool:
        """Whether it is read at several coats."""
        return len(self.coats) > 1


def suggest(
    curves: Curves,
    settings: ShelfSettings,
    noise: Noise,
    lights: Sequence[Light],
    *,
    feared: int = 0,
    only_bare: Sequence[str] = (),
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
    only_bare
        Grounds of flake that no film was read over.
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
    reads = _Reads(curves, settings, noise, tuple(lights))
    jacobians = reads.panels(candidates)
    outcomes = [_Expected(jacobians, wanted, lasting_variance)]
    if feared:
        kept = np.s_[..., : wanted.shape[-1] - feared]
        outcomes.append(_Expected(jacobians[kept], wanted[kept], lasting_variance))
    over = np.array([target.ground for target in targets])
    bare = set(only_bare)
    others = ~np.isin(over, only_bare)
    free = np.ones(len(candidates), dtype=np.bool_)
    suggestions: list[Suggestion] = []
    while len(suggestions) < count and free.any():
        left = np.where(free, sum(each.after_each() for each in outcomes), np.inf)
        best = int(left.argmin())
        recipe, told = candidates[best], jacobians[best]
        coats: tuple[int, ...] = (int(recipe.coats),)
        least = _STRIP_LEAVES * left[best]
        over_bare = [place for place in np.flatnonzero(free) if candidates[place].ground in bare]
        for place in sorted(over_bare, key=lambda place: left[place])[:_AS_STRIPS]:
            strip = reads.strip(candidates[place])
            leaves = sum(each.after(strip) for each in outcomes)
            if leaves < least:
                least, recipe, told = leaves, candidates[place], strip
                coats = tuple(range(1, int(recipe.coats) + 1))
        free[[recipe == other for other in candidates]] = False
        before, off = outcomes[0].now, outcomes[0].off
        for each in outcomes:
            each.read(told)
        reason = None
        here = over == recipe.ground
        if recipe.ground in bare and here.any():
            bare.remove(recipe.ground)
            reason = OnlyBare(
                recipe.ground,
                float(off[here].mean()),
                float(outcomes[0].off[here].mean()),
                float(off[others].mean()) if others.any() else None,
            )
        suggestions.append(Suggestion(recipe, before, outcomes[0].now, coats, reason))
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
        self._flat = jacobians.reshape(n_candidates * n_read, -1)
        self._within = np.eye(n_read) + jacobians @ jacobians.swapaxes(1, 2)
        self._wanted = wanted.reshape(-1, wanted.shape[-1])
        self._across = (self._flat @ self._wanted.T).reshape(n_candidates, n_read, -1)
        self._variance = (wanted**2).sum(axis=(1, 2)) + lasting_variance
        # P is the unit matrix less usedᵀ used; what candidates do not know of yet is gone.
        self._used = np.zeros((0, self._flat.shape[1]))
        self._gone: list[tuple[FloatArray, FloatArray]] = []

    @property
    def off(self) -> FloatArray:
        """Of each target [ΔE00], ``(n_targets,)``."""
        return np.asarray(np.sqrt(np.maximum(self._variance, 0.0)))

    @property
    def now(self) -> float:
        """Mean over the targets [ΔE00]."""
        return float(self.off.mean())

    def after_each(self) -> FloatArray:
        """The same once one candidate is read [ΔE00], ``(n_candidates,)``."""
        n_candidates, n_read, _ = self._shape
        while self._gone:
            row, across = self._gone.pop()
            gone = (self._flat @ row.T).reshape(n_candidates, n_read, -1)
            self._across = self._across - gone @ across
            self._within = self._within - gone @ gone.swapaxes(1, 2)
        taken = self._taken(self._within, self._across)
        return np.asarray(np.sqrt(np.maximum(self._variance - taken, 0.0)).mean(axis=1))

    def after(self, jacobian: FloatArray) -> float:
        """The same once a panel of this Jacobian is read [ΔE00]."""
        _, within, across = self._seen(jacobian)
        taken = self._taken(within[np.newaxis], across[np.newaxis])[0]
        return float(np.sqrt(np.maximum(self._variance - taken, 0.0)).mean())

    def read(self, jacobian: FloatArray) -> None:
        """From here on a panel of this Jacobian counts as read."""
        left, within, across = self._seen(jacobian)
        root = np.linalg.cholesky(within)
        row = np.linalg.solve(root, left)
        self._gone.append((row, np.linalg.solve(root, across)))
        self._variance = self._variance - self._taken(within[np.newaxis], across[np.newaxis])[0]
        self._used = np.concatenate([self._used, row])

    def _seen(self, jacobian: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Of a panel: HᵀP, 1 + HᵀPH and HᵀPG; columns of directions without those left out."""
        jacobian = jacobian[:, : self._flat.shape[1]]
        left = jacobian - (jacobian @ self._used.T) @ self._used
        return left, np.eye(len(left)) + left @ jacobian.T, left @ self._wanted.T

    def _taken(self, within: FloatArray, across: FloatArray) -> FloatArray:
        """What panels take off the targets' variances, ``(n, n_targets)``."""
        roots = np.linalg.inv(np.linalg.cholesky(within))
        taken = ((roots @ across) ** 2).sum(axis=1)
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


@dataclass(frozen=True, slots=True)
class _Reads:
    """What a shop reads of panels, as Jacobians in the directions.

    They are in standard deviations and uncorrelated: of the instrument, and of the panel's own
    film build and gain and the lasting directions, which are integrated out.
    """

    curves: Curves
    settings: ShelfSettings
    noise: Noise
    lights: tuple[Light, ...]

    def panels(self, recipes: Sequence[Recipe]) -> FloatArray:
        """Of panels of their own, ``(n_recipes, n_read, n_directions)``."""
        jacobians = []
        for told, by_build, others, some in self._films(recipes):
            coats = np.array([float(recipe.coats) for recipe in some])
            build = film_build_sd(coats, self.settings.mixing)[:, np.newaxis]
            hidden = np.concatenate([(build * by_build)[..., np.newaxis], others], axis=2)
            jacobians.append(_whitened(told, hidden))
        return _in_fewer(np.concatenate(jacobians))

    def strip(self, recipe: Recipe) -> FloatArray:
        """Of one panel, read at each coat up to the recipe's, ``(n_read, n_directions)``."""
        coats = np.arange(1, int(recipe.coats) + 1)
        ((told, by_build, others, _),) = self._films([recipe.with_(coats=int(c)) for c in coats])
        build = film_build_covariance(coats.astype(np.float64), self.settings.mixing)
        builds = by_build[..., np.newaxis] * np.linalg.cholesky(build)[:, np.newaxis]
        hidden = np.concatenate([builds, others], axis=2)
        flat = (each.reshape(1, -1, each.shape[2]) for each in (told, hidden))
        return np.asarray(_in_fewer(_whitened(*flat), 2 * _NUMBERS)[0])

    def _films(
        self, recipes: Sequence[Recipe]
    ) -> Iterator[tuple[FloatArray, FloatArray, FloatArray, Sequence[Recipe]]]:
        """Readings in the instrument's noise, some recipes at a time.

        How they move in the directions ``(n, n_read, n_directions)``, with the film build
        ``(n, n_read)`` and with what else one panel has to itself ``(n, n_read, n_hidden)``.
        """
        curves = self.curves
        assert curves.uncertainty is not None
        for film, off, dose, some in _in_blocks(curves, recipes):
            by_log_film = film.d_tau * (dose @ curves.absorption)
            by_log_film += film.d_scattering * (dose @ curves.scattering)
            link = _read_as(curves, film.reflectance, self.noise, self.lights)
            learnable = off.shape[2] - curves.uncertainty.lasting
            hidden = [off[..., learnable:]]
            if not self.lights:
                # A gain is none of Lab's.
                hidden.append(GAIN_SD * film.reflectance[..., np.newaxis])
            by_build = (link @ by_log_film[..., np.newaxis])[..., 0]
            yield link @ off[..., :learnable], by_build, link @ np.concatenate(hidden, axis=2), some


def _whitened(told: FloatArray, hidden: FloatArray) -> FloatArray:
    """Readings with what is hidden integrated out, shaped like `told`."""
    spread = np.eye(told.shape[1]) + hidden @ hidden.swapaxes(1, 2)
    return np.asarray(np.linalg.solve(np.linalg.cholesky(spread), told))


def _in_fewer(jacobians: FloatArray, count: int = _NUMBERS) -> FloatArray:
    """The same readings as fewer uncorrelated numbers, ``(n_candidates, n_told, n_directions)``.

    A spectrum is turned onto what it tells most of, its most telling number last.
    """
    _, vectors = np.linalg.eigh(jacobians @ jacobians.swapaxes(1, 2))
    return np.asarray(vectors[..., -count:].swapaxes(1, 2) @ jacobians)


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
