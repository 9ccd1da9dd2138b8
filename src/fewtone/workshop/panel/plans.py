"""What may be done about a mix: coats, additions in cup steps, and the best of each kind.

Search
    Nothing can be taken out, so every addition is 0 or more; the cup shows steps, so it is a whole
    number of them. All that fit are tried as far as their number allows; else a coarser grid
    first, refined around its best points down to single steps. Distances are taken at the centre
    of the posterior; the nearest are then compared by the chance that a fresh panel passes.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fewtone.colorimetry import delta_e_2000
from fewtone.model.curves import Curves
from fewtone.model.target import Target
from fewtone.typing import FloatArray, IntArray
from fewtone.workshop.panel.predictive import PosteriorPredictive
from fewtone.workshop.pour.mix import MEDIUM

__all__ = ["CLEARLY_WORSE", "MOST_RISK", "Plan", "best_plan"]

MOST_RISK, CLEARLY_WORSE = 0.06, 0.05
"""A step is not taken if it is likelier than `MOST_RISK` to make the mix truly pass less often by
more than `CLEARLY_WORSE`. Calibrated in the simulated booth on 168 failed panels of 280 whole jobs
(worlds 2301 to 2311 read as spectra, 2201 to 2203 as Lab). The posterior understates this risk: of
66 plans told at .06 to .15 from spectra 10 were worse, of 26 from Lab 8; of 59 below .06 three. It
leans to blame the mix for what was one panel's film, so that the figure is told to nobody."""

_MOST_POINTS = 10_000
# So many that come nearest to the target, and to what lies so far on the way to it: a smaller
# change is the safer one where little is known.
_KEPT = {1.0: 12, 0.75: 4, 0.5: 4}
# So many of the best are asked whether they are safe.
_TRIED = 8
# Among plans that come equally near, fewer components and less paint win: ΔE00 each in the search,
# and chance to pass each in the comparison.
_COMPONENT_DE00, _DOUBLING_DE00 = 0.02, 0.1
_COMPONENT_CHANCE, _DOUBLING_CHANCE = 0.01, 0.05


@dataclass(frozen=True, slots=True)
class Plan:
    """Something to do, and how a fresh panel would then read.

    Parameters
    ----------
    coats
        Coats to give.
    steps
        Steps of each component to add; what is not added is left out.
    chance
        Chance that a fresh panel then reads within tolerance.
    expected_de00
        Mean ΔE00 of a fresh panel without hand or instrument.
    risk
        How likely it is that a panel then truly passes less often than of the mix as it is, by
        more than `CLEARLY_WORSE`.
    """

    coats: int
    steps: dict[str, int]
    chance: float
    expected_de00: float
    risk: float


def best_plan(
    predictive: PosteriorPredictive,
    target: Target,
    components: Sequence[str],
    coats: Sequence[int],
    *,
    step_ml: float,
    most_steps: int,
    left_ml: float,
    rise: float,
) -> Plan:
    """The plan of greatest chance that adds some of these components in steps.

    Of those that are no riskier than `MOST_RISK`, where one is worth it.

    Parameters
    ----------
    predictive
        What fresh panels would read.
    target
        What is wanted.
    components
        What may be added: ``medium`` and toners' names; none for coats alone.
    coats
        Which numbers of coats may be given.
    step_ml, most_steps
        The cup's step [ml], and how many of them fit in all.
    left_ml
        What is left of the mix [ml].
    rise
        How far above that of the mix as it is a chance has to be for a plan to be worth it.
    """
    size, share = len(components), step_ml / left_ml
    columns = [_column(predictive.curves, name) for name in components]

    def added(steps: IntArray) -> FloatArray:
        volumes = np.zeros((len(steps), len(predictive.curves.toners) + 1))
        volumes[:, columns] = steps * step_ml
        return volumes

    # What the curves are off by is about the same for all plans: taken from the mix as it is.
    as_is = np.array([coats[0]]), np.zeros((1, len(predictive.curves.toners) + 1)), left_ml
    now = predictive.of_plans(*as_is).mean
    offset = now - predictive.centre(*as_is)

    def nearest(points: IntArray) -> IntArray:
        """The nearest points, to the target and on the way; one is coats, then steps of each."""
        points = np.unique(points, axis=0)
        lab = predictive.centre(points[:, 0], added(points[:, 1:]), left_ml) + offset
        opened, grown = _effort(points[:, 1:], share)
        effort = _COMPONENT_DE00 * opened + _DOUBLING_DE00 * grown
        kept: list[int] = []
        for way, count in _KEPT.items():
            cost = delta_e_2000(lab, now + way * (np.array(target.lab) - now)) + effort
            kept += np.argsort(cost, kind="stable")[:count].tolist()
        return points[np.unique(kept)]

    coarse = 1
    while math.comb(most_steps // coarse + size, size) * len(coats) > _MOST_POINTS:
        coarse += 1
    grid = _all_sums(size, most_steps // coarse) * coarse
    best = nearest(np.vstack([np.insert(grid, 0, count, axis=1) for count in coats]))
    around = np.indices((3,) * size).reshape(size, 3**size).T - 1
    while coarse > 1:
        coarse = (coarse + 1) // 2
        near = best[:, np.newaxis, 1:] + coarse * around
        near = np.concatenate(
            [np.repeat(best[:, :1], len(around), axis=0), near.reshape(-1, size)], axis=1
        )
        fits = (near[:, 1:] >= 0).all(axis=1) & (near[:, 1:].sum(axis=1) <= most_steps)
        best = nearest(np.vstack([best, near[fits]]))
    as_is_first = np.append(as_is[0], best[:, 0]), np.vstack([as_is[1], added(best[:, 1:])])
    both = predictive.of_plans(*as_is_first, left_ml)
    fresh = both.only(slice(1, None))
    tolerance = float(predictive.settings.mixing.tolerance)
    chance = fresh.chance(target.lab, tolerance)
    opened, grown = _effort(best[:, 1:], share)
    worth = chance - _COMPONENT_CHANCE * opened - _DOUBLING_CHANCE * grown
    # Where no plan has a chance worth telling, the nearest is the best.
    distance = delta_e_2000(fresh.mean, target.lab)
    order = np.lexsort((distance, -np.round(worth, 2)))
    enough = both.only(slice(0, 1)).chance(target.lab, tolerance)[0] + rise
    worth_it = [int(row) for row in order[:_TRIED] if chance[row] >= enough]

    def risk(row: int) -> float:
        return both.pair(0, row + 1).worse(target.lab, tolerance, CLEARLY_WORSE)

    row = next((row for row in worth_it if risk(row) <= MOST_RISK), int(order[0]))
    steps = zip(components, best[row, 1:], strict=True)
    return Plan(
        coats=int(best[row, 0]),
        steps={name: int(count) for name, count in steps if count},
        chance=float(chance[row]),
        expected_de00=float(fresh.only(slice(row, row + 1)).expected_de00(target.lab)[0]),
        risk=risk(row),
    )


def _effort(steps: IntArray, share: float) -> tuple[IntArray, FloatArray]:
    """Components to open, and how much paint is made relative to what is left."""
    return (steps > 0).sum(axis=1), share * steps.sum(axis=1)


def _all_sums(size: int, most: int) -> IntArray:
    """Every vector of whole numbers of 0 or more whose sum is at most `most`, ``(n, size)``."""
    rows = np.zeros((1, 0), dtype=np.int64)
    for _ in range(size):
        room = most - rows.sum(axis=1) + 1
        first = np.repeat(np.cumsum(room) - room, room)
        rows = np.column_stack([np.repeat(rows, room, axis=0), np.arange(room.sum()) - first])
    return rows


def _column(curves: Curves, name: str) -> int:
    return len(curves.toners) if name == MEDIUM else curves.toners.index(name)
