"""Readings of sprayed panels: what was sprayed, and what the instrument said."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from fewtone.colorimetry import Light
from fewtone.model.blend import Blend, Number, film_load
from fewtone.model.names import Names
from fewtone.tables import data_frame, lab_columns
from fewtone.typing import FloatArray

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Reading", "Readings"]


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading, under cured clear.

    Parameters
    ----------
    row
        Its row in the file, the header being row 1.
    panel
        The panel it was taken on. The steps of one letdown strip share a panel: they share its
        film build, and later steps contain the earlier coats, unless they are `separate`.
    ground
        Name of the ground.
    blend
        Parts by volume of each toner; empty for medium alone and for the bare ground.
    medium_parts
        Letdown, None where there is no film.
    coats
        Coats sprayed, possibly a decimal; 0 is the bare ground.
    thinning
        By how much more reducer than the house's usual weakens a wet coat,
        (1 + usual)/(1 + used); 1 where the usual was used.
    reflectance
        Reflectance factor at the set's wavelengths, shape ``(n_wavelengths,)``; None if the
        instrument gave Lab alone.
    lab
        CIELAB under each light that was read.
    date, note
        As typed; empty where there is none.
    separate
        Whether the steps under this panel id are separate panels of one session: they share one
        heavy or light hand, and no coat.
    """

    row: int
    panel: str
    ground: str
    blend: Blend
    medium_parts: Number | None
    coats: Number
    thinning: Fraction = Fraction(1)
    reflectance: FloatArray | None = None
    lab: Mapping[Light, tuple[float, float, float]] | None = None
    date: str = ""
    note: str = ""
    separate: bool = False

    @property
    def load(self) -> Fraction:
        """Coats over (1 + letdown), thinned: the film's strength per unit of blend optics."""
        if self.medium_parts is None:
            return Fraction(0)
        return self.thinning * film_load(self.coats, self.medium_parts)

    @property
    def is_bare(self) -> bool:
        """Whether this is the ground alone, or under clear medium alone."""
        return not self.blend or self.coats == 0


@dataclass(frozen=True, slots=True)
class Readings:
    """All readings of a shelf.

    Parameters
    ----------
    items
        The readings in the order of the file.
    wavelength_nm
        Wavelengths of the spectral readings [nm], shape ``(n_wavelengths,)``; None if there are
        none.
    digest
        SHA-256 of the file, hexadecimal; empty for readings that did not come from a file.
    cautions
        What should be told but is not wrong.
    """

    items: tuple[Reading, ...]
    wavelength_nm: FloatArray | None = None
    digest: str = ""
    cautions: tuple[str, ...] = ()

    def to_frame(self) -> pd.DataFrame:
        """A row for each reading, in the columns of ``readings.csv``.

        ``row``, ``panel``, ``ground``, ``blend``, ``medium_parts``, ``coats``, ``date``, ``note``,
        then ``L D65/10`` and so on for each light that was read, then the reflectance factor [1] at
        each wavelength, named in nm.
        """
        rows: list[dict[str, Any]] = []
        for item in self.items:
            row: dict[str, Any] = {
                "row": item.row,
                "panel": item.panel,
                "ground": item.ground,
                "blend": str(item.blend),
                "medium_parts": None if item.medium_parts is None else float(item.medium_parts),
                "coats": float(item.coats),
                "date": item.date,
                "note": item.note,
            }
            for light, lab in (item.lab or {}).items():
                row |= {f"{name} {light}": value for name, value in lab_columns(lab).items()}
            if item.reflectance is not None and self.wavelength_nm is not None:
                values = zip(self.wavelength_nm, item.reflectance, strict=True)
                row |= {f"{nm:g}": float(value) for nm, value in values}
            rows.append(row)
        return data_frame(rows)

    @property
    def panels(self) -> Names:
        """The ids of the panels."""
        return Names.of("panel", dict.fromkeys(item.panel for item in self.items))
