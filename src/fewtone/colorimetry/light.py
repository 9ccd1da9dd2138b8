"""What a colour is seen in: the standard illuminants and observers, and their tables.

Model
    The CIE's tables, packaged as one array at 1 nm from 360 to 780 nm; the script beside it
    (``data/make_colorimetry.py``) says how it came about. Y = 100 for the perfect diffuser.
    Illuminants that are not packaged come from colour-science's tables by their standard names, by
    the same rules; its import takes about a second, so only they bring it in.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fewtone.errors import Fault, UsageError
from fewtone.typing import FloatArray, frozen

__all__ = ["ILLUMINANTS", "OBSERVERS", "Light", "nanometre_weights", "white_point"]

ILLUMINANTS = (
    *("A", "C", "D50", "D55", "D65", "D75", "F2", "F7", "F11", "F12"),
    *("LED-B1", "LED-B2", "LED-B3", "LED-B4", "LED-B5"),
)
OBSERVERS = (2, 10)

_LONGEST_NAME = 20
_TABLE_FILE = Path(__file__).parents[1] / "data" / "colorimetry.npy"


@dataclass(frozen=True, slots=True, order=True)
class Light:
    """What a colour is seen in: a standard illuminant and a standard observer.

    ``str(Light("D65", 10))`` is ``"D65/10"``, and `parse` reads that back.

    Parameters
    ----------
    illuminant
        One of `ILLUMINANTS`, or another that colour-science tabulates, such as ``FL3.1`` or ``E``.
    observer
        2 or 10 [degrees]: the CIE 1931 or the CIE 1964 standard observer.

    Raises
    ------
    UsageError
        There is no such illuminant or observer.
    """

    illuminant: str
    observer: int

    def __post_init__(self) -> None:
        """Refuse what has no table."""
        if self.observer not in OBSERVERS or _standard_name(self.illuminant) != self.illuminant:
            raise _no_light(str(self))

    def __str__(self) -> str:
        """Illuminant/observer."""
        return f"{self.illuminant}/{self.observer}"

    @classmethod
    def parse(cls, text: str, observer: int | None = None) -> Light:
        """Read ``"D65/10"``; capitals and spaces do not matter, nor does a degree sign.

        Parameters
        ----------
        text
            Illuminant and observer.
        observer
            What a lone illuminant is taken with [degrees]; None refuses one.

        Raises
        ------
        UsageError
            The text names no light that is known.
        """
        match = re.fullmatch(r"\s*([^\s/]+)\s*(?:/\s*(2|10)\s*°?\s*)?", text)
        degrees = match[2] or observer if match else None
        name = _standard_name(match[1]) if match and degrees is not None else None
        if name is None or degrees is None:
            raise _no_light(text)
        return cls(name, int(degrees))


@cache
def white_point(light: Light) -> FloatArray:
    """X, Y, Z of the perfect diffuser, Y = 100; shape ``(3,)``, read-only."""
    return frozen(nanometre_weights(light)[1].sum(axis=0))


@cache
def nanometre_weights(light: Light) -> tuple[FloatArray, FloatArray]:
    """Illuminant times observer at every nanometre.

    Returns
    -------
    wavelength_nm
        360 to 780 [nm], shape ``(421,)``.
    weights
        Scaled so that they sum to Y = 100, shape ``(421, 3)``.
    """
    table = _table()
    observer = np.stack([table[f"{axis}{light.observer}"] for axis in "xyz"], axis=-1)
    wavelength_nm = table["wavelength_nm"]
    if light.illuminant in ILLUMINANTS:
        power = table[light.illuminant]
    else:
        import colour

        # Linear between the tabulated values (CIE 15:2018, 4.1), as the packaged ones are made.
        tabulated = colour.SDS_ILLUMINANTS[_more_illuminants()[light.illuminant.upper()]]
        nm, values = (
            np.asarray(part, dtype=float) for part in (tabulated.wavelengths, tabulated.values)
        )
        power = np.interp(wavelength_nm, nm, values, left=0.0, right=0.0)
    products = power[:, np.newaxis] * observer
    return frozen(wavelength_nm), frozen(100.0 / products[:, 1].sum() * products)


@cache
def _table() -> NDArray[Any]:
    """The packaged lights and observers, one row per nanometre."""
    table: NDArray[Any] = np.load(_TABLE_FILE)
    return table


def _standard_name(text: str) -> str | None:
    """The name of the illuminant that is meant, in any case; None if there is none."""
    # CIE 15 also writes FL11 for the lamp that instruments call F11.
    name = re.sub(r"^FL(?=\d+$)", "F", text.upper())
    if name in ILLUMINANTS:
        return name
    return _more_illuminants().get(text.upper()) if len(text) <= _LONGEST_NAME else None


@cache
def _more_illuminants() -> dict[str, str]:
    """Standard names of what colour-science tabulates beyond the packaged, by their capitals."""
    import colour

    packaged = {re.sub(r"^F(?=\d+$)", "FL", name) for name in ILLUMINANTS}
    return {name.upper(): name for name in colour.SDS_ILLUMINANTS if name not in packaged}


def _no_light(text: str) -> UsageError:
    more = ", ".join(sorted(_more_illuminants().values()))
    return UsageError(
        Fault(
            f"'{text}' is no light: illuminant/observer is allowed, with the illuminants "
            f"{', '.join(ILLUMINANTS)} and the observers 2 and 10 (degrees); also {more}.",
            fix="Write it like D65/10.",
            value=text,
        )
    )
