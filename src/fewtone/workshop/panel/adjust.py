"""After a panel was sprayed, cleared and read: coats, an addition, or nothing at all.

The reading is weighed (`fewtone.workshop.panel.posterior`): how much of the miss was this one
panel's film, which goes, and how much the gun, the bottles, the mix and the curves, which stay.
Whatever is done is then judged by the ΔE00 that a *fresh* panel of it is expected to have. What is
more trouble, or cannot be taken back, has to gain more: other coats a little, medium more, toner
more again, and a toner that was not in the mix the most.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import TypedDict

from fewtone.colorimetry import Light
from fewtone.errors import Fault, FewtoneError, UsageError
from fewtone.match import Match
from fewtone.model.blend import Number
from fewtone.model.curves import Curves
from fewtone.model.names import named_options
from fewtone.model.recipe import Recipe
from fewtone.model.shelf import ShelfSettings
from fewtone.model.target import Target
from fewtone.model.units import Amount, volume_ml
from fewtone.prediction.recipes import predict
from fewtone.workshop.panel.additions import Plan
from fewtone.workshop.panel.posterior import Cause, Depth, Posterior, infer_posterior
from fewtone.workshop.panel.readings import ReadingLike, average, read_panel
from fewtone.workshop.panel.remedies import GAIN, Addition, Remedies, Volumes
from fewtone.workshop.pour.mix import require_names, stock_cautions

__all__ = ["Addition", "AdjustOptions", "Adjustment", "adjust"]

# Beyond this many standard deviations no gun, hand or bottle explains a reading; another ground
# that lies below the second figure does.
_UNEXPLAINED, _EXPLAINED = 3.0, 1.5
# A cause is named when it is likelier than not, or, for the panel, beyond what hands differ by.
_LIKELY, _HEAVY = 0.5, 0.03
# Without --room a mix grows by at most half; without a cup's step, in ml.
_USUAL_ROOM, _USUAL_STEP = Fraction(3, 2), Decimal(1)


class AdjustOptions(TypedDict, total=False):
    """What `adjust` may be told beside recipe, target and readings; see there."""

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
        The readings, averaged for each number of coats, with their spread.
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
    reading_light: Light
    advice: str
    why: tuple[str, ...]
    as_is: Match
    coats: Match
    additions: tuple[Addition, ...]
    after: Match
    expected_de00: tuple[float, float]
    left_ml: Fraction | None
    total_ml: Fraction | None
    causes: tuple[Cause, ...]
    nothing_wrong: float
    cautions: tuple[str, ...]


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
        CIELAB of the one panel, under cured clear: triples or text, see
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

    Raises
    ------
    FewtoneError
        A name, a reading or a volume cannot be used, target and reading are in different lights,
        or the reading is plainly of another ground.
    """
    require_names(recipe, settings)
    if recipe.coats == 0:
        raise UsageError(Fault("A recipe of 0 coats has nothing to adjust.", value=str(recipe)))
    light = _reading_light(settings, target, reading_light)
    depths = average(read_panel(readings, recipe, sprayed))
    sd = predict(curves, [recipe], light, deviations=True).lab_sd
    posterior = infer_posterior(
        curves, settings, recipe, depths, light, curves_sd=None if sd is None else sd[0]
    )
    cautions = stock_cautions(recipe.blend, settings)
    if posterior.reduced_residual > _UNEXPLAINED:
        _check_ground(curves, settings, recipe, depths, light)
        cautions.append(
            "No heavy hand, gun or bottle explains this reading: check that it is this recipe's "
            "panel, its coats and its ground, and read it again."
        )
    remedies = Remedies.of(curves, settings, recipe, target, posterior)
    volumes = _volumes(settings, left, room, cautions, activated)
    options = remedies.options(volumes)
    best = min(options, key=lambda kind: options[kind].expected_de00 + GAIN[kind])
    plain = [kind for kind in options if kind in ("stop", "coats")]
    coats = options[min(plain, key=lambda kind: options[kind].expected_de00 + GAIN[kind])]
    stop, chosen = options["stop"], options[best]
    additions = tuple(remedies.additions(chosen, volumes))
    return Adjustment(
        recipe=recipe,
        target=target,
        depths=depths,
        reading_light=light,
        advice=best if best in ("stop", "coats") else "add",
        why=tuple(_why(posterior, best, stop, chosen, target, settings)),
        as_is=remedies.match(stop, volumes),
        coats=remedies.match(coats, volumes),
        additions=additions,
        after=remedies.match(chosen, volumes),
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
    own = settings.measurement.light
    if target.light != own:
        raise UsageError(
            Fault(
                f"The target is in {target.light}, the reading in {own}: colours in different "
                "lights cannot be compared.",
                fix="Give the target in the light of the reading, or say with --reading-light what "
                "the reading was taken in; the learnt curves then carry one to the other.",
                value=target.said,
            )
        )
    return own


def _check_ground(
    curves: Curves,
    settings: ShelfSettings,
    recipe: Recipe,
    depths: Sequence[Depth],
    light: Light,
) -> None:
    """Refuse a reading that another ground explains and the recipe's does not."""
    fits = {
        name: infer_posterior(
            curves, settings, recipe.with_(ground=name), depths, light
        ).reduced_residual
        for name in curves.grounds
        if name != recipe.ground
    }
    name = min(fits, key=lambda ground: fits[ground], default=None)
    if name is not None and fits[name] < _EXPLAINED:
        raise FewtoneError(
            Fault(
                f"This reading is not of the mix over {recipe.ground}; it reads like the mix over "
                f"{name}.",
                fix="Give the recipe with the ground that the panel has, or read the right panel.",
                value=", ".join(f"{value:.2f}" for value in depths[-1].lab),
            )
        )


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
            cautions.append("Say how much is left (--left 350ml) to be told what to add.")
        return Volumes(Fraction(1000), step, 0)
    left_ml = volume_ml(left, what="What is left")
    room_ml = left_ml * _USUAL_ROOM if room is None else volume_ml(room, what="The room")
    if room_ml < left_ml:
        raise UsageError(
            Fault(
                f"The cup's room ({float(room_ml):g} ml) is less than what is left in it "
                f"({float(left_ml):g} ml): nothing can be added.",
                fix="Give the volume that the cup may hold in all, or leave --room out.",
                value=str(room),
            )
        )
    if activated:
        cautions.append("The mix is activated: nothing is added to it. Mind its pot life.")
        return Volumes(left_ml, step, 0)
    if room is None:
        cautions.append(f"No --room was given: the mix may grow to {float(room_ml):g} ml.")
    if settings.mixing.finest_ml is None:
        cautions.append("shelf.toml has no cup_ml: additions are in whole millilitres.")
    steps = int((room_ml - left_ml) / step)
    if steps == 0:
        cautions.append(
            f"Not one step of the cup ({float(step):g} ml) fits into {float(room_ml):g} ml."
        )
    return Volumes(left_ml, step, steps)


def _why(
    posterior: Posterior,
    best: str,
    stop: Plan,
    chosen: Plan,
    target: Target,
    settings: ShelfSettings,
) -> list[str]:
    said = []
    for cause in posterior.causes:
        size = f"about {abs(cause.change):.0%}"
        if cause.name == "panel" and abs(cause.change) >= _HEAVY:
            way = "heavy" if cause.change > 0 else "light"
            said.append(f"This panel came out {size} {way}; a fresh one need not.")
        elif cause.name == "gun" and (cause.chance or 0.0) >= _LIKELY:
            way = "heavy" if cause.change > 0 else "light"
            said.append(f"The gun lays {size} {way} (chance {cause.chance:.0%}).")
        elif cause.chance is not None and cause.chance >= _LIKELY:
            way = "strong" if cause.change > 0 else "weak"
            said.append(f"{cause.name} is {size} {way} (chance {cause.chance:.0%}).")
    gain = stop.expected_de00 - chosen.expected_de00
    if best != "stop":
        said.append(
            f"A fresh panel is expected at ΔE00 {chosen.expected_de00:.2f} instead of "
            f"{stop.expected_de00:.2f}."
        )
    elif stop.expected_de00 <= settings.mixing.tolerance or posterior.nothing_wrong >= _LIKELY:
        said.append(
            "The miss is within what film build explains: a fresh panel as it is is expected at "
            f"ΔE00 {stop.expected_de00:.2f}."
        )
    else:
        said.append(
            f"Nothing that may be done brings a fresh panel clearly nearer than ΔE00 "
            f"{stop.expected_de00:.2f} (the best gains {max(gain, 0.0):.2f}): match "
            f"{target.said} anew."
        )
    return said
