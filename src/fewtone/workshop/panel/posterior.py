"""What a panel's reading says about the mix, the gun and the hand.

Model
    The dose of toner i on a panel of n coats is

        log dose = log(n · share) + gun + hand + strengthᵢ + pourᵢ - Σⱼ volumeⱼ · pourⱼ

    gun        how much heavier the gun lays from now on: it stays
    hand       how heavy this one panel came out: it goes; panel_cv for the panel and coat_cv for
               each of its coats, later steps of a strip containing the earlier ones
    strength   how much stronger a bottle is than the one that was learnt: it stays
    pour       how far each component of this mix is off: it stays in this mix
    offset     what the curves are off by in Lab here: it stays

    What was read is the film's Lab plus the offset plus the instrument's noise. Everything is
    small, so that a Gaussian for each unknown and a few Gauss-Newton steps give the most
    probable explanation (maximum a posteriori) and its covariance.

Weighing
    Gun and bottles are mostly as they were, and now and then clearly off. Each *hypothesis* says
    which of them are off; its weight is its prior times the evidence of the readings for it
    (Laplace's approximation). The posterior is the mixture of them all, so that a panel that a
    heavy hand explains well is not blamed on a bottle.

Validity
    Misses of some tens of percent in dose. What no hypothesis explains shows as a reduced_residual.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from fewtone.colorimetry import Light
from fewtone.model.curves import Curves
from fewtone.model.recipe import Recipe
from fewtone.model.shelf import ShelfSettings
from fewtone.model.variation import film_build_covariance, pour_shares, repeat_variance
from fewtone.prediction.forward import lab_of_doses, recipe_dose
from fewtone.typing import FloatArray, frozen
from fewtone.workshop.pour.mix import MEDIUM, shares

__all__ = ["Cause", "Depth", "Posterior", "infer_posterior"]

# Priors, common practice, no source: film build by hand varies 10 to 20 %, bottles of tint differ
# by some 10 to 15 %. What is not off still differs a little.
GUN_OFF_SD, BOTTLE_OFF_SD = 0.10, 0.14
STEADY_SD = 0.02
GUN_OFF_CHANCE, BOTTLE_OFF_CHANCE = 0.4, 0.2
# At most this many bottles are taken to be off at once.
MOST_BOTTLES_OFF = 3
# Where learning does not say how sure the curves are [CIELAB units per coordinate].
CURVES_SD = 0.15
# Draws from the posterior: enough that an expected ΔE00 is known to about 0.02.
DRAWS = 96
_STEPS = 8


@dataclass(frozen=True, slots=True)
class Depth:
    """Readings of one step of one panel, averaged.

    Parameters
    ----------
    coats
        How many coats it has.
    lab
        Mean CIELAB.
    count
        How many readings.
    spread
        Standard deviation of the readings per coordinate; None for one reading.
    """

    coats: float
    lab: tuple[float, float, float]
    count: int
    spread: tuple[float, float, float] | None = None


@dataclass(frozen=True, slots=True)
class Cause:
    """One thing that may be off.

    Parameters
    ----------
    name
        ``gun``, ``panel`` (this panel's film alone) or a toner's name.
    chance
        How likely it is off; None for the panel, whose film always varies.
    change
        By how much it then is, relative: 0.1 is 10 % heavier or stronger.
    """

    name: str
    chance: float | None
    change: float


@dataclass(frozen=True, slots=True, eq=False)
class Posterior:
    """What is believed of gun, bottles, mix and curves after the readings.

    Parameters
    ----------
    toners
        The mix's toners, in the order of the columns below.
    gun
        Draws of the gun's factor less 1 in logarithm, shape ``(n_draws,)``.
    bottles
        Draws of each bottle's strength, in logarithm, shape ``(n_draws, n_toners)``.
    mix
        Draws of each toner's dose in the mix next to the recipe's, without gun and hand, in
        logarithm, shape ``(n_draws, n_toners)``.
    offset
        Draws of what the curves are off by, shape ``(n_draws, 3)``.
    causes
        Gun, panel and bottles, with how likely each is off and by how much.
    nothing_wrong
        How likely it is that neither the gun nor a bottle is off.
    reduced_residual
        How unlikely the readings are under the hypothesis that explains them best, as standard
        deviations per coordinate (root mean square): much above 1 means that something else is
        wrong.
    """

    toners: tuple[str, ...]
    gun: FloatArray
    bottles: FloatArray
    mix: FloatArray
    offset: FloatArray
    causes: tuple[Cause, ...]
    nothing_wrong: float
    reduced_residual: float


def infer_posterior(
    curves: Curves,
    settings: ShelfSettings,
    recipe: Recipe,
    depths: Sequence[Depth],
    light: Light,
    *,
    curves_sd: FloatArray | None = None,
) -> Posterior:
    """Weigh what explains the readings of one panel.

    Parameters
    ----------
    curves, settings
        The learnt shelf.
    recipe
        What was mixed and sprayed.
    depths
        The readings, one entry for each number of coats that was read.
    light
        Their illuminant and observer.
    curves_sd
        Standard deviation of the predicted Lab by curves and ground, shape ``(3,)``, if learning
        says; a usual one if None.
    """
    setup = _Setup.of(curves, settings, recipe, depths, light, curves_sd)
    hypotheses = [setup.explain(off) for off in setup.hypotheses()]
    evidence = np.array([hypothesis.log_weight for hypothesis in hypotheses])
    weights = np.exp(evidence - evidence.max())
    weights /= weights.sum()
    names = tuple(recipe.blend)
    draws = setup.draw(hypotheses, weights)
    return Posterior(
        toners=names,
        gun=frozen(draws[:, setup.gun]),
        bottles=frozen(draws[:, setup.bottles]),
        mix=frozen(draws @ setup.mix_of.T),
        offset=frozen(draws[:, setup.offset]),
        causes=tuple(setup.causes(hypotheses, weights)),
        nothing_wrong=float(sum(w for h, w in zip(hypotheses, weights, strict=True) if not h.off)),
        reduced_residual=min(hypothesis.reduced_residual for hypothesis in hypotheses),
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Explanation:
    """One hypothesis: what is off, its log weight, the posterior mean and covariance."""

    off: frozenset[int]
    log_weight: float
    mean: FloatArray
    covariance: FloatArray
    reduced_residual: float


@dataclass(frozen=True, slots=True, eq=False)
class _Setup:
    """The parameters as one vector: gun, hand of each depth, bottles, pours, medium's pour, offset.

    ``log dose = log(nominal) + log_dose_of @ parameters`` at every depth, and ``mix_of`` is the
    part of it that stays in the mix.
    """

    curves: Curves
    ground: str
    light: Light
    names: tuple[str, ...]
    columns: list[int]
    nominal: FloatArray  # (n_depths, n_mix_toners)
    observed: FloatArray  # (3 n_depths,)
    noise: FloatArray  # (3 n_depths,) variances
    log_dose_of: FloatArray  # (n_depths, n_mix_toners, n_parameters)
    mix_of: FloatArray  # (n_mix_toners, n_parameters)
    steady: FloatArray  # (n_parameters, n_parameters): covariance if nothing is off

    @classmethod
    def of(
        cls,
        curves: Curves,
        settings: ShelfSettings,
        recipe: Recipe,
        depths: Sequence[Depth],
        light: Light,
        curves_sd: FloatArray | None,
    ) -> _Setup:
        names, k = tuple(recipe.blend), len(depths)
        n = len(names)
        size = 1 + k + 2 * n + 1 + 3
        columns = [curves.toners.index(name) for name in names]
        one_coat = recipe_dose(curves, recipe.with_(coats=1))[columns]
        coats = np.array([depth.coats for depth in depths])
        parts = shares(recipe, settings)
        volume = np.array([float(parts.get(name, 0)) for name in (*names, MEDIUM)])
        mix_of = np.zeros((n, size))
        mix_of[:, 1 + k : 1 + k + n] = np.eye(n)
        mix_of[:, 1 + k + n : 2 + k + 2 * n] = pour_shares(volume)
        log_dose_of = np.repeat(mix_of[np.newaxis], k, axis=0)
        log_dose_of[:, :, 0] = 1.0
        log_dose_of[np.arange(k), :, 1 + np.arange(k)] = 1.0
        mixing, measurement = settings.mixing, settings.measurement
        steady = np.zeros((size, size))
        steady[1 : 1 + k, 1 : 1 + k] = film_build_covariance(coats, mixing)
        spread = np.full(size, STEADY_SD)
        spread[1 + k + n : 2 + k + 2 * n] = mixing.pour_cv
        spread[-3:] = CURVES_SD if curves_sd is None else curves_sd
        plain = np.r_[0, 1 + k : size]
        steady[plain, plain] = spread[plain] ** 2
        # A floor for a shelf that claims a perfect hand or instrument.
        steady += 1e-8 * np.eye(size)
        repeat = repeat_variance(measurement)
        return cls(
            curves=curves,
            ground=recipe.ground,
            light=light,
            names=names,
            columns=columns,
            nominal=np.multiply.outer(coats, one_coat),
            observed=np.concatenate([depth.lab for depth in depths]),
            noise=np.repeat([repeat / depth.count for depth in depths], 3),
            log_dose_of=log_dose_of,
            mix_of=mix_of,
            steady=steady,
        )

    @property
    def gun(self) -> int:
        return 0

    @property
    def bottles(self) -> slice:
        start = 1 + len(self.nominal)
        return slice(start, start + len(self.names))

    @property
    def offset(self) -> slice:
        return slice(-3, None)

    def hypotheses(self) -> list[frozenset[int]]:
        """Sets of parameters that are off: the gun, and up to some bottles."""
        bottles = range(self.bottles.start, self.bottles.stop)
        return [
            frozenset((*gun, *some))
            for gun in ((), (self.gun,))
            for count in range(min(MOST_BOTTLES_OFF, len(bottles)) + 1)
            for some in combinations(bottles, count)
        ]

    def predicted(self, parameters: FloatArray) -> FloatArray:
        """Lab of the readings, shape ``(..., 3 n_depths)``, for ``(..., n_parameters)``."""
        change = np.einsum("dtu,...u->...dt", self.log_dose_of, parameters)
        doses = np.zeros((*change.shape[:-1], len(self.curves.toners)))
        doses[..., self.columns] = self.nominal * np.exp(np.clip(change, -3.0, 3.0))
        lab = lab_of_doses(self.curves, doses, self.ground, self.light)
        lab = lab + parameters[..., np.newaxis, -3:]
        return np.asarray(lab.reshape(*lab.shape[:-2], -1))

    def explain(self, off: frozenset[int]) -> _Explanation:
        """The most probable parameters if these are off, by Gauss-Newton steps."""
        prior = self.steady.copy()
        log_prior = 0.0
        for place in (self.gun, *range(self.bottles.start, self.bottles.stop)):
            sd, chance = (
                (GUN_OFF_SD, GUN_OFF_CHANCE)
                if place == self.gun
                else (BOTTLE_OFF_SD, BOTTLE_OFF_CHANCE)
            )
            log_prior += np.log(chance if place in off else 1.0 - chance)
            if place in off:
                prior[place, place] = sd**2
        size = len(prior)
        mean = np.zeros(size)
        probe = 1e-4
        for _ in range(_STEPS):
            points = np.vstack([mean, mean + probe * np.eye(size)])
            values = self.predicted(points)
            slopes = ((values[1:] - values[0]) / probe).T
            rest = self.observed - values[0] + slopes @ mean
            spread = slopes @ prior @ slopes.T + np.diag(self.noise)
            gain = np.linalg.solve(spread, slopes @ prior).T
            mean = gain @ rest
        _, log_size = np.linalg.slogdet(spread)
        distance = float(rest @ np.linalg.solve(spread, rest))
        return _Explanation(
            off=off,
            log_weight=float(log_prior) - 0.5 * (distance + float(log_size)),
            mean=mean,
            covariance=prior - gain @ slopes @ prior,
            reduced_residual=float(np.sqrt(distance / len(rest))),
        )

    def draw(self, hypotheses: Sequence[_Explanation], weights: FloatArray) -> FloatArray:
        """Draws from the mixture, always the same ones, shape ``(n_draws, n_parameters)``."""
        rng = np.random.default_rng(0)
        # Even strata of the weights, so that each hypothesis gets its share of the draws.
        strata = (np.arange(DRAWS) + 0.5) / DRAWS
        chosen = np.minimum(np.searchsorted(np.cumsum(weights), strata), len(weights) - 1)
        normal = rng.standard_normal((DRAWS, len(hypotheses[0].mean)))
        draws = np.empty_like(normal)
        for which in np.unique(chosen):
            rows = chosen == which
            values, vectors = np.linalg.eigh(hypotheses[which].covariance)
            root = vectors * np.sqrt(np.maximum(values, 0.0))
            draws[rows] = hypotheses[which].mean + normal[rows] @ root.T
        return draws

    def causes(self, hypotheses: Sequence[_Explanation], weights: FloatArray) -> list[Cause]:
        """Gun, panel and bottles: how likely each is off, and by how much it is on average."""
        hand = slice(1, self.bottles.start)
        mean_hand = sum(
            w * float(np.mean(h.mean[hand])) for h, w in zip(hypotheses, weights, strict=True)
        )
        found = []
        for name, place in (
            ("gun", self.gun),
            *zip(self.names, range(self.bottles.start, self.bottles.stop), strict=True),
        ):
            with_it = [(h, w) for h, w in zip(hypotheses, weights, strict=True) if place in h.off]
            chance = float(sum(w for _, w in with_it))
            change = sum(w * float(h.mean[place]) for h, w in with_it) / max(chance, 1e-12)
            found.append(Cause(name, chance, float(np.expm1(change))))
        return [found[0], Cause("panel", None, float(np.expm1(mean_hand))), *found[1:]]
