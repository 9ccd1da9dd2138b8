"""A recipe: what is mixed and sprayed, as one line that a person can read and type.

`2 marigold + 1 dusk, 6:1, 4 coats over silver` is two parts of marigold to one of dusk by volume,
let down with six parts of medium to one of that blend, four coats over the ground called silver.
The ground may be a keyed one: `… over 2 silver + 1 moss` (`fewtone.model.keyed`).

A printed recipe parses back to itself.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction

from fewtone.errors import Fault, FewtoneError, UsageError
from fewtone.model.blend import (
    LARGEST,
    Blend,
    Number,
    coats_text,
    exact_number,
    film_load,
    number_text,
)
from fewtone.model.keyed import KeyedGround
from fewtone.model.names import NAME, NAME_RULE, RESERVED, Names
from fewtone.model.numbers import decimal_from

__all__ = ["Recipe", "parse", "parse_blend"]

_AMOUNT = r"[0-9]+(?:[.,][0-9]+)?"
_LONGEST = 2000  # characters; a hundred toners
_PATTERN = "2 marigold + 1 dusk, 6:1, 4 coats over silver"
# What stands where a name should, up to the next part of the line: said back if it is not known.
_ANY_NAME = r"[^\W\d_][^+,:;]*?(?=\s*(?:[+,;]|$))"


@dataclass(frozen=True, slots=True, init=False)
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
        Name of the ground underneath, or a keyed one such as ``2 silver + 1 moss``.

    Raises
    ------
    FewtoneError
        A number out of range or no toner at all.
    """

    blend: Blend
    medium_parts: Number
    coats: Number
    ground: str

    def __init__(
        self, blend: Mapping[str, Number], medium_parts: Number, coats: Number, ground: str
    ) -> None:
        parts = blend if isinstance(blend, Blend) else Blend(blend)
        if not parts:
            raise FewtoneError("A recipe needs at least one toner.")
        keep = object.__setattr__
        keep(self, "blend", parts)
        keep(self, "medium_parts", _in_range("letdown", exact_number(medium_parts)))
        keep(self, "coats", _in_range("number of coats", exact_number(coats)))
        keep(self, "ground", str(KeyedGround.parse(ground)) if "+" in ground else ground)

    @property
    def load(self) -> Fraction:
        """Coats over (1 + letdown), exact: all that the colour knows of either."""
        return film_load(self.coats, self.medium_parts)

    @property
    def doses(self) -> dict[str, float]:
        """Standard coats of each toner that light crosses on its way down: load times fraction."""
        return self.blend.doses(self.coats, self.medium_parts)

    def with_(
        self,
        *,
        blend: Mapping[str, Number] | None = None,
        medium_parts: Number | None = None,
        coats: Number | None = None,
        ground: str | None = None,
    ) -> Recipe:
        """Return the same recipe with some of its parts replaced.

        Parameters
        ----------
        blend
            Parts by volume of each toner, more than 0.
        medium_parts
            Parts of medium to one part of blend, 0 or more.
        coats
            Full passes of the gun, 0 or more.
        ground
            Name of the ground underneath.

        Raises
        ------
        FewtoneError
            As for `Recipe`.
        """
        return Recipe(
            self.blend if blend is None else blend,
            self.medium_parts if medium_parts is None else medium_parts,
            self.coats if coats is None else coats,
            self.ground if ground is None else ground,
        )

    def __str__(self) -> str:
        letdown = number_text(self.medium_parts)
        return f"{self.blend}, {letdown}:1, {coats_text(self.coats)} over {self.ground}"


def parse(text: str, toners: Names | None = None, grounds: Names | None = None) -> Recipe:
    """Read a recipe line.

    Parameters
    ----------
    text
        Such as ``2 marigold + 1 dusk, 6:1, 4 coats over silver``; capitals do not matter.
    toners, grounds
        What a shelf has, to be found by name or label; without them any names are taken.

    Raises
    ------
    UsageError
        The line does not parse, and the message points at the place and shows the pattern; or it
        names what is not there, and the nearest is told.

    Examples
    --------
    >>> str(parse("4 dusk + 2 marigold, 6:1, 1 coats over silver"))
    '2 dusk + 1 marigold, 6:1, 1 coat over silver'
    """
    reader = _Reader(text)
    blend = reader.blend(toners)
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
    ground = reader.ground(grounds)
    reader.end()
    try:
        return Recipe(blend, medium_parts, coats, ground)
    except FewtoneError as error:
        raise UsageError(*(replace(fault, value=text) for fault in error.faults)) from None


def parse_blend(text: str, toners: Names | None = None) -> Blend:
    """Read a blend alone, such as ``2 marigold + 1 dusk``; raises UsageError as `parse` does."""
    reader = _Reader(text, pattern="2 marigold + 1 dusk")
    blend = reader.blend(toners)
    reader.end()
    return Blend(blend)


def _in_range(what: str, number: Number) -> Number:
    if not 0 <= number <= LARGEST:
        raise FewtoneError(
            Fault(f"The {what} must lie between 0 and {LARGEST}.", value=str(number))
        )
    return number


class _Reader:
    """Walks along a line and says where it stops making sense."""

    def __init__(self, text: str, pattern: str = _PATTERN) -> None:
        self.text, self.pattern, self.at = text[:_LONGEST], pattern, 0
        self.unknown: list[Fault] = []
        if len(text) > _LONGEST:
            raise UsageError(Fault(f"A recipe line has at most {_LONGEST} characters.", value=text))

    def peek(self, pattern: str) -> re.Match[str] | None:
        return re.compile(r"\s*(" + pattern + ")").match(self.text, self.at)

    def take(self, pattern: str, wanted: str) -> str:
        token = self.peek(pattern)
        if not token:
            raise self.fault(f"expected {wanted}")
        self.at = token.end()
        return token[1]

    def number(self, wanted: str) -> Number:
        text = self.take(_AMOUNT, wanted)
        number = decimal_from(text)
        if number is None:
            raise self.fault("a number has too many digits", back=len(text))
        return exact_number(number)

    def name(self, known: Names | None, wanted: str) -> str:
        """A name in any case; of those that are known by name or label, if they are given."""
        if known is None:
            return self.take(f"(?i:{NAME})", wanted).lower()
        gap = self.peek("")
        start = gap.end() if gap else self.at
        if known_name := known.at(self.text, start):
            name, self.at = known_name
            return name
        name = self.take(_ANY_NAME if self.peek(_ANY_NAME) else f"(?i:{NAME})", wanted)
        if name.lower() in RESERVED:
            return name.lower()
        fix = f"Correct the name, or add the {known.kind} to shelf.toml and learn it."
        self.unknown.append(replace(known.fault(name, fix=fix), value=self.text))
        return name

    def ground(self, known: Names | None) -> str:
        """A ground by name or label, or all that is left of the line as a keyed one."""
        left = self.text[self.at :].strip()
        plain = None if known is None else Names.find(known, left)
        if plain is None and ("+" in left or self.peek(_AMOUNT)):
            try:
                keyed = KeyedGround.parse(left, known)
            except UsageError as error:
                self.unknown += [replace(fault, value=self.text) for fault in error.faults]
                raise UsageError(*self.unknown) from None
            self.at = len(self.text)
            return str(keyed)
        return self.name(known, f"the name of the ground ({NAME_RULE})")

    def blend(self, toners: Names | None) -> dict[str, Number]:
        blend: dict[str, Number] = {}
        while True:
            part = self.number("parts") if self.peek(_AMOUNT) else 1
            name = self.name(toners, f"a toner's name ({NAME_RULE})")
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
        if self.unknown:
            raise UsageError(*self.unknown)

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
