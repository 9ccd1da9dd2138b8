"""What the readings of a job say about the mix, the gun, the hand and the bottles.

Model
    That of `fewtone.workshop.panel.panel_model`; the dose of toner i on a panel of n coats is

        log dose = log(n · share) + gun + hand + strengthᵢ + pourᵢ - Σⱼ volumeⱼ · pourⱼ

    gun        how much heavier the gun lays than when the shelf was learnt: it stays
    hand       how heavy one panel came out: it goes; panel_cv for the panel and coat_cv for each of
               its coats, later steps of a strip containing the earlier ones
    strength   how much stronger a bottle is than the one that was learnt: it stays
    pour       how far each component is off in a cup: it stays in that cup
    z          what curves, grounds and film model are off by as far as learning knows: it stays
    shift      what they are off by in Lab beyond that: it stays

Whole jobs
    All panels of a job share gun, bottles and z. Panels are of one cup as long as no toner leaves
    the recipe: what was added to a cup leaves its pours about as they were.

Hypotheses
    Gun and bottles are mostly as they were and the curves as sure as learning says, and now and
    then clearly not. Each hypothesis says which of them are off; its weight is its prior times the
    evidence of the readings for it (Laplace's approximation). The posterior is the mixture of them
    all, so that a panel that a heavy hand explains well is not blamed on a bottle.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations, pairwise

import numpy as np

from fewtone.colorimetry import Light
from fewtone.model.curves import Curves
from fewtone.model.recipe import Recipe
from fewtone.model.shelf import ShelfSettings
from fewtone.model.variation import film_build_covariance, pour_shares, repeat_variance
from fewtone.prediction.forward import recipe_doses
from fewtone.typing import FloatArray
from fewtone.workshop.panel.panel_model import Explanation, PanelModel
from fewtone.workshop.pour.mix import MEDIUM, shares

__all__ = [
    "BOTTLE_OFF_CHANCE",
    "BOTTLE_OFF_SD",
    "STEADY_SD",
    "Cause",
    "Depth",
    "Hypothesis",
    "Posterior",
    "SprayedPanel",
    "infer_posterior",
]

# Priors, common practice, no source: film build by hand varies 10 to 20 %, bottles of tint differ
# by some 10 to 15 %. What is not off still differs a little.
GUN_OFF_SD, BOTTLE_OFF_SD = 0.10, 0.14
STEADY_SD = 0.02
GUN_OFF_CHANCE, BOTTLE_OFF_CHANCE = 0.1, 0.05
# Curves further off than learning says [CIELAB units per coordinate], such as over a ground that no
# coat was read over. Calibrated in the simulated booth, as are the chances.
CURVES_OFF_SD, CURVES_OFF_CHANCE = 0.8, 0.2
# At most this many bottles are taken to be off at once.
MOST_BOTTLES_OFF = 3
# Hypotheses of less weight are dropped from the posterior.
_LEAST_WEIGHT = 0.01


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
class SprayedPanel:
    """One panel of a job.

    Parameters
    ----------
    recipe
        What it was sprayed with.
    depths
        What it reads at each number of coats.
    """

    recipe: Recipe
    depths: tuple[Depth, ...]


@dataclass(frozen=True, slots=True)
class Cause:
    """One thing that may be off.

    Parameters
    ----------
    name
        ``gun``, ``panel`` (the last panel's film alone) or a toner's name.
    chance
        How likely it is off; None for the panel, whose film always varies.
    change
        By how much it then is, relative: 0.1 is 10 % heavier or stronger.
    """

    name: str
    chance: float | None
    change: float


@dataclass(frozen=True, slots=True, eq=False)
class Hypothesis:
    """What is off, its posterior weight [1], and the rest given that.

    Parameters
    ----------
    off
        ``gun`` and toners' names.
    curves_off
        Whether the curves are further off than learning says.
    weight
        Posterior weight [1].
    explanation
        All else, given that.
    """

    off: frozenset[str]
    curves_off: bool
    weight: float
    explanation: Explanation


@dataclass(frozen=True, slots=True, eq=False)
class Posterior:
    """What is believed of gun, bottles, mix and curves after the readings of a job.

    Parameters
    ----------
    recipe
        The last panel's, of whose cup `in_mix` speaks.
    toners
        All toners of the job's panels; `strength` has their order.
    hypotheses
        Those that matter; their weights sum to 1.
    gun
        Which parameter the gun is.
    strength
        Which parameter each toner's bottle is, shape ``(n_toners,)``.
    in_mix
        ∂ log dose/∂ parameter of each learnt toner on a fresh panel of the last cup, without gun
        and hand, shape ``(n_learnt, n_parameters)``.
    shift
        ∂Lab/∂ parameter beside what the doses do, shape ``(3, n_parameters)``.
    causes
        Gun, panel and bottles, with how likely each is off and by how much.
    nothing_wrong
        How likely it is that neither the gun nor a bottle is off.
    reduced_residual
        How unlikely the readings are under the hypothesis that explains them best, as standard
        deviations per coordinate (root mean square): much above 1 means that something else is
        wrong.
    """

    recipe: Recipe
    toners: tuple[str, ...]
    hypotheses: tuple[Hypothesis, ...]
    gun: int
    strength: tuple[int, ...]
    in_mix: FloatArray
    shift: FloatArray
    causes: tuple[Cause, ...]
    nothing_wrong: float
    reduced_residual: float


def infer_posterior(
    curves: Curves, settings: ShelfSettings, panels: Sequence[SprayedPanel], light: Light
) -> Posterior:
    """Weigh what explains the readings of the panels of one job.

    Parameters
    ----------
    curves, settings
        The learnt shelf.
    panels
        In the order in which they were sprayed; the last is of the mix that is asked about.
    light
        The readings' illuminant and observer.

    Raises
    ------
    FewtoneError
        A recipe names a toner or ground that was not learnt.
    """
    layout = _JobParameters.of(curves, settings, panels, light)
    weighted: list[tuple[frozenset[str], bool, float, Explanation]] = []
    mean = np.zeros(len(layout.steady))
    for off in layout.hypotheses():
        for curves_off in (False, True):
            covariance, log_prior = layout.prior(off, curves_off=curves_off)
            explanation = layout.model.explain(mean, covariance)
            weighted.append((off, curves_off, log_prior + explanation.log_evidence, explanation))
    evidence = np.array([log_weight for *_, log_weight, _ in weighted])
    weights = np.exp(evidence - evidence.max())
    weights /= weights.sum()
    every = [
        Hypothesis(off, curves_off, weight, explanation)
        for (off, curves_off, _, explanation), weight in zip(weighted, weights, strict=True)
    ]
    kept = [one for one in every if one.weight >= _LEAST_WEIGHT]
    total = sum(one.weight for one in kept)
    return Posterior(
        recipe=panels[-1].recipe,
        toners=layout.names,
        hypotheses=tuple(replace(one, weight=one.weight / total) for one in kept),
        gun=_GUN,
        strength=layout.strength,
        in_mix=layout.in_mix,
        shift=layout.model.shift,
        causes=tuple(layout.causes(every)),
        nothing_wrong=float(sum(one.weight for one in every if not one.off)),
        reduced_residual=float(
            np.sqrt(min(one.explanation.cost for one in every) / layout.model.observed.size)
        ),
    )


_GUN, _SHIFT = 0, slice(-3, None)


@dataclass(frozen=True, slots=True, eq=False)
class _JobParameters:
    """The parameters in one vector: gun, bottles, hand of each reading, pours of cups, shift."""

    model: PanelModel
    names: tuple[str, ...]
    strength: tuple[int, ...]
    last_hands: slice
    in_mix: FloatArray
    steady: FloatArray  # (n_parameters, n_parameters): prior covariance if nothing is off

    @classmethod
    def of(
        cls, curves: Curves, settings: ShelfSettings, panels: Sequence[SprayedPanel], light: Light
    ) -> _JobParameters:
        rows = [(which, depth) for which, panel in enumerate(panels) for depth in panel.depths]
        sprayed = [panels[which].recipe.with_(coats=1) for which, _ in rows]
        one_coat, ground = recipe_doses(curves, sprayed)
        coats = np.array([depth.coats for _, depth in rows])
        of_panel = np.array([which for which, _ in rows])
        names = tuple(dict.fromkeys(name for panel in panels for name in panel.recipe.blend))
        columns = [curves.toners.index(name) for name in names]
        cups = _cups(panels)
        n, k, pours = len(names), len(rows), len(names) + 1
        size = 1 + n + k + pours * (cups[-1] + 1) + 3
        in_mixes = np.zeros((len(panels), len(curves.toners), size))
        for which, panel in enumerate(panels):
            parts = shares(panel.recipe, settings)
            volume = np.array([float(parts.get(name, 0)) for name in (*names, MEDIUM)])
            in_mixes[which, columns, 1 + np.arange(n)] = 1.0
            start = 1 + n + k + pours * cups[which]
            in_mixes[which, columns, start : start + pours] = pour_shares(volume)
        log_dose = in_mixes[of_panel]
        log_dose[:, :, _GUN] = 1.0
        log_dose[np.arange(k), :, 1 + n + np.arange(k)] = 1.0
        mixing = settings.mixing
        spread = np.full(size, mixing.pour_cv)
        spread[: 1 + n] = STEADY_SD
        spread[_SHIFT] = 0.0
        steady = np.diag(spread**2)
        hands = slice(1 + n, 1 + n + k)
        together = np.equal.outer(of_panel, of_panel)
        steady[hands, hands] = film_build_covariance(coats, mixing) * together
        repeat = repeat_variance(settings.measurement)
        model = PanelModel.of(
            curves,
            light,
            ground,
            nominal=one_coat * curves.films(coats)[:, np.newaxis],
            log_dose=log_dose,
            observed=np.array([depth.lab for _, depth in rows]),
            noise=np.array([repeat / depth.count for _, depth in rows]),
            shift=np.eye(3, size, size - 3),
        )
        return cls(
            model=model,
            names=names,
            strength=tuple(range(1, 1 + n)),
            last_hands=slice(hands.stop - len(panels[-1].depths), hands.stop),
            in_mix=in_mixes[-1],
            steady=steady,
        )

    def hypotheses(self) -> list[frozenset[str]]:
        """What may be off at once: the gun, and up to some bottles."""
        return [
            frozenset((*gun, *some))
            for gun in ((), ("gun",))
            for count in range(min(MOST_BOTTLES_OFF, len(self.names)) + 1)
            for some in combinations(self.names, count)
        ]

    def prior(self, off: frozenset[str], *, curves_off: bool) -> tuple[FloatArray, float]:
        """Covariance of the parameters if these are off, and the log chance that they are."""
        covariance = self.steady.copy()
        log_chance = float(np.log(CURVES_OFF_CHANCE if curves_off else 1.0 - CURVES_OFF_CHANCE))
        if curves_off:
            covariance[_SHIFT, _SHIFT] = CURVES_OFF_SD**2 * np.eye(3)
        for name, rows, sd, chance in (
            ("gun", _GUN, GUN_OFF_SD, GUN_OFF_CHANCE),
            *(
                (name, rows, BOTTLE_OFF_SD, BOTTLE_OFF_CHANCE)
                for name, rows in zip(self.names, self.strength, strict=True)
            ),
        ):
            if name in off:
                covariance[rows, rows] = sd**2
            log_chance += float(np.log(chance if name in off else 1.0 - chance))
        return covariance, log_chance

    def causes(self, hypotheses: Sequence[Hypothesis]) -> list[Cause]:
        """Gun, panel and bottles: how likely each is off, and by how much it is on average."""
        hand = sum(
            one.weight * float(np.mean(one.explanation.parameters[self.last_hands]))
            for one in hypotheses
        )
        causes_of = []
        for name, column in (("gun", _GUN), *zip(self.names, self.strength, strict=True)):
            with_it = [one for one in hypotheses if name in one.off]
            chance = float(sum(one.weight for one in with_it))
            change = sum(one.weight * float(one.explanation.parameters[column]) for one in with_it)
            causes_of.append(Cause(name, chance, float(np.expm1(change / max(chance, 1e-12)))))
        return [causes_of[0], Cause("panel", None, float(np.expm1(hand))), *causes_of[1:]]


def _cups(panels: Sequence[SprayedPanel]) -> list[int]:
    """The number of the cup that each panel is of: a new one once a toner has left the recipe."""
    cups = [0]
    for before, after in pairwise(panels):
        same = set(before.recipe.blend) <= set(after.recipe.blend)
        cups.append(cups[-1] if same else cups[-1] + 1)
    return cups
