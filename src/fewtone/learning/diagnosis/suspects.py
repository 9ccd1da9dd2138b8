"""Panels that do not fit, and what would explain them.

Each panel is judged by what all others say about it (`fewtone.learning.leave_one_out`), measured in
the standard deviations of that very prediction: noise, the hand, and how sure the curves are
(`fewtone.learning.diagnosis.significance`).

A bad panel bends the fit, and good ones then look bad beside it. So the worst panel is taken out,
the rest is fitted again, and all are judged anew, until none is significant. A panel without which
a toner or ground would not be learnt is never taken out: it is judged with the others kept, and not
at all where all that tells of its toner was taken out.

A whole strip at another letdown shows in its strength alone, which a hand varies too, and the hand
that the readings tell is the wider for it. It is looked for last, under the hand that all other
panels tell: by how much likelier the strip is at one of the shop's other letdowns, given the other
strips and the blends.

Where only two panels tell of a toner alone and they disagree, each may be the bad one. Both are
tried; if the shelf fits without either, and no error explains one of them much better than the
other, the disagreement is what is told.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fewtone.learning.diagnosis.drift import Drift, find_drift, still_left
from fewtone.learning.diagnosis.hypotheses import Explainer, Explanation, letdowns
from fewtone.learning.diagnosis.removal import still_learnable
from fewtone.learning.diagnosis.significance import film_gain, neg_log10_p
from fewtone.learning.forward import Problem
from fewtone.learning.hyperparameters import infer_variation
from fewtone.learning.leave_one_out import (
    Expectation,
    expectations,
    filmed_panels,
    prediction_errors,
)
from fewtone.learning.parameters import Parameters
from fewtone.learning.solver import Prior, solve
from fewtone.learning.uncertainty import shared_covariance
from fewtone.model.readings import Readings
from fewtone.model.shelf import Mixing, ShelfSettings
from fewtone.typing import BoolArray, FloatArray

__all__ = ["Diagnosis", "Suspect", "diagnose"]

# A good panel's −log₁₀ p exceeds this much less than once in a hundred, judged in the booth: what
# the film model misses over a metallic ground takes up the rest.
_THRESHOLD = 5.0
# That of whoever was exchanged with a bad panel exceeds at least this.
_DOUBT = 1.5
# Beyond this the fit may be bent further than a Jacobian tells; then so many panels are each left
# out on trial, for a few steps of the solver.
_GROSS = 30.0
_LIKELY, _GLANCE = 2, 2
# A refit need only settle so far that the next decimal of no −log₁₀ p depends on it.
_SETTLED = 1e-3
# A shelf with more bad panels than this needs its readings looked through, not a list.
_MOST_SUSPECTS = 12
# Another letdown must make a strip likelier by this, in natural logarithms, and be off by so many
# standard deviations of what the hand leaves open: a smaller step no strength can tell.
_LETDOWN_GAIN, _LETDOWN_STEP = 2.5, 3.0
# A strip has at least so many steps; one step's strength says less than its numbers do.
_LEAST_STEPS = 2
# Of two panels that disagree the one is blamed whose error explains more by this, in natural
# logarithms.
_CLEARLY_LIKELIER = 2.0


@dataclass(frozen=True, slots=True)
class Suspect:
    """A panel that does not fit.

    Parameters
    ----------
    panel
        Its id.
    explanation
        What would explain it best, in words.
    de00
        ΔE00 between its readings and what all other panels say of them; the largest of its
        readings and lights.
    neg_log10_p
        −log₁₀ of the chance that a good panel would be so far off [1].
    removable
        Whether the shelf may be learnt without it and all other removable suspects: nothing would
        be unlearnt, and it is clear that it is the bad one.
    disagrees_with
        The id of the panel that it disagrees with, where either may be the bad one.
    """

    panel: str
    explanation: str
    de00: float
    neg_log10_p: float
    removable: bool = True
    disagrees_with: str | None = None


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """What is wrong with a shelf's readings.

    Parameters
    ----------
    suspects
        Panels that do not fit, the worst first.
    drift
        Of the instrument; None if it held.
    """

    suspects: tuple[Suspect, ...]
    drift: Drift | None


@dataclass(frozen=True, slots=True, eq=False)
class _Judged:
    """A fit without some panels, and what it says of all of them."""

    at: Parameters
    covariance: FloatArray
    counted: BoolArray
    expected: list[Expectation]
    neg_log10_p: FloatArray


def diagnose(
    problem: Problem,
    prior: Prior,
    at: Parameters,
    expected: list[Expectation],
    readings: Readings,
    settings: ShelfSettings,
    *,
    undone: Drift | None = None,
    settled: bool = False,
) -> Diagnosis:
    """Name the panels that do not fit, the worst first; or a drift of the instrument.

    A drift makes good panels look bad, and hides bad ones: where there is one, no panel is judged
    until it has been taken off.

    Parameters
    ----------
    problem, prior, at
        The fit with all panels.
    expected
        What all others say of each panel there.
    readings
        As they stand in the file.
    settings
        The shelf's.
    undone
        A drift that has been taken off already: no other is looked for, but whether all of it is.
    settled
        Whether that has been looked for often enough.
    """
    search = _Search(problem, prior, readings, settings)
    return search.run(at, expected, undone, settled=settled)


class _Search:
    """The search for bad panels in one shelf."""

    def __init__(
        self, problem: Problem, prior: Prior, readings: Readings, settings: ShelfSettings
    ) -> None:
        self.problem, self.prior = problem, prior
        self.readings, self.settings = readings, settings
        self.seen = problem.seen
        self.letdowns = letdowns(settings, self.seen.readings)
        self.kept = np.zeros(len(self.seen.panels), dtype=np.bool_)
        self.let_down: dict[int, Explanation] = {}

    def run(
        self,
        at: Parameters,
        expected: list[Expectation],
        undone: Drift | None,
        *,
        settled: bool,
    ) -> Diagnosis:
        everybody = np.ones_like(self.kept)
        first = _Judged(
            at, np.empty((0, 0)), everybody, expected, neg_log10_p(expected, everybody.size)
        )
        judged = self._letdowns(self._clear(self._take_out(first)))
        drift = None if settled else self._drift(judged, undone)
        return Diagnosis(() if drift else self._suspects(judged, first), drift)

    def _drift(self, judged: _Judged, undone: Drift | None) -> Drift | None:
        """A drift of the instrument, or the whole of one, as the panels that count tell of it."""
        weights = judged.counted.astype(np.float64)
        at = solve(self.problem, self.prior, judged.at, weights=weights, tolerance=_SETTLED).at
        covariance = shared_covariance(self.problem, self.prior, at, weights)
        if undone is not None:
            return still_left(undone, self.problem, at, covariance, judged.counted)
        return find_drift(self.problem, at, covariance, judged.counted)

    def _suspects(self, judged: _Judged, first: _Judged) -> tuple[Suspect, ...]:
        bad = np.flatnonzero(~judged.counted | (self.kept & (judged.neg_log10_p >= _THRESHOLD)))
        bad = bad[[self._is_told(panel, judged.counted) for panel in bad.tolist()]]
        suspects = [
            suspect
            for panel in bad.tolist()
            for suspect in [self._suspect(panel, judged, first)]
            if suspect.neg_log10_p >= _THRESHOLD or panel in self.let_down
        ]
        return tuple(sorted(suspects, key=lambda suspect: -suspect.neg_log10_p))

    def _is_told(self, panel: int, counted: BoolArray) -> bool:
        """Whether any other panel that counts tells of the toners of this one's film.

        What no panel tells of is far off the mean of all dyes: that makes no panel bad.
        """
        seen = self.seen
        others = counted[seen.panel] & (seen.panel != panel)
        mine = (seen.fractions[seen.panel == panel] > 0.0).any(axis=0)
        return bool((seen.fractions[others][:, mine] > 0.0).any(axis=0).all())

    def _take_out(self, judged: _Judged) -> _Judged:
        """Take out the worst panel, again and again, until none is significant."""
        while (~judged.counted).sum() < _MOST_SUSPECTS:
            left = np.where(judged.counted & ~self.kept, judged.neg_log10_p, 0.0)
            if left.max() < _THRESHOLD:
                break
            worst, start = self._worst(judged, left)
            counted = judged.counted.copy()
            counted[worst] = False
            if still_learnable(self.seen, counted):
                judged = self._judge(start, counted)
            else:
                self.kept[worst] = True
        return judged

    def _worst(self, judged: _Judged, left: FloatArray) -> tuple[int, Parameters]:
        """The panel whose leaving helps the rest most, and where to begin a fit without it.

        `left` is −log₁₀ p of those that may be taken out, 0 of the others.

        That is the most significant one, but where the Jacobian fails: a gross error bends the fit
        so far that good panels seem to be off by more than the bad one. It then shows in what is
        left of it in the fit itself, and by how much better all others fit without it.
        """
        problem, first = self.problem, int(left.argmax())
        if left[first] < _GROSS:
            return first, judged.at
        reduced_residual = np.zeros(left.size)
        residuals = problem.whitened_residuals(judged.at) or []
        for group, residual in zip(problem.groups, residuals, strict=True):
            reduced_residual[group.panels] = (residual**2).sum(axis=1) * (left[group.panels] > 0.0)
        likely = [first, *(int(i) for i in np.argsort(-reduced_residual)[:_LIKELY] if i != first)]
        if reduced_residual[first] == reduced_residual.max():
            return first, judged.at
        trials = []
        for panel in likely:
            weights = judged.counted.astype(np.float64)
            weights[panel] = 0.0
            trials.append(
                solve(problem, self.prior, judged.at, weights=weights, most_iterations=_GLANCE)
            )
        best = int(np.argmin([trial.cost for trial in trials]))
        return likely[best], trials[best].at

    def _clear(self, judged: _Judged) -> _Judged:
        """Count those again that only looked bad beside a worse one, until none is left of them."""
        while (cleared := ~judged.counted & (judged.neg_log10_p < _THRESHOLD)).any():
            judged = self._judge(judged.at, judged.counted | cleared)
        return judged

    def _letdowns(self, judged: _Judged) -> _Judged:
        """Take out strips that another letdown would explain."""
        while (~judged.counted).sum() < _MOST_SUSPECTS:
            steady, strips = self, judged
            if self._steadier() != self.problem.mixing:
                steady = self._with_hand(self._steadier())
                strips = steady._judge(judged.at, judged.counted)
            gain = np.where(judged.counted, steady._letdown_gain(strips)[0], -np.inf)
            worst = int(gain.argmax())
            counted = judged.counted.copy()
            counted[worst] = False
            if gain[worst] < _LETDOWN_GAIN or not still_learnable(self.seen, counted):
                break
            without = self._with_hand(self._hand_of(judged.at, counted))
            others = without._judge(judged.at, counted)
            explanation = without._by_letdown(worst, others)
            if explanation.gain < _LETDOWN_GAIN:
                break
            self.let_down[worst] = explanation
            self.problem, judged = without.problem, others
        return judged

    def _with_hand(self, mixing: Mixing) -> _Search:
        """The same search under another hand."""
        problem = self.problem.with_variation(mixing, self.problem.ground_cv)
        return _Search(problem, self.prior, self.readings, self.settings)

    def _steadier(self) -> Mixing:
        """The hand as it is said or as it was found, whichever varies less."""
        stated, inferred = self.settings.mixing, self.problem.mixing
        return replace(inferred, panel_cv=min(stated.panel_cv, inferred.panel_cv))

    def _hand_of(self, at: Parameters, counted: BoolArray) -> Mixing:
        """The hand that the panels that count tell."""
        weights = counted.astype(np.float64)
        solution = solve(self.problem, self.prior, at, weights=weights, tolerance=_SETTLED)
        as_stated = self._with_hand(self.settings.mixing).problem
        return infer_variation(as_stated, self.prior, solution).mixing

    def _letdown_gain(self, judged: _Judged) -> tuple[FloatArray, FloatArray]:
        """How much likelier each panel is at another of the shop's letdowns, and at which.

        Both ``(n_panels,)``.
        """
        gained = np.full(judged.counted.size, -np.inf)
        likeliest = np.zeros(judged.counted.size)
        for one in judged.expected:
            if one.group.segments.shape[1] < _LEAST_STEPS:
                continue
            panels = one.group.panels
            gains = np.array([self._letdown_of(panel) for panel in panels.tolist()])
            for letdown in map(float, self.letdowns):
                for medium in np.unique(gains[gains != letdown]).tolist():
                    gain, far = film_gain(one, float(np.log((1.0 + medium) / (1.0 + letdown))))
                    gain = np.where((gains == medium) & (far > _LETDOWN_STEP), gain, -np.inf)
                    likeliest[panels] = np.where(gain > gained[panels], letdown, likeliest[panels])
                    gained[panels] = np.maximum(gained[panels], gain)
        return gained, likeliest

    def _by_letdown(self, panel: int, judged: _Judged) -> Explanation:
        """A panel as one of the letdown that makes it likeliest."""
        gain, letdown = self._letdown_gain(judged)
        words = f"reads like a letdown of {letdown[panel]:g}:1, not {self._letdown_of(panel):g}:1"
        return Explanation(words, float(gain[panel]), specific=True)

    def _letdown_of(self, panel: int) -> float:
        """The letdown that is written of a panel with a film."""
        rows = np.flatnonzero((self.seen.panel == panel) & self.seen.is_film)
        return float(self.seen.readings[int(rows[0])].medium_parts or 0)

    def _judge(self, start: Parameters, counted: BoolArray) -> _Judged:
        weights = counted.astype(np.float64)
        problem, prior = self.problem, self.prior
        at = solve(problem, prior, start, weights=weights, tolerance=_SETTLED).at
        covariance = shared_covariance(problem, prior, at, weights)
        expected = expectations(problem, at, covariance, weights)
        return _Judged(at, covariance, counted, expected, neg_log10_p(expected, counted.size))

    def _suspect(self, panel: int, judged: _Judged, first: _Judged) -> Suspect:
        if self.kept[panel]:
            without = judged.counted.copy()
            without[panel] = False
            judged = self._judge(judged.at, without)
        explanation = self._explain(panel, judged)
        rival, its = self._rival(panel, judged, first, explanation)
        removable = not self.kept[panel] and rival is None
        other = None
        if rival is not None and its is not None:
            other = self.seen.panels[rival]
            explanation = self._disagreement(panel, explanation, rival, its)
        off = prediction_errors(self.problem, judged.expected, self.settings.measurement.light)
        return Suspect(
            panel=self.seen.panels[panel],
            explanation=f"{self.seen.panels[panel]} {explanation.words}.",
            de00=float(np.nanmax(off[self.seen.panel == panel])),
            neg_log10_p=float(judged.neg_log10_p[panel]),
            removable=removable,
            disagrees_with=other,
        )

    def _explain(self, panel: int, judged: _Judged) -> Explanation:
        if panel in self.let_down:
            return self.let_down[panel]
        doubtful = np.argsort(-judged.neg_log10_p, kind="stable")
        return Explainer(
            self.problem,
            judged.at,
            judged.covariance,
            filmed_panels(self.problem, judged.counted.astype(np.float64)),
            doubtful[judged.neg_log10_p[doubtful] > _DOUBT],
            self.readings,
            self.settings,
        ).explain(panel)

    def _rival(
        self, panel: int, judged: _Judged, first: _Judged, explanation: Explanation
    ) -> tuple[int | None, Explanation | None]:
        """The only other panel of a toner alone, if it may as well be the bad one."""
        mates = self._mates(panel)
        if len(mates) != 1 or not judged.counted[mates[0]] or np.isinf(explanation.gain):
            return None, None
        (mate,) = mates
        by_letdown = panel in self.let_down
        if first.neg_log10_p[mate] < _DOUBT and explanation.specific and not by_letdown:
            return None, None
        swapped = judged.counted.copy()
        swapped[panel], swapped[mate] = True, False
        other = self._judge(judged.at, swapped)
        if other.neg_log10_p[swapped].max() >= _THRESHOLD:
            return None, None
        theirs = self._by_letdown(mate, other) if by_letdown else self._explain(mate, other)
        if explanation.specific and explanation.gain - theirs.gain > _CLEARLY_LIKELIER:
            return None, None
        return mate, theirs

    def _mates(self, panel: int) -> list[int]:
        """Other panels with the film of this one's toner alone."""
        seen = self.seen
        mix = seen.fractions > 0.0
        of_panel = mix[seen.panel == panel].any(axis=0)
        if of_panel.sum() != 1:
            return []
        alike = seen.is_film & (mix == of_panel).all(axis=1)
        return [int(i) for i in np.unique(seen.panel[alike]) if i != panel]

    def _disagreement(
        self, panel: int, mine: Explanation, mate: int, theirs: Explanation
    ) -> Explanation:
        toner = self.seen.toners[
            int(self.seen.fractions[self.seen.panel == panel].argmax(axis=1)[-1])
        ]
        one, other = self.seen.panels[panel], self.seen.panels[mate]
        either = [
            f"{name} {explained.words}"
            for name, explained in ((one, mine), (other, theirs))
            if explained.specific
        ]
        perhaps = f" (perhaps {', or '.join(either)})" if either else ""
        return replace(
            mine,
            words=f"and {other} disagree about {toner}, and either may be the bad one{perhaps}; a "
            "third strip would tell",
        )
