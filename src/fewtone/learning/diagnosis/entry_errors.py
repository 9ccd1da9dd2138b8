"""Entry errors: what a panel's readings may have been meant to be.

Each hypothesis is the panel's readings as they would stand in the file without that error. Which of
them is likely is for others to judge (`fewtone.learning.diagnosis.hypotheses`).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from itertools import combinations, pairwise
from types import MappingProxyType

from fewtone.colorimetry import Light
from fewtone.model.blend import Blend, Number
from fewtone.model.readings import Reading
from fewtone.typing import FloatArray, frozen

__all__ = ["Cell", "Hypothesis", "as_labelled", "label_errors", "number_errors", "scale_errors"]

# Minus the natural logarithm of an error's prior odds: a coat miscounted by one is the commonest of
# all, and vaguer hypotheses need more to be believed (common practice, no source; the booth's
# errors are told apart by far more than this).
_MISCOUNT, _FAR_MISCOUNT, _FILM, _MISNAMED, _MISTYPED, _MISSCALED, _VAGUE = 1, 2.5, 5, 1.5, 2, 2, 5
_LETDOWN = 1.5
_MOST_COATS = 8
_FILM_FACTORS = (0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.1, 1.2, 1.3, 1.45, 1.6, 1.8, 2.0, 2.5, 3.0)
_SHIFTS = (0.01, 0.1, 10.0, 100.0)


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """What may have happened to a panel.

    Parameters
    ----------
    words
        To stand behind the panel's id.
    items
        The readings as they should then stand in the file.
    prior_cost
        Minus the natural logarithm of its prior odds [1].
    specific
        Whether it names one definite error, not just how far off the panel is.
    tolerant
        Whether what then stands there fits roughly only: most of what was off must be gone.
    """

    words: str
    items: tuple[Reading, ...]
    prior_cost: float
    specific: bool = True
    tolerant: bool = False


@dataclass(frozen=True, slots=True)
class Cell:
    """One number of a reading, as it stands in the file.

    Parameters
    ----------
    reading
        Which of the panel's readings.
    column
        Title of its column.
    position
        Its position in the reading's spectrum, or in its Lab under `light`.
    light
        None for a spectrum.
    fitting
        The value that would fit, in the file's units.
    decimals, scale
        Decimals that the file has, and what a spectral value was divided by.
    """

    reading: int
    column: str
    position: int
    light: Light | None
    fitting: float
    decimals: int
    scale: float

    def text(self, items: Sequence[Reading]) -> str:
        """How it was written."""
        item = items[self.reading]
        if self.light is None:
            assert item.reflectance is not None
            value = float(item.reflectance[self.position]) * self.scale
        else:
            value = (item.lab or {})[self.light][self.position]
        return f"{value:.{self.decimals}f}"

    def edited(self, items: Sequence[Reading], value: float) -> tuple[Reading, ...]:
        """The readings with another value in this cell.

        Parameters
        ----------
        items
            The readings of a panel.
        value
            What is to stand in the cell, in its unit.
        """
        item = items[self.reading]
        if self.light is None:
            assert item.reflectance is not None
            spectrum = item.reflectance.copy()
            spectrum[self.position] = value / self.scale
            return _with(items, self.reading, replace(item, reflectance=frozen(spectrum)))
        values = list((item.lab or {})[self.light])
        values[self.position] = value
        return _with(items, self.reading, _with_lab(item, self.light, values))


def as_labelled(label: Sequence[Reading], items: Sequence[Reading]) -> tuple[Reading, ...]:
    """These readings under the labels of others."""
    return tuple(
        replace(
            item,
            ground=other.ground,
            blend=other.blend,
            medium_parts=other.medium_parts,
            coats=other.coats,
            thinning=other.thinning,
        )
        for other, item in zip(label, items, strict=True)
    )


def label_errors(
    items: tuple[Reading, ...],
    toners: Sequence[str],
    grounds: Sequence[str],
    letdowns: Sequence[Number],
) -> Iterator[Hypothesis]:
    """What may be wrong with coats, ground, letdown or blend as written down.

    `letdowns` are those that the shop uses, parts of medium.

    Parameters
    ----------
    items
        The readings of a panel.
    toners, grounds
        Names of those that are known.
    letdowns
        Those that the shop uses, parts of medium to one of blend.
    """
    yield from _ground_errors(items, grounds)
    if all(item.is_bare for item in items):
        return
    yield from _coat_errors(items)
    for factor in _FILM_FACTORS:
        thick = [replace(item, coats=Decimal(str(factor)) * item.coats) for item in items]
        yield Hypothesis(
            f"reads like a film about {factor:g} times as thick",
            tuple(thick),
            _FILM,
            specific=False,
        )
    film = next(item for item in items if not item.is_bare)
    blend, letdown = film.blend, film.medium_parts
    for medium in letdowns:
        if medium != letdown:
            yield Hypothesis(
                f"reads like a letdown of {medium:g}:1, not {letdown:g}:1",
                tuple(i if i.is_bare else replace(i, medium_parts=medium) for i in items),
                _LETDOWN + math.log(len(letdowns)),
            )
    others = list(_other_blends(blend, toners))
    for other in others:
        yield Hypothesis(
            f"reads like {_name(other)}, not {_name(blend)}",
            tuple(item if item.is_bare else replace(item, blend=other) for item in items),
            _MISNAMED + math.log(len(others)),
        )


def number_errors(items: tuple[Reading, ...], cell: Cell, tried: int) -> Iterator[Hypothesis]:
    """What may be wrong with one number; `tried` is how many numbers it is the worst of.

    Parameters
    ----------
    items
        The readings of a panel.
    cell
        Which number.
    tried
        How many numbers it is the worst of.
    """
    row, text = items[cell.reading].row, cell.text(items)
    where = f"row {row}, column {cell.column}"
    prior_cost = _MISTYPED + math.log(tried)
    typed = _mistyped(text, signed=cell.light is not None and cell.position > 0)
    for value, how in typed.items():
        yield Hypothesis(
            f"has a slip in {where}: {value} would fit, not {text} ({how})",
            cell.edited(items, float(value)),
            prior_cost + math.log(list(typed.values()).count(how)),
        )
    yield Hypothesis(
        f"has one number that does not fit in {where}: {text}, where about "
        f"{cell.fitting:.{cell.decimals}f} would",
        cell.edited(items, cell.fitting),
        prior_cost + _VAGUE,
        specific=False,
    )


def scale_errors(items: tuple[Reading, ...], gains: Mapping[int, float]) -> Iterator[Hypothesis]:
    """What may be wrong with the scale of whole rows.

    `gains` are by how much each spectral reading is too high, judged by what was expected.

    Parameters
    ----------
    items
        The readings of a panel.
    gains
        By which factor each spectral reading is too high, judged by what was expected, by its
        position.
    """
    for k, item in enumerate(items):
        prior_cost = _MISSCALED + math.log(len(items))
        if item.reflectance is None:
            lab = item.lab or {}
            for shift in _SHIFTS:
                values = {light: _scaled_lab(lab[light], shift) for light in lab}
                yield Hypothesis(
                    f"has a misplaced decimal point throughout row {item.row}: {_times(shift)}",
                    _with(items, k, replace(item, lab=MappingProxyType(values))),
                    prior_cost,
                )
            if len(lab) == 2:
                (one, first), (other, second) = lab.items()
                swapped = MappingProxyType({one: second, other: first})
                yield Hypothesis(
                    f"reads as if {one} and {other} were exchanged in row {item.row}",
                    _with(items, k, replace(item, lab=swapped)),
                    prior_cost,
                )
            for light, (lightness, a, b) in lab.items():
                yield Hypothesis(
                    f"reads as if a and b were exchanged in row {item.row}",
                    _with(items, k, _with_lab(item, light, [lightness, b, a])),
                    prior_cost,
                )
            continue
        for shift in _SHIFTS:
            yield Hypothesis(
                f"is on another scale in row {item.row}: {_times(shift)}",
                _with(items, k, _scaled(item, item.reflectance / shift)),
                prior_cost,
            )
        gain = gains[k]
        yield Hypothesis(
            f"reads {gain:.3g} times as high as it should throughout row {item.row}, as from a "
            "badly calibrated instrument",
            _with(items, k, _scaled(item, item.reflectance / gain)),
            prior_cost + _VAGUE,
        )


def _ground_errors(items: tuple[Reading, ...], grounds: Sequence[str]) -> Iterator[Hypothesis]:
    prior_cost = _MISNAMED + math.log(max(len(grounds) - 1, 1))
    for ground in grounds:
        if any(item.ground != ground for item in items):
            here = " and ".join(dict.fromkeys(item.ground for item in items))
            over = tuple(replace(item, ground=ground) for item in items)
            yield Hypothesis(f"reads as if over {ground}, not {here}", over, prior_cost)
        for k, item in enumerate(items):
            if len(items) > 1 and item.ground != ground:
                yield Hypothesis(
                    f"reads in row {item.row} as if over {ground}, not {item.ground}",
                    _with(items, k, replace(item, ground=ground)),
                    prior_cost + math.log(len(items)),
                )


def _coat_errors(items: tuple[Reading, ...]) -> Iterator[Hypothesis]:
    most = max(_MOST_COATS, *(math.ceil(item.coats) + 2 for item in items))
    films = [k for k, item in enumerate(items) if not item.is_bare]
    if len({items[k].coats for k in films}) > 1:
        for shift in (-2, -1, 1, 2):
            moved = [
                item if item.is_bare else replace(item, coats=max(item.coats + shift, 0))
                for item in items
            ]
            many = f"{abs(shift)} coat{'s' if abs(shift) > 1 else ''}"
            yield Hypothesis(
                f"reads as if every step had {many} {'more' if shift > 0 else 'less'} than written",
                tuple(moved),
                _MISCOUNT + abs(shift),
            )
        for one, other in combinations(films, 2):
            pair = list(items)
            pair[one] = replace(items[one], coats=items[other].coats)
            pair[other] = replace(items[other], coats=items[one].coats)
            yield Hypothesis(
                f"has two steps exchanged: rows {items[one].row} and {items[other].row} read like "
                "each other's",
                tuple(pair),
                _FAR_MISCOUNT + math.log(len(films)),
            )
    for coats in range(most + 1):
        for k in films:
            item = items[k]
            if coats == item.coats:
                continue
            prior_cost = _MISCOUNT if abs(coats - item.coats) == 1 else _FAR_MISCOUNT
            words = "no colour at all" if coats == 0 else _coats(coats)
            where = f" in row {item.row}" if len(items) > 1 else ""
            yield Hypothesis(
                f"reads{where} like {words}, not {_coats(item.coats)}",
                _with(items, k, replace(item, coats=coats)),
                prior_cost + math.log(len(films)),
            )


def _other_blends(blend: Blend, toners: Sequence[str]) -> Iterator[Blend]:
    for one, other in combinations(blend, 2):
        if blend[one] != blend[other]:
            yield Blend({**blend, one: blend[other], other: blend[one]})
    for gone in blend:
        for other in toners:
            if other not in blend:
                yield Blend({other if n == gone else n: p for n, p in blend.items()})


def _mistyped(text: str, *, signed: bool) -> dict[str, str]:
    """What may have been meant, and what then went wrong."""
    sign, digits = ("-", text[1:]) if text.startswith("-") else ("", text)
    ways: dict[str, str] = {}
    if signed:
        ways[digits if sign else "-" + digits] = "the sign"
    digits_at = [i for i, character in enumerate(digits) if character.isdigit()]
    for i, j in pairwise(digits_at):
        turned = list(digits)
        turned[i], turned[j] = turned[j], turned[i]
        ways.setdefault(sign + "".join(turned), "two digits exchanged")
    for shift in (-2, -1, 1, 2):
        moved = f"{Decimal(text).scaleb(shift):f}"
        ways.setdefault(moved, "the decimal point")
    for i in digits_at:
        for digit in "0123456789":
            ways.setdefault(sign + digits[:i] + digit + digits[i + 1 :], "one digit")
    return {value: how for value, how in ways.items() if float(value) != float(text)}


def _with(items: Sequence[Reading], row: int, item: Reading) -> tuple[Reading, ...]:
    return (*items[:row], item, *items[row + 1 :])


def _with_lab(item: Reading, light: Light, values: Sequence[float]) -> Reading:
    lightness, a, b = values
    return replace(item, lab=MappingProxyType({**(item.lab or {}), light: (lightness, a, b)}))


def _scaled(item: Reading, spectrum: FloatArray) -> Reading:
    return replace(item, reflectance=frozen(spectrum))


def _scaled_lab(lab: tuple[float, float, float], shift: float) -> tuple[float, float, float]:
    return lab[0] / shift, lab[1] / shift, lab[2] / shift


def _times(shift: float) -> str:
    return f"it is {shift:g} times too high" if shift > 1 else f"it is {1 / shift:g} times too low"


def _coats(coats: Number) -> str:
    return "1 coat" if coats == 1 else f"{coats:g} coats"


def _name(blend: Blend) -> str:
    return next(iter(blend)) if len(blend) == 1 else str(blend)
