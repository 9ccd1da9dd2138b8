"""What the shelf can make: over each ground, at each lightness, the outline in the plane of a*, b*.

Model
    Blends of one, two and three toners are followed from the thinnest film of the shop's coats and
    letdowns to the thickest, and cut at a lightness; films between those of whole coats and
    letdowns count as made. The outline of what is found there is star-shaped: from its middle, how
    far the colours go in each of `SECTORS` directions. Keyed grounds are every pair of the grounds
    in whole parts, predicted where they were not read.

Validity
    A map, not a proof: `match` answers for one colour exactly. Two toners go in all whole parts,
    three in parts of 1 and 2 alone, so an outline lies inside the true one by what is left.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from fewtone.colorimetry import Light
from fewtone.errors import Fault, UsageError
from fewtone.model.curves import Curves
from fewtone.model.target import Target
from fewtone.prediction.forward import lab_of, reflectance
from fewtone.prediction.keyed import with_keyed
from fewtone.recipes.lattice import Lattice, ratios_of
from fewtone.recipes.rules import Rules
from fewtone.typing import BoolArray, FloatArray, frozen

__all__ = ["LEVELS", "SECTORS", "GroundReach", "Outline", "Placed", "Reach", "reach"]

LEVELS = tuple(float(level) for level in range(10, 100, 10))
"""The L* at which outlines are told."""
SECTORS = 48
_FEWEST = 3  # colours at a lightness that make an outline
_FINE = 2.5  # L*, to which a target's or swatch's own lightness is rounded
# With more toners than this, three of them go in equal parts alone.
_MANY_TONERS = 16
_BLOCK = 2048
_TURNS = 2.0 * np.pi * np.arange(SECTORS) / SECTORS
_DIRECTIONS = np.stack([np.cos(_TURNS), np.sin(_TURNS)], axis=1)
_WIDE = np.radians(15.0)


@dataclass(frozen=True, slots=True, eq=False)
class Outline:
    """What is made at one lightness: corners of a closed line in a*, b*, shape ``(n, 2)``."""

    lightness: float
    corners: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class GroundReach:
    """What is made over one ground.

    Parameters
    ----------
    ground
        Its name.
    keyed
        Whether it is a mix of grounds.
    lightest, darkest
        L* of the lightest and of the darkest film.
    outlines
        At each of `LEVELS` at which there is one.
    """

    ground: str
    keyed: bool
    lightest: float
    darkest: float
    outlines: tuple[Outline, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Placed:
    """A target or swatch, and the grounds over which it lies within the outline."""

    target: Target
    grounds: tuple[str, ...]

    @property
    def is_inside(self) -> bool:
        """Whether it lies within any."""
        return bool(self.grounds)


@dataclass(frozen=True, slots=True, eq=False)
class Reach:
    """What the shelf can make.

    Parameters
    ----------
    light
        Illuminant and observer of all of it.
    grounds
        Grounds alone first, then keyed ones.
    target
        What was asked for, if anything.
    swatches
        Those of a deck, in its order; none where no deck was given.
    """

    light: Light
    grounds: tuple[GroundReach, ...]
    target: Placed | None
    swatches: tuple[Placed, ...]


def reach(
    curves: Curves,
    rules: Rules,
    light: Light,
    *,
    target: Target | None = None,
    swatches: Sequence[Target] = (),
) -> Reach:
    """Find what the shelf can make.

    Parameters
    ----------
    curves
        The learnt shelf.
    rules
        Toners, grounds (keyed ones too, where they are asked for), letdowns and coats.
    light
        Illuminant and observer.
    target, swatches
        To be placed; in that light.

    Raises
    ------
    UsageError
        A target or swatch is in another light, or no ground of the rules is learnt.
    """
    others: dict[Light, list[str]] = {}
    for each in (*([target] if target else []), *swatches):
        if each.light != light:
            others.setdefault(each.light, []).append(each.request)
    strange = [
        Fault(
            f"This colour is in {other}, the reach in {light}."
            if len(named) == 1
            else f"{len(named)} colours are in {other}, the reach in {light}.",
            fix="Ask for the reach in the light that the colour is in (`light`).",
            value=named[0] if len(named) == 1 else f"{named[0]} …",
        )
        for other, named in others.items()
    ]
    curves = with_keyed(curves, (*rules.grounds, *rules.keyed))
    grounds = [name for name in (*rules.grounds, *rules.keyed) if name in curves.grounds]
    if not grounds and not strange:
        strange = [Fault("None of these grounds is learnt.", fix="Read them bare and learn.")]
    if strange:
        raise UsageError(*strange)
    wanted = [*([target] if target else []), *swatches]
    levels = sorted({*LEVELS, *(_level_of(each) for each in wanted)})
    blends, loads = _blends(curves, rules), Lattice.of(rules, curves.strength).load_values
    over_grounds: list[GroundReach] = []
    over: list[list[str]] = [[] for _ in wanted]
    for name in grounds:
        labs = _films(curves, blends, loads, name, light)
        outlines = dict(_outlines(labs, levels))
        over_grounds.append(
            GroundReach(
                name,
                name not in rules.grounds,
                float(labs[..., 0].max()),
                float(labs[..., 0].min()),
                tuple(Outline(level, outlines[level]) for level in LEVELS if level in outlines),
            )
        )
        for position, each in enumerate(wanted):
            corners = outlines.get(_level_of(each))
            if corners is not None and _inside(each.lab[1:], corners):
                over[position].append(name)
    placed = [Placed(each, tuple(names)) for each, names in zip(wanted, over, strict=True)]
    first = placed[0] if target else None
    return Reach(light, tuple(over_grounds), first, tuple(placed[1:] if target else placed))


def _level_of(target: Target) -> float:
    return round(target.lab[0] / _FINE) * _FINE


def _blends(curves: Curves, rules: Rules) -> FloatArray:
    """Fractions of blends of few toners over all learnt ones, ``(n_blends, n_toners)``."""
    toners = tuple(name for name in rules.toners if name in curves.toners)
    columns = np.array([curves.toners.index(name) for name in toners], dtype=np.int64)
    rows = []
    for size in range(1, min(3, rules.max_toners, len(toners)) + 1):
        supports = np.array(list(_supports(len(toners), size)), dtype=np.int64)
        most = rules.max_part if size < 3 else 2 if len(toners) <= _MANY_TONERS else 1
        for parts in ratios_of(size, min(most, rules.max_part)):
            shares = np.zeros((len(supports), len(curves.toners)))
            np.put_along_axis(shares, columns[supports], parts / parts.sum(), axis=1)
            rows.append(shares)
    if not rows:
        raise UsageError(Fault("None of these toners is learnt.", fix="Read them and learn."))
    return np.concatenate(rows)


def _supports(count: int, size: int) -> Iterable[tuple[int, ...]]:
    from itertools import combinations

    return combinations(range(count), size)


def _films(
    curves: Curves, blends: FloatArray, loads: FloatArray, ground: str, light: Light
) -> FloatArray:
    """CIELAB of every blend at every load, ``(n_blends, n_loads, 3)``."""
    row = np.asarray(curves.grounds.index(ground))
    parts = []
    step = max(1, _BLOCK // len(loads))
    for start in range(0, len(blends), step):
        doses = blends[start : start + step, np.newaxis] * loads[:, np.newaxis]
        parts.append(lab_of(curves, reflectance(curves, doses, row), light))
    return np.concatenate(parts)


def _outlines(labs: FloatArray, levels: Sequence[float]) -> Iterator[tuple[float, FloatArray]]:
    """The outline at each lightness that enough films pass through."""
    before, after = labs[:, :-1], labs[:, 1:]
    for level in levels:
        passes = (before[..., 0] >= level) & (after[..., 0] < level)
        one, other = before[passes], after[passes]
        if len(one) < _FEWEST:
            continue
        share = (one[:, 0] - level) / (one[:, 0] - other[:, 0])
        corners = _around(one[:, 1:] + share[:, np.newaxis] * (other - one)[:, 1:])
        if len(corners) >= _FEWEST:
            yield level, frozen(corners)


def _around(colours: FloatArray) -> FloatArray:
    """How far the colours go from their middle in each direction that holds some, in turn.

    In a direction counts what lies within `_WIDE` of it, as far as it goes along it: a gap between
    two blends is no notch.
    """
    middle = colours.mean(axis=0)
    off = colours - middle
    along = off @ _DIRECTIONS.T
    near = along >= np.cos(_WIDE) * np.hypot(off[:, :1], off[:, 1:])
    farthest = np.where(near, along, -np.inf).max(axis=0)
    holds = np.isfinite(farthest)
    return np.asarray(middle + farthest[holds, np.newaxis] * _DIRECTIONS[holds])


def _inside(point: Sequence[float], corners: FloatArray) -> bool:
    """Whether a point lies within a closed line: a ray from it crosses it oddly often."""
    x, y = point
    ends = np.roll(corners, -1, axis=0)
    crosses: BoolArray = (corners[:, 1] > y) != (ends[:, 1] > y)
    one, other = corners[crosses], ends[crosses]
    at = one[:, 0] + (y - one[:, 1]) / (other[:, 1] - one[:, 1]) * (other[:, 0] - one[:, 0])
    return bool(np.count_nonzero(at > x) % 2)
