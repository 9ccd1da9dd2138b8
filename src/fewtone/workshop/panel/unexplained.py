"""Readings that no gun, hand or bottle explains, and what they may be instead."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from itertools import permutations

from fewtone.colorimetry import Light
from fewtone.errors import Fault, FewtoneError
from fewtone.model.curves import Curves
from fewtone.model.shelf import ShelfSettings
from fewtone.workshop.panel.posterior import Posterior, SprayedPanel, infer_posterior

__all__ = ["explained_posterior"]

# Beyond this many standard deviations per coordinate (root mean square) no gun, hand or bottle
# explains a reading; what it may be instead is named where it lies below the second figure, or, if
# nothing does, where it is the likeliest and lies below the first.
_UNEXPLAINED, _EXPLAINED = 3.0, 1.5

Lab = tuple[float, float, float]


def explained_posterior(
    curves: Curves, settings: ShelfSettings, panels: Sequence[SprayedPanel], light: Light
) -> tuple[Posterior, list[str]]:
    """What the panels of a job told, as far as gun, hand and bottles explain them.

    Parameters
    ----------
    curves, settings
        The learnt shelf.
    panels, light
        The panels of the job, and their readings' light.

    Returns
    -------
    The posterior, and cautions: where the earlier panels contradict the last, it speaks alone.

    Raises
    ------
    FewtoneError
        Nothing explains the readings of a panel.
    """
    posterior = infer_posterior(curves, settings, panels, light)
    if posterior.reduced_residual <= _UNEXPLAINED:
        return posterior, []

    def alone(panel: SprayedPanel) -> Posterior:
        return infer_posterior(curves, settings, [panel], light)

    faults = [
        _fault(panel, list(_instead(curves, panel, lambda each: alone(each).reduced_residual)))
        for panel in reversed(panels)
        if alone(panel).reduced_residual > _UNEXPLAINED
    ]
    if faults:
        raise FewtoneError(*faults)
    return alone(panels[-1]), [
        "No gun, hand or bottle explains the earlier panels together with the last: it alone is "
        "gone by. Check that each reading stands with the recipe that its panel was sprayed with."
    ]


def _fault(panel: SprayedPanel, instead: list[str]) -> Fault:
    read = ", ".join(f"{value:.2f}" for value in panel.depths[-1].lab)
    message = f"No gun, hand or bottle explains this reading of {panel.recipe}."
    if instead:
        message += f" It reads like {' or like '.join(instead)}."
    return Fault(
        message,
        fix="Check the reading's signs and the order L, a, b, and that it is this recipe's panel, "
        "coats and ground; then read it again.",
        value=read,
    )


def _instead(
    curves: Curves, panel: SprayedPanel, residual: Callable[[SprayedPanel], float]
) -> Iterator[str]:
    """What the panel's readings may be instead, the likeliest first."""
    likelier: list[tuple[float, str]] = []
    for words, changed in _entry_errors():
        labs = [changed(depth.lab) for depth in panel.depths]
        if all(lab[0] >= 0.0 for lab in labs):
            depths = tuple(
                replace(depth, lab=lab) for depth, lab in zip(panel.depths, labs, strict=True)
            )
            likelier.append((residual(replace(panel, depths=depths)), words))
    for name in curves.grounds:
        if name != panel.recipe.ground:
            other = replace(panel, recipe=panel.recipe.with_(ground=name))
            likelier.append((residual(other), f"the mix over {name}"))
    for rank, (off, words) in enumerate(sorted(likelier)):
        if off < _EXPLAINED or (rank == 0 and off < _UNEXPLAINED):
            yield words


def _entry_errors() -> Iterator[tuple[str, Callable[[Lab], Lab]]]:
    """Ways in which a triple may have been written down wrong, in words and as what undoes them."""
    yield "this panel with the sign of a lost", lambda lab: (lab[0], -lab[1], lab[2])
    yield "this panel with the sign of b lost", lambda lab: (lab[0], lab[1], -lab[2])
    yield "this panel with the signs of a and b lost", lambda lab: (lab[0], -lab[1], -lab[2])
    for order in permutations(range(3)):
        if order != (0, 1, 2):
            # Column i of what was written is the coordinate that stood for it.
            written = ", ".join("Lab"[order.index(position)] for position in range(3))
            yield f"this panel written as {written}", _reordered(order)


def _reordered(order: tuple[int, ...]) -> Callable[[Lab], Lab]:
    return lambda lab: (lab[order[0]], lab[order[1]], lab[order[2]])
