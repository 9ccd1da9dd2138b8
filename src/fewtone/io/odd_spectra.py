"""Spectra that can be read but that no panel gives: negative, too bright, or cut off at the top.

They may be an instrument out of zero or out of range. They count as read, and the user is told.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import groupby

from fewtone.model.readings import Reading
from fewtone.typing import FloatArray

__all__ = ["odd_spectra"]

# Handhelds agree on black within this reflectance (common practice, no source).
_BELOW_BLACK = -0.005
# A solid ground returns no more than falls on it, whitener and calibration within this.
_BRIGHTEST_SOLID = 1.2
# So many equal largest values side by side, above the white standard, are a ceiling.
_CEILING_BANDS, _WHITE_STANDARD = 3, 1.0
_MOST_SHOWN = 5


def odd_spectra(
    items: Sequence[Reading], wavelength_nm: Sequence[float], is_metallic: Callable[[str], bool]
) -> list[str]:
    """Say which rows hold values that no panel gives, and what to do about them.

    Parameters
    ----------
    items
        The readings.
    wavelength_nm
        Where their spectra were read [nm].
    is_metallic
        Whether there is flake in a ground.

    Returns
    -------
    One sentence or two for each row, the first few rows only.
    """
    cautions = []
    for item in items:
        if item.reflectance is None:
            continue
        lowest, highest = int(item.reflectance.argmin()), int(item.reflectance.argmax())
        least, most = float(item.reflectance[lowest]), float(item.reflectance[highest])
        if least < _BELOW_BLACK:
            cautions.append(
                f"row {item.row}: reflectance {least:g} at {wavelength_nm[lowest]:g} nm is below "
                "black. Zero the instrument and read the panel again."
            )
        if most > _BRIGHTEST_SOLID and not is_metallic(item.ground):
            cautions.append(
                f"row {item.row}: reflectance {most:g} at {wavelength_nm[highest]:g} nm is more "
                f"than the solid ground {item.ground} can return. Check the scale, and read the "
                "panel again."
            )
        elif most > _WHITE_STANDARD and _top_width(item.reflectance) >= _CEILING_BANDS:
            cautions.append(
                f"row {item.row}: the spectrum is cut off at {most:g}: the instrument was out of "
                "range. Read the panel again in another range or geometry."
            )
    if len(cautions) > _MOST_SHOWN:
        cautions[_MOST_SHOWN:] = [f"and {len(cautions) - _MOST_SHOWN} more like these."]
    return cautions


def _top_width(spectrum: FloatArray) -> int:
    """How many of the largest values stand side by side."""
    runs = groupby((spectrum == spectrum.max()).tolist())
    return max(sum(map(int, run)) for _, run in runs)
