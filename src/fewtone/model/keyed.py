"""A keyed ground: opaque grounds mixed in whole parts, wherever a ground stands.

`2 silver + 1 moss` is two parts of silver to one of moss by volume. It is printed in lowest terms,
falling parts, then by name, and parses back to itself; a recipe, a reading and all tables of
grounds hold it as that text, so that a keyed ground that was read is a ground like any other.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from fractions import Fraction

from fewtone.errors import Fault, FewtoneError, UsageError
from fewtone.model.blend import LARGEST, Blend, Number, exact_number
from fewtone.model.names import NAME, NAME_RULE, RESERVED, Names
from fewtone.model.numbers import decimal_from

__all__ = ["GroundNames", "KeyedGround", "parents_of"]

_PATTERN = "The pattern is: 2 silver + 1 moss"
_PART = re.compile(r"([0-9]+(?:[.,][0-9]+)?)\s*(?=[^\W\d_])")
_MOST_GROUNDS = 20  # in one mix: nobody pours more


@dataclass(frozen=True, slots=True, init=False)
class KeyedGround:
    """Opaque grounds in whole parts by volume.

    Parameters
    ----------
    parts
        Whole parts of each ground, more than 0; two grounds or more. Kept in lowest terms, falling
        parts, then by name.

    Raises
    ------
    FewtoneError
        One ground alone, or parts that are not whole or not more than 0.

    Examples
    --------
    >>> str(KeyedGround({"moss": 2, "silver": 4}))
    '2 silver + 1 moss'
    """

    parts: Blend

    def __init__(self, parts: Mapping[str, Number]) -> None:
        faults = [fault for name, part in parts.items() if (fault := _part_fault(name, part))]
        if len(parts) == 1:
            (name,) = parts
            faults.append(
                Fault(
                    f"A keyed ground is a mix of two grounds or more; here is {name} alone.",
                    fix=f"Write {name} without parts, or what it is mixed with: {_PATTERN[16:]}",
                )
            )
        if len(parts) > _MOST_GROUNDS:
            faults.append(Fault(f"A keyed ground has at most {_MOST_GROUNDS} grounds."))
        if faults or not parts:
            raise FewtoneError(*(faults or [Fault("A keyed ground names no ground.")]))
        object.__setattr__(self, "parts", Blend(parts))

    @classmethod
    def parse(cls, text: str, grounds: Names | None = None) -> KeyedGround:
        """Read a keyed ground, such as ``2 silver + 1 moss``; a ground without a number is 1 part.

        Parameters
        ----------
        text
            What was written.
        grounds
            The grounds that there are, to be found by name or label; any names without them.

        Raises
        ------
        UsageError
            All that is wrong with it, with the nearest name for one that is not known.
        """
        faults: list[Fault] = []
        parts: dict[str, Number] = {}
        pieces = text.split("+")
        for piece in pieces[: _MOST_GROUNDS + 1]:
            named = _piece(piece, grounds, faults)
            if named is None:
                continue
            name, part = named
            if name in parts:
                faults.append(
                    Fault(
                        f"'{name}' stands in this ground twice: a ground is not keyed with itself.",
                        fix="Name each ground once, with all its parts.",
                    )
                )
            parts[name] = part
        if not faults:
            try:
                return cls(parts)
            except FewtoneError as error:
                faults += error.faults
        raise UsageError(
            *(Fault(fault.message, fix=fault.fix or _PATTERN, value=text) for fault in faults)
        )

    @property
    def fractions(self) -> dict[str, Fraction]:
        """Each ground's share of the mix by volume, exact; together 1."""
        return self.parts.fractions

    def __str__(self) -> str:
        return str(self.parts)


def parents_of(ground: str) -> tuple[str, ...]:
    """The grounds that a ground is mixed of: itself alone if it is not keyed.

    Parameters
    ----------
    ground
        A ground's text, ``silver`` or ``2 silver + 1 moss``.

    Raises
    ------
    UsageError
        The text of a keyed ground does not read as one.
    """
    return tuple(KeyedGround.parse(ground).parts) if "+" in ground else (ground,)


@dataclass(frozen=True, slots=True)
class GroundNames(Names):
    """Names of grounds, of which any keyed mix is a ground too."""

    def find(self, text: str) -> str | None:
        """The ground that is meant, by name, label or as a mix; None where there is none.

        Parameters
        ----------
        text
            As it was typed.
        """
        plain = Names.find(self, text)
        if plain is not None or not _reads_as_mix(text):
            return plain
        try:
            return str(KeyedGround.parse(text, self))
        except FewtoneError:
            return None

    def fault(self, text: str, *, where: str = "", fix: str | None = None) -> Fault:
        """What to say of a ground that `find` does not know.

        Parameters
        ----------
        text
            As it was typed.
        where
            What stands before the message, such as the option.
        fix
            How to mend it; a list of what there is if None.
        """
        if _reads_as_mix(text):
            try:
                KeyedGround.parse(text, self)
            except FewtoneError as error:
                original = error.faults[0]
                return Fault(f"{where}{original.message}", fix=original.fix, value=text)
        return Names.fault(self, text, where=where, fix=fix)

    def __contains__(self, ground: object) -> bool:
        return isinstance(ground, str) and self.find(ground) == ground


def _reads_as_mix(text: str) -> bool:
    return "+" in text or bool(_PART.match(text.strip()))


def _piece(piece: str, grounds: Names | None, faults: list[Fault]) -> tuple[str, Number] | None:
    """One ground of a mix and its parts; None where there is a fault, which is noted."""
    text = piece.strip()
    find: Callable[[str], str | None] = _any_name
    if grounds is not None:
        find = lambda name: Names.find(grounds, name)  # noqa: E731 - of plain grounds alone
    if (whole := find(text)) is not None:
        return whole, 1
    number = _PART.match(text)
    written = text[number.end() :].strip() if number else text
    if not written:
        faults.append(Fault(f"A ground's name ({NAME_RULE}) is missing beside a '+'."))
        return None
    name = find(written)
    if name is None:
        if grounds is None:
            faults.append(Fault(f"'{written}' is no name of a ground ({NAME_RULE})."))
        else:
            known = Names.fault(grounds, written)
            faults.append(Fault(known.message, fix=known.fix))
        return None
    part = decimal_from(number[1]) if number else 1
    if part is None:
        faults.append(Fault(f"The parts of {name} have too many digits."))
        return None
    fault = _part_fault(name, exact_number(part))
    if fault is not None:
        faults.append(fault)
        return None
    return name, exact_number(part)


def _part_fault(name: str, part: Number) -> Fault | None:
    if isinstance(part, int) and 0 < part <= LARGEST:
        return None
    if isinstance(part, int) and part > LARGEST:
        return Fault(
            f"The parts of {name} in a keyed ground must be at most {LARGEST:,}, not {part:,}.",
            fix="Write parts that are poured.",
        )
    return Fault(
        f"The parts of {name} in a keyed ground must be a whole number of 1 or more, not {part}.",
        fix="Leave a ground out that has no part in it; scale the others to whole parts.",
    )


def _any_name(text: str) -> str | None:
    name = text.lower()
    return name if re.fullmatch(NAME, name) and name not in RESERVED else None
