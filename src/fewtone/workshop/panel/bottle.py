"""How strong a new bottle of a toner is next to the one that was learnt, from a panel or a few.

The strength and its standard deviation are those of `fewtone.workshop.panel.strength`.

Two explanations
    Either the bottle is as strong as the shelf now takes it to be, and hand, pours and curves
    explain the reading alone, or it differs as bottles do. Even odds before the reading; their
    evidence gives the chance of each after it. One panel of one toner cannot tell film build from
    strength: then only the priors share the deviation out, and the answer says how.

Validity
    Misses of some tens of percent in dose. Where no strength, however large, explains the reading,
    the bottle holds another mixture, or the panel is not of this recipe.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from enum import StrEnum
from pathlib import Path

import numpy as np

from fewtone.colorimetry import Light
from fewtone.errors import Fault, FewtoneError, UsageError
from fewtone.io.strength import write_strength
from fewtone.model.blend import Number
from fewtone.model.curves import Curves
from fewtone.model.recipe import Recipe
from fewtone.model.shelf import ShelfSettings
from fewtone.workshop.panel.readings import PanelReading, ReadingLike, read_panel
from fewtone.workshop.panel.strength import StrengthModel
from fewtone.workshop.pour.mix import require_names, stock_cautions

__all__ = ["BOTTLE_SD", "Bottle", "Verdict", "apply_bottle", "bottle", "require_credible"]

# Bottles of one toner differ by several percent (common practice, no source): standard deviation
# of a bottle's strength next to the learnt one, as a logarithm.
BOTTLE_SD = 0.08
# Wide enough that the prior does not matter: what strength fits if bottles may differ by anything.
_ANY_SD = 1.0
# Chances of the hand alone: above the first nothing is credible, below the second all is clear.
_CREDIBLE, _CLEAR = 0.5, 0.1
# A reduced residual beyond this many standard deviations (root mean square) is no strength, as in
# `adjust`: in the booth 1 in 100 good panels of hazy toners, none of clear ones, and more than 9 in
# 10 of bottles with 3 % of another toner in them. A strength beyond as many is no bottle of this
# toner.
_OTHER_COLOUR, _OTHER_STRENGTH = 3.0, 3.0
# A panel that leaves more than this of the prior's deviation says next to nothing.
_UNINFORMATIVE = 0.9


class Verdict(StrEnum):
    """What a reading says of a bottle."""

    SAME = "same"
    UNCLEAR = "unclear"
    DIFFERS = "differs"
    OTHER = "other"


@dataclass(frozen=True, slots=True)
class Bottle:
    """How strong a bottle is.

    Parameters
    ----------
    toner, recipe, light
        Which bottle, what was sprayed from it, and the readings' illuminant and observer.
    readings
        Coats and CIELAB of each reading.
    strength, strength_sd
        Relative to the learnt curve [1]: the most probable, and its standard deviation.
    in_use
        What the shelf takes the strength to be now [1].
    hand_chance
        Chance that the bottle is as strong as that, and hand, pours and noise are all there is.
    deviation, bottle_part
        How much more of the toner the panels hold than predicted, and what of it the bottle does;
        relative, 0.1 is 10 % more. The rest is hand and pours.
    de00_before, de00_after
        Mean ΔE00 between readings and prediction, at the strength in use and at the new one.
    de00_left
        Mean ΔE00 that neither strength nor hand explains.
    next_sd
        What one more panel would bring `strength_sd` to.
    verdict, why
        What that comes to, and the reasons, one sentence each.
    cautions
        What should be told.
    applied
        Whether shelf.toml holds it by now.
    """

    toner: str
    recipe: Recipe
    light: Light
    readings: tuple[PanelReading, ...]
    strength: float
    strength_sd: float
    in_use: float
    hand_chance: float
    deviation: float
    bottle_part: float
    de00_before: float
    de00_after: float
    de00_left: float
    next_sd: float
    verdict: Verdict
    why: tuple[str, ...]
    cautions: tuple[str, ...]
    applied: bool = False

    @property
    def written(self) -> Decimal:
        """The strength as shelf.toml holds it."""
        return Decimal(repr(round(self.strength, 3)))


def bottle(
    curves: Curves,
    settings: ShelfSettings,
    recipe: Recipe,
    readings: Sequence[ReadingLike],
    *,
    toner: str | None = None,
    light: Light | None = None,
    sprayed: Number | None = None,
    same_panel: bool = False,
) -> Bottle:
    """Work out how strong a new bottle is.

    Parameters
    ----------
    curves, settings
        The shelf, its curves at the strengths in use.
    recipe
        What was mixed from the bottle and sprayed.
    readings
        CIELAB of panels of it, under cured clear: triples or text, see
        `fewtone.workshop.panel.readings`.
    toner
        Whose bottle is new; may be None where the recipe has one toner.
    light
        The readings' illuminant and observer; the shelf's own if None.
    sprayed
        Coats of the panels, where they are not the recipe's.
    same_panel
        The readings are of one panel, repeated or at its steps, and not each of a panel of its own.

    Raises
    ------
    UsageError
        A name or a reading cannot be used, or it is not said which bottle is new.
    """
    require_names(recipe, settings)
    name = _toner(recipe, settings, toner)
    panels = tuple(read_panel(readings, recipe, sprayed))
    under = light or settings.measurement.light
    in_use = float(settings.toners[name].strength)
    learnt = curves.with_strengths({name: 1.0 / in_use})
    which = [0] * len(panels) if same_panel else list(range(len(panels)))
    model = StrengthModel.of(learnt, settings, recipe, name, panels, which, under)
    explanation = model.explain(0.0, BOTTLE_SD)
    unchanged = model.explain(float(np.log(in_use)), 0.0)
    anything = model.explain(0.0, _ANY_SD)
    more = StrengthModel.of(
        learnt, settings, recipe, name, (*panels, panels[-1]), [*which, max(which) + 1], under
    )
    log_strength, sd = float(explanation.parameters[0]), explanation.sd(0)
    strength, change = float(np.exp(log_strength)), float(log_strength - np.log(in_use))
    off = float(model.log_dose_change(explanation.parameters) - np.log(in_use))
    any_log_strength = float(anything.parameters[0])
    # One parameter is the strength, whose prior hardly matters here.
    residual = float(np.sqrt(anything.cost / (3 * len(panels) - 1)))
    odds = float(np.clip(explanation.log_evidence - unchanged.log_evidence, -700.0, 700.0))
    chance = 1.0 / (1.0 + float(np.exp(odds)))
    far = abs(any_log_strength) / float(np.hypot(BOTTLE_SD, anything.sd(0)))
    verdict, why = _judge(name, chance, residual, far, float(np.exp(any_log_strength)))
    return Bottle(
        toner=name,
        recipe=recipe,
        light=under,
        readings=panels,
        strength=strength,
        strength_sd=strength * sd,
        in_use=in_use,
        hand_chance=chance,
        deviation=float(np.expm1(off)),
        bottle_part=float(np.expm1(change)),
        de00_before=model.panels.mean_de00(model.at(float(np.log(in_use)))),
        de00_after=model.panels.mean_de00(model.at(log_strength)),
        de00_left=model.panels.mean_de00(explanation.parameters),
        next_sd=strength * more.explain(0.0, BOTTLE_SD).sd(0),
        verdict=verdict,
        why=tuple(why),
        cautions=(*stock_cautions(recipe.blend, settings), *_cautions(curves, name, sd)),
    )


def apply_bottle(answer: Bottle, folder: Path) -> Bottle:
    """Write a bottle's strength into shelf.toml; return it as applied.

    Parameters
    ----------
    answer
        What `bottle` found.
    folder
        The shelf's folder.

    Raises
    ------
    FewtoneError
        The deviation is not credible, or shelf.toml cannot be written to.
    """
    require_credible(answer)
    write_strength(folder, answer.toner, answer.written)
    return replace(answer, applied=True)


def require_credible(answer: Bottle) -> None:
    """Refuse to write a strength that the readings do not bear out.

    Raises
    ------
    FewtoneError
        Another mixture, or the hand alone, explains them better.
    """
    if (
        answer.verdict in (Verdict.UNCLEAR, Verdict.DIFFERS)
        or float(answer.written) == answer.in_use
    ):
        return
    fix = "Spray another panel from this bottle and give its reading too (`readings`)"
    if answer.verdict is Verdict.SAME:
        fix += f", or write strength = {answer.written} under [toners.{answer.toner}] yourself"
    raise FewtoneError(
        Fault(
            f"{answer.strength:.2f} ± {answer.strength_sd:.2f} is not a credible strength of "
            f"{answer.toner}, so nothing was written. {' '.join(answer.why)}",
            fix=f"{fix}.",
            value=str(answer.written),
        )
    )


def _toner(recipe: Recipe, settings: ShelfSettings, toner: str | None) -> str:
    names = tuple(recipe.blend)
    if recipe.coats == 0 or not names:
        raise UsageError(
            Fault(
                "A panel without a toner's coat says nothing of a bottle.",
                fix='Give the recipe of the panel, such as "marigold, 6:1, 4 coats over silver".',
                value=str(recipe),
            )
        )
    if toner is None:
        if len(names) == 1:
            return names[0]
        raise UsageError(
            Fault(
                f"The recipe has {len(names)} toners: which bottle is new?",
                fix=f"Name it (`toner`), such as {names[0]}, or spray the new toner alone.",
                value=str(recipe),
            )
        )
    if toner in names:
        return toner
    fix = "Name the toner of the recipe whose bottle is new."
    if toner not in settings.toners:
        raise UsageError(settings.toner_names.fault(toner, fix=fix))
    message = f"'{toner}' is not in the recipe, which has {', '.join(names)}."
    raise UsageError(Fault(message, fix=fix, value=toner))


def _judge(
    name: str, chance: float, reduced_residual: float, far: float, anything: float
) -> tuple[Verdict, list[str]]:
    if reduced_residual > _OTHER_COLOUR:
        return Verdict.OTHER, [
            f"No strength of {name} gives this colour: it differs in hue. The bottle holds another "
            "mixture, or the panel is of another recipe, ground or number of coats: check them, "
            "and if they are right spray the bottle out anew."
        ]
    if chance >= _CREDIBLE:
        return Verdict.SAME, [
            f"The hand alone explains it (chance {chance:.0%}): keep the strength as it is."
        ]
    if far > _OTHER_STRENGTH:
        return Verdict.OTHER, [
            f"It would have to be {anything:.2f} times as strong, and bottles of one toner hardly "
            "ever differ so much: check coats, letdown, ground and recipe, and if they are right "
            "spray the bottle out anew."
        ]
    if chance > _CLEAR:
        return Verdict.UNCLEAR, [
            f"The bottle most likely differs, but the hand alone may explain it too (chance "
            f"{chance:.0%})."
        ]
    return Verdict.DIFFERS, [
        f"The bottle differs: that the hand alone explains it has a chance of {_small(chance)}."
    ]


def _small(chance: float) -> str:
    return f"{chance:.0%}" if chance >= 0.01 else "less than 1%"


def _cautions(curves: Curves, name: str, sd: float) -> list[str]:
    cautions = []
    if curves.uncertainty is None:
        cautions.append(
            "How sure the curves are is not known here, so a usual figure is taken: run "
            "`fewtone learn` to have it worked out."
        )
    if sd > _UNINFORMATIVE * BOTTLE_SD:
        cautions.append(
            f"This recipe says next to nothing of {name}: spray it alone, at a middling depth."
        )
    return cautions
