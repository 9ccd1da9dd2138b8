"""A recipe: what is mixed and sprayed, as one line that a person can read and type.

`2 marigold + 1 dusk, 6:1, 4 coats over silver` is two parts of marigold to one of dusk by volume,
let down with six parts of medium to one of that blend, four coats over the ground called silver.

Whole-number parts are kept in lowest terms, decimals as given; toners stand in order of falling
parts, then by name, so that equal blends read alike. A printed recipe parses back to itself.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction
from types import MappingProxyType
from typing import TypeAlias

from fewtone.errors import Fault, FewtoneError, UsageError

__all__ = ["Number", "Recipe", "blend_text", "exact_number", "parse", "parse_blend"]

Number: TypeAlias = int | Decimal

NAME = r"[a-z][a-z0-9-]*"
_AMOUNT = r"\d+(?:[.,]\d+)?"
_PATTERN = "2 marigold + 1 dusk, 6:1, 4 coats over silver"
_LARGEST = 1_000_000
RESERVED = frozenset({"medium", "over", "coat", "coats"})


@dataclass(frozen=True, slots=True)
class Recipe:
    """A blend, its letdown, its coats and its ground.

    Parameters
    ----------
    blend
        Parts by volume of each toner, more than 0; at least one toner.
    medium_parts
        Parts of medium to one part of blend, 0 or more.
    coats
        Full passes of the gun, 0 or more.
    ground
        Name of the ground underneath.

    Raises
    ------
    FewtoneError
        A number out of range or no toner at all.
    """

    blend: Mapping[str, Number]
    medium_parts: Number
    coats: Number
    ground: str

    def __post_init__(self) -> None:
        object.__setattr__(
            self, "blend", _ordered({n: exact_number(p) for n, p in self.blend.items()})
        )
        object.__setattr__(
            self, "medium_parts", _in_range("letdown", exact_number(self.medium_parts))
        )
        object.__setattr__(self, "coats", _in_range("number of coats", exact_number(self.coats)))

    @property
    def load(self) -> Fraction:
        """Coats over (1 + letdown), exact: all that the colour knows of either."""
        return Fraction(self.coats) / (1 + Fraction(self.medium_parts))

    @property
    def fractions(self) -> dict[str, Fraction]:
        """Each toner's share of the blend by volume, exact; together 1."""
        whole = sum((Fraction(part) for part in self.blend.values()), Fraction(0))
        return {name: Fraction(part) / whole for name, part in self.blend.items()}

    def with_(
        self,
        *,
        blend: Mapping[str, Number] | None = None,
        medium_parts: Number | None = None,
        coats: Number | None = None,
        ground: str | None = None,
    ) -> Recipe:
        """Return the same recipe with some of its parts replaced."""
        return replace(
            self,
            blend=self.blend if blend is None else blend,
            medium_parts=self.medium_parts if medium_parts is None else medium_parts,
            coats=self.coats if coats is None else coats,
            ground=self.ground if ground is None else ground,
        )

    def __hash__(self) -> int:
        return hash((frozenset(self.blend.items()), self.medium_parts, self.coats, self.ground))

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Recipe):
            return NotImplemented
        return (
            dict(self.blend) == dict(other.blend)
            and self.medium_parts == other.medium_parts
            and self.coats == other.coats
            and self.ground == other.ground
        )

    def __reduce__(self) -> tuple[type[Recipe], tuple[dict[str, Number], Number, Number, str]]:
        # A mapping proxy does not pickle; the plain dictionary does.
        return Recipe, (dict(self.blend), self.medium_parts, self.coats, self.ground)

    def __str__(self) -> str:
        coats = "1 coat" if self.coats == 1 else f"{_plain(self.coats)} coats"
        return (
            f"{blend_text(self.blend)}, {_plain(self.medium_parts)}:1, {coats} over {self.ground}"
        )


def parse(text: str) -> Recipe:
    """Read a recipe line.

    Parameters
    ----------
    text
        Such as ``2 marigold + 1 dusk, 6:1, 4 coats over silver``.

    Raises
    ------
    UsageError
        The line does not parse; the message points at the place and shows the pattern.

    Examples
    --------
    >>> str(parse("4 dusk + 2 marigold, 6:1, 1 coats over silver"))
    '2 dusk + 1 marigold, 6:1, 1 coat over silver'
    """
    reader = _Reader(text)
    blend = reader.blend()
    reader.take(r",", "a comma after the blend")
    medium_parts = reader.number("the letdown, such as 6:1")
    reader.take(
        r":\s*1(?![\d.])",
        "':1' after the parts of medium: a letdown is medium to one part of blend",
    )
    reader.take(r",", "a comma after the letdown")
    coats = reader.number("the number of coats")
    reader.take(r"coats?\b", "'coats'")
    reader.take(r"over\b", "'over' and the ground")
    ground = reader.take(NAME, "the name of the ground (a letter, then a-z, 0-9 and hyphens)")
    reader.end()
    try:
        return Recipe(blend, medium_parts, coats, ground)
    except FewtoneError as error:
        raise UsageError(*(replace(fault, value=text) for fault in error.faults)) from None


def parse_blend(text: str) -> Mapping[str, Number]:
    """Read a blend alone, such as ``2 marigold + 1 dusk``; raises UsageError as `parse` does."""
    reader = _Reader(text, pattern="2 marigold + 1 dusk")
    blend = reader.blend()
    reader.end()
    return _ordered(blend)


def blend_text(blend: Mapping[str, Number]) -> str:
    """Return a blend as it is printed: ``2 marigold + 1 dusk``; a lone toner as ``1 marigold``."""
    return " + ".join(f"{_plain(part)} {name}" for name, part in blend.items())


def exact_number(value: object) -> Number:
    """Return a number exactly as it was written: whole numbers as int, others as Decimal.

    Raises
    ------
    FewtoneError
        Not a finite number.
    """
    try:
        number = Decimal(value) if isinstance(value, int | Decimal) else Decimal(str(value))
    except ArithmeticError:
        raise FewtoneError(Fault("This is not a number.", value=str(value))) from None
    if not number.is_finite():
        raise FewtoneError(Fault("This is not a finite number.", value=str(value)))
    return int(number) if number == number.to_integral_value() else number


def _plain(number: Number) -> str:
    return f"{number:f}" if isinstance(number, Decimal) else str(number)


def _in_range(what: str, number: Number) -> Number:
    if not 0 <= number <= _LARGEST:
        raise FewtoneError(
            Fault(f"The {what} must lie between 0 and {_LARGEST}.", value=str(number))
        )
    return number


def _ordered(blend: Mapping[str, Number]) -> Mapping[str, Number]:
    """Return the blend read-only, in printing order, whole parts in lowest terms."""
    if not blend:
        raise FewtoneError("A recipe needs at least one toner.")
    for name, part in blend.items():
        if not 0 < part <= _LARGEST:
            raise FewtoneError(
                Fault(
                    f"The parts of {name} must be more than 0 and at most {_LARGEST}.",
                    fix="Leave a toner out that has no part in the blend.",
                    value=str(part),
                )
            )
    whole = [part for part in blend.values() if isinstance(part, int)]
    divisor = math.gcd(*whole) if len(whole) == len(blend) else 1
    parts = {n: p // divisor if isinstance(p, int) else p for n, p in blend.items()}
    return MappingProxyType(dict(sorted(parts.items(), key=lambda item: (-item[1], item[0]))))


class _Reader:
    """Walks along a line and says where it stops making sense."""

    def __init__(self, text: str, pattern: str = _PATTERN) -> None:
        self.text, self.pattern, self.at = text, pattern, 0

    def peek(self, pattern: str) -> re.Match[str] | None:
        return re.compile(r"\s*(" + pattern + ")").match(self.text, self.at)

    def take(self, pattern: str, wanted: str) -> str:
        found = self.peek(pattern)
        if not found:
            raise self.fault(f"expected {wanted}")
        self.at = found.end()
        return found[1]

    def number(self, wanted: str) -> Number:
        return exact_number(self.take(_AMOUNT, wanted).replace(",", "."))

    def blend(self) -> dict[str, Number]:
        blend: dict[str, Number] = {}
        while True:
            part = self.number("parts") if self.peek(_AMOUNT) else 1
            name = self.take(NAME, "a toner's name (a letter, then a-z, 0-9 and hyphens)")
            if name in RESERVED:
                raise self.fault(f"'{name}' is a reserved word, not a toner", back=len(name))
            if name in blend:
                raise self.fault(
                    f"'{name}' stands in the blend twice; add its parts up", back=len(name)
                )
            blend[name] = part
            if not self.peek(r"\+"):
                return blend
            self.take(r"\+", "'+'")

    def end(self) -> None:
        if not self.peek("$"):
            raise self.fault("nothing more was expected here")

    def fault(self, problem: str, back: int = 0) -> UsageError:
        gap = re.compile(r"\s*").match(self.text, self.at)
        at = self.at - back if back else (gap.end() if gap else self.at)
        picture = f"  {self.text}\n  {' ' * at}^"
        where = f"This line does not read as it should at character {at + 1}"
        return UsageError(
            Fault(
                f"{where}: {problem}.\n{picture}\n",
                fix=f"The pattern is: {self.pattern}",
                value=self.text,
            )
        )
