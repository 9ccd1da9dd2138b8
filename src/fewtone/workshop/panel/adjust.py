"""After a panel was sprayed, cleared and read: coats, an addition, or nothing at all.

The readings of all panels of the job are weighed (`fewtone.workshop.panel.posterior`): how much of
the miss was one panel's film, which goes, and how much the gun, the bottles, the mix and the
curves, which stay. Whatever is done is then judged by the chance that a *fresh* panel of it passes
(`fewtone.workshop.panel.predictive`). A panel that passes, or a mix that is expected to pass, is
left alone; else something is done only where that chance rises clearly, and the more so the more
trouble it is or the less it can be taken back: other coats a little, medium more, toner more again,
and a toner that was not in the mix the most. And it is done only where it is unlikely to do harm:
one panel tells little of what is off, and a change that is right on average may well make this mix
worse, which the posterior says.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import TypedDict

import numpy as np

from fewtone.colorimetry import Light, delta_e_2000
from fewtone.errors import Fault, UsageError
from fewtone.match.result import Match
from fewtone.model.blend import Number
from fewtone.model.curves import Curves
from fewtone.model.names import named_options
from fewtone.model.recipe import Recipe
from fewtone.model.shelf import ShelfSettings
from fewtone.model.target import Target
from fewtone.model.units import Amount, volume_ml
from fewtone.workshop.panel.plans import Plan
from fewtone.workshop.panel.posterior import (
    Cause,
    Depth,
    SprayedPanel,
)
from fewtone.workshop.panel.readings import EarlierPanel, ReadingLike, average, read_panel
from fewtone.workshop.panel.remedies import (
    EXPECTED_TO_PASS,
    NO_BAD_BET,
    Addition,
    Remedies,
    Volumes,
)
from fewtone.workshop.panel.unexplained import explained_posterior
from fewtone.workshop.pour.mix import require_names, stock_cautions

__all__ = ["Addition", "AdjustOptions", "Adjustment", "adjust"]

# A cause is named when it is likelier than not, or, for the panel, beyond what hands differ by; and
# never as being off by less than can be told.
_LIKELY, _HEAVY, _SHOWN = 0.5, 0.03, 0.01
# Without a room a mix grows by at most half; without a cup's step, in ml.
_USUAL_ROOM, _USUAL_STEP = Fraction(3, 2), Decimal(1)


class AdjustOptions(TypedDict, total=False):
    """What `adjust` may be told beside recipe, target and readings.

    Parameters
    ----------
    sprayed, left, room, activated
        The parameters of `adjust` of these names.
    """

    sprayed: Number | None
    left: Amount | None
    room: Amount | None
    activated: bool


@dataclass(frozen=True, slots=True)
class Adjustment:
    """What to do after a panel.

    Parameters
    ----------
    recipe, target
        What was sprayed, and what was wanted.
    depths
        The last panel's readings, averaged for each number of coats, with their spread.
    earlier
        The job's panels before it.
    passes
        Whether the last panel itself reads within tolerance at the coats of the recipe.
    reading_light
        Their illuminant and observer.
    advice
        ``coats``, ``add`` or ``stop``.
    why
        The reasons, one sentence each.
    as_is
        A fresh panel as the recipe has it, given what the reading told.
    coats
        The best number of coats for the work and the next panel if nothing is added.
    additions
        What to add, in cup steps; empty if nothing.
    after
        The mix as it then is, at the coats to give it.
    next_time
        The whole-number recipe of the same toners that is likeliest to pass in a fresh cup.
    expected_de00
        Mean ΔE00 of a fresh panel, without hand or instrument: as it is, and after the advice.
    left_ml, total_ml
        What is left and what it comes to; None where it was not said.
    causes, nothing_wrong
        What may be off and how likely; how likely it is that neither gun nor bottle is.
    cautions
        What should be told.
    """

    recipe: Recipe
    target: Target
    depths: tuple[Depth, ...]
    earlier: tuple[SprayedPanel, ...]
    passes: bool
    reading_light: Light
    advice: str
    why: tuple[str, ...]
    as_is: Match
    coats: Match
    additions: tuple[Addition, ...]
    after: Match
    next_time: Match
    expected_de00: tuple[float, float]
    left_ml: Fraction | None
    total_ml: Fraction | None
    causes: tuple[Cause, ...]
    nothing_wrong: float
    cautions: tuple[str, ...]

    @property
    def next_time_holds(self) -> bool:
        """Whether the recipe for next time is about as likely to pass as the mix is."""
        whole, mix = self.next_time.pass_probability, self.after.pass_probability
        return whole is None or mix is None or whole >= NO_BAD_BET * mix


@named_options
def adjust(
    curves: Curves,
    settings: ShelfSettings,
    recipe: Recipe,
    target: Target,
    readings: Iterable[ReadingLike],
    *,
    reading_light: Light | None = None,
    sprayed: Number | None = None,
    left: Amount | None = None,
    room: Amount | None = None,
    activated: bool = False,
    earlier: Sequence[EarlierPanel] = (),
) -> Adjustment:
    """Work out what to do after a panel was read.

    Parameters
    ----------
    curves, settings
        The learnt shelf.
    recipe
        What was mixed and sprayed.
    target
        What was wanted.
    readings
        CIELAB of the last panel, under cured clear: triples or text, see
        `fewtone.workshop.panel.readings`.
    reading_light
        Their light. The shelf's own if None, but then the target must be in it too.
    sprayed
        Coats of the panel, where they are not the recipe's.
    left
        How much of the mix is left, such as ``350ml``; nothing is added without it.
    room
        The most that the cup may hold with the additions; half as much again as is left if None.
    activated
        The hardener is in: nothing may be added.
    earlier
        The job's panels before this one in the order in which they were sprayed, each with the
        recipe it was sprayed with and its readings.

    Raises
    ------
    FewtoneError
        A name, a reading or a volume cannot be used, target and reading are in different lights,
        or no gun, hand or bottle explains a reading.
    """
    for each in (recipe, *(before for before, _ in earlier)):
        require_names(each, settings)
    if recipe.coats == 0:
        raise UsageError(Fault("A recipe of 0 coats has nothing to adjust.", value=str(recipe)))
    light = _reading_light(settings, target, reading_light)
    depths = average(read_panel(readings, recipe, sprayed))
    before = tuple(SprayedPanel(each, average(read_panel(labs, each))) for each, labs in earlier)
    panels = (*before, SprayedPanel(recipe, depths))
    posterior, contradictions = explained_posterior(curves, settings, panels, light)
    cautions = [*stock_cautions(recipe.blend, settings), *contradictions]
    remedies = Remedies.of(curves, settings, target, posterior)
    volumes = _volumes(settings, left, room, cautions, activated)
    options = remedies.options(volumes)
    passes = target.light == light and any(
        depth.coats == float(recipe.coats)
        and delta_e_2000(np.array(depth.lab), np.array(target.lab)) <= settings.mixing.tolerance
        for depth in depths
    )
    best = "stop" if passes else remedies.best(options)
    coats = options["stop" if passes else remedies.best({k: options[k] for k in ("stop", "coats")})]
    stop, chosen = options["stop"], options[best]
    additions = tuple(remedies.additions(chosen, volumes))
    after = remedies.match(chosen, volumes)
    next_time = remedies.next_time(after.recipe)
    largest = settings.mixing.max_part
    if (
        next_time.recipe != after.recipe
        and max(next_time.recipe.blend.values(), default=0) > largest
    ):
        cautions.append(
            f"For next time no ratio of parts up to {largest} passes nearly as often as the mix: "
            "larger parts are told."
        )
    return Adjustment(
        recipe=recipe,
        target=target,
        depths=depths,
        earlier=before,
        passes=passes,
        reading_light=light,
        advice=best if best in ("stop", "coats") else "add",
        why=tuple(_why(remedies, passes, best, options)),
        as_is=remedies.match(stop, volumes),
        coats=remedies.match(coats, volumes),
        additions=additions,
        after=after,
        next_time=next_time,
        expected_de00=(stop.expected_de00, chosen.expected_de00),
        left_ml=None if left is None else volumes.left_ml,
        total_ml=None
        if left is None
        else volumes.left_ml + sum((a.ml for a in additions), Fraction(0)),
        causes=posterior.causes,
        nothing_wrong=posterior.nothing_wrong,
        cautions=tuple(cautions),
    )


def _reading_light(settings: ShelfSettings, target: Target, reading_light: Light | None) -> Light:
    if reading_light is not None:
        return reading_light
    shelf_light = settings.measurement.light
    if target.light != shelf_light:
        raise UsageError(
            Fault(
                f"The target is in {target.light}, the reading in {shelf_light}: colours in "
                "different lights cannot be compared.",
                fix="Give the target in the light of the reading, or say with `reading_light` what "
                "the reading was taken in; the learnt curves then carry one to the other.",
                value=target.request,
            )
        )
    return shelf_light


def _volumes(
    settings: ShelfSettings,
    left: Amount | None,
    room: Amount | None,
    cautions: list[str],
    activated: bool,
) -> Volumes:
    step = settings.mixing.finest_ml or Fraction(_USUAL_STEP)
    if left is None:
        if not activated:
            cautions.append("Say how much is left (`left`, such as 350ml) to be told what to add.")
        return Volumes(Fraction(1000), step, 0)
    left_ml = volume_ml(left, what="What is left")
    room_ml = left_ml * _USUAL_ROOM if room is None else volume_ml(room, what="The room")
    if room_ml < left_ml:
        raise UsageError(
            Fault(
                f"The cup's room ({float(room_ml):g} ml) is less than what is left in it "
                f"({float(left_ml):g} ml): nothing can be added.",
                fix="Give the volume that the cup may hold in all, or leave `room` out.",
                value=str(room),
            )
        )
    if activated:
        cautions.append("The mix is activated: nothing is added to it. Mind its pot life.")
        return Volumes(left_ml, step, 0)
    if room is None:
        cautions.append(f"No `room` was given: the mix may grow to {float(room_ml):g} ml.")
    if settings.mixing.finest_ml is None:
        cautions.append("shelf.toml has no cup_ml: additions are in whole millilitres.")
    steps = int((room_ml - left_ml) / step)
    if steps == 0:
        cautions.append(
            f"Not one step of the cup ({float(step):g} ml) fits into {float(room_ml):g} ml."
        )
    return Volumes(left_ml, step, steps)


def _why(remedies: Remedies, passes: bool, best: str, options: Mapping[str, Plan]) -> list[str]:
    causes = remedies.predictive.posterior.causes
    reasons = [words for cause in causes if (words := _cause_words(cause))]
    now, then = options["stop"], options[best]
    if passes:
        reasons.append("This panel is within tolerance: nothing is changed.")
    elif best != "stop":
        reasons.append(
            f"A fresh panel then passes with {then.chance:.0%} instead of {now.chance:.0%}; "
            f"expected ΔE00 {then.expected_de00:.2f} instead of {now.expected_de00:.2f}."
        )
    elif now.chance >= EXPECTED_TO_PASS:
        reasons.append(
            f"The miss is within what film build explains: a fresh panel of the mix as it is "
            f"passes with {now.chance:.0%}."
        )
    elif risky := remedies.clearly_likelier(options):
        likeliest = options[max(risky, key=lambda kind: options[kind].chance)]
        reasons.append(
            f"The likeliest change passes with {likeliest.chance:.0%} instead of "
            f"{now.chance:.0%}, but it may as well make the mix worse: spray again first, another "
            "reading tells more."
        )
    else:
        most = max(plan.chance for plan in options.values())
        reasons.append(
            f"Nothing that may be done makes a fresh panel clearly likelier to pass than "
            f"{now.chance:.0%} (the best comes to {most:.0%}): spray again, or match anew."
        )
    return reasons


def _cause_words(cause: Cause) -> str | None:
    size = abs(cause.change)
    if size < (_HEAVY if cause.name == "panel" else _SHOWN):
        return None
    more = cause.change > 0
    if cause.name == "panel":
        way = "heavy" if more else "light"
        return f"This panel came out about {size:.0%} {way}; a fresh one need not."
    if (cause.chance or 0.0) < _LIKELY:
        return None
    what, way = f"{cause.name} is", "strong" if more else "weak"
    if cause.name == "gun":
        what, way = "The gun lays", "heavy" if more else "light"
    return f"{what} about {size:.0%} {way} (chance {cause.chance:.0%})."
