"""Mixing cups: what they hold and how they are marked.

In ``shelf.toml`` a cup is a line of text: ``600ml by 10ml`` is marked every 10 ml,
``32floz-us by 1floz-us`` in US fluid ounces, ``700ml in 20 parts`` in equal parts.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

from fewtone.errors import Fault, UsageError
from fewtone.model.units import VOLUME_ML, volume_ml

__all__ = ["Cup"]

_BY = re.compile(r"(.+?) by (.+)")
_IN_PARTS = re.compile(r"(.+?) in ([1-9][0-9]{0,3}) parts")
_UNIT = re.compile(r"[a-z-]+$")


@dataclass(frozen=True, slots=True)
class Cup:
    """A cup with marks.

    Parameters
    ----------
    step_ml
        From one mark to the next [ml].
    holds_ml
        What it holds [ml]; None where that is not said.
    unit
        What its marks count: ``ml``, ``parts`` or another unit of volume.
    unit_ml
        One of that unit [ml].
    """

    step_ml: Fraction
    holds_ml: Fraction | None = None
    unit: str = "ml"
    unit_ml: Fraction = Fraction(1)

    @classmethod
    def parse(cls, text: str) -> Cup:
        """Read ``600ml by 10ml``, ``32floz-us by 1floz-us`` or ``700ml in 20 parts``.

        Parameters
        ----------
        text
            How large the cup is, and its marks.

        Raises
        ------
        UsageError
            It is none of these, or a mark is no smaller than the cup.
        """
        line = " ".join(text.split()).lower()
        if match := _IN_PARTS.fullmatch(line):
            holds, parts = volume_ml(match[1], what="The cup"), int(match[2])
            return cls(holds / parts, holds, "parts", holds / parts)
        match = _BY.fullmatch(line)
        if match is None:
            raise UsageError(
                Fault(
                    f"'{text}' is not a cup: what it holds and how it is marked.",
                    fix="Write it as '600ml by 10ml', '32floz-us by 1floz-us' or "
                    "'700ml in 20 parts'.",
                    value=text,
                )
            )
        holds, step = (volume_ml(part, what="The cup") for part in match.groups())
        if step > holds:
            raise UsageError(
                Fault(f"The marks of '{text}' are wider than the cup.", "Correct it.", value=text)
            )
        unit_match = _UNIT.search(match[2])
        unit = unit_match[0] if unit_match else "ml"
        unit = "ml" if unit == "l" else unit
        return cls(step, holds, unit, VOLUME_ML[unit])

    def __str__(self) -> str:
        """Such as ``600 ml cup``; just ``cup`` where its size is not known."""
        if self.holds_ml is None:
            return "cup"
        if self.unit in ("ml", "parts"):
            return f"{float(self.holds_ml):g} ml cup"
        return f"{float(self.holds_ml / self.unit_ml):g} {self.unit} cup"

    @property
    def marks(self) -> str:
        """How it is marked: ``every 10 ml``."""
        if self.unit == "parts":
            return f"in parts of {float(self.step_ml):g} ml"
        return f"every {float(self.step_ml / self.unit_ml):g} {self.unit}"
