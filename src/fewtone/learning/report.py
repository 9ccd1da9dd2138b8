"""How well the learnt curves explain the readings."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING

import numpy as np

from fewtone.colorimetry import Light, delta_e_2000, lab_from_xyz, weights, white_point
from fewtone.learning.design import Suggestion
from fewtone.learning.diagnosis.suspects import Suspect
from fewtone.learning.forward import Problem
from fewtone.learning.parameters import Parameters
from fewtone.tables import data_frame
from fewtone.typing import FloatArray

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["FitReport", "TonerReport", "fit_report"]


@dataclass(frozen=True, slots=True)
class TonerReport:
    """How one toner was learnt.

    Parameters
    ----------
    readings
        Readings with this toner in their film, blends included.
    median_de00, worst_de00
        ΔE00 between readings and fit: the median, and that of the worst panel.
    worst_panel
        Its id.
    leave_one_out_de00
        ΔE00 between readings and what all other panels say of them, film build at its nominal
        value: the median over readings and lights.
    data_share
        How much of its curve is data, the rest being prior [1].
    scatters
        Whether the readings say that it scatters.
    peak_nm
        Where it absorbs most [nm].
    strength
        Its absorption there: optical depth of one standard coat at unit volume fraction [1].
    """

    readings: int
    median_de00: float
    worst_de00: float
    worst_panel: str
    leave_one_out_de00: float
    data_share: float
    scatters: bool
    peak_nm: float
    strength: float


@dataclass(frozen=True, slots=True)
class FitReport:
    """How a shelf was learnt.

    Parameters
    ----------
    toners
        By name.
    readings, panels
        How many counted.
    median_de00
        Median ΔE00 between readings and fit over all panels.
    iterations, converged
        How the solver ended.
    left_out
        Panels that did not count because they were told not to.
    suspects
        Panels that do not fit, the worst first; they count all the same.
    not_learnt
        Toners and grounds of shelf.toml that were never read.
    spray_next
        The panels that would tell most, in the order of their worth.
    second_light
        Another light to read the panels in, which would tell more than those panels; None where
        spectra, or Labs in several lights, were read.
    cautions
        What should be told but is not wrong.
    added_panels
        Ids of the rows that were added to readings.csv for what to spray next.
    """

    toners: dict[str, TonerReport]
    readings: int
    panels: int
    median_de00: float
    iterations: int
    converged: bool
    left_out: tuple[str, ...]
    suspects: tuple[Suspect, ...]
    not_learnt: tuple[str, ...]
    spray_next: tuple[Suggestion, ...]
    second_light: Light | None
    cautions: tuple[str, ...]
    added_panels: tuple[str, ...] = ()

    @property
    def removable(self) -> tuple[str, ...]:
        """The suspects that may all be left out together without anything being unlearnt."""
        return tuple(suspect.panel for suspect in self.suspects if suspect.removable)

    def to_frame(self) -> pd.DataFrame:
        """A row for each toner: ``toner`` and the fields of its `TonerReport`."""
        return data_frame({"toner": name, **asdict(toner)} for name, toner in self.toners.items())


def fit_report(
    problem: Problem,
    at: Parameters,
    light: Light,
    *,
    iterations: int,
    converged: bool,
    left_out: tuple[str, ...],
    leave_one_out_de00: FloatArray,
    data_share: FloatArray,
    suspects: tuple[Suspect, ...],
    not_learnt: tuple[str, ...],
    spray_next: tuple[Suggestion, ...],
    second_light: Light | None,
    cautions: tuple[str, ...],
) -> FitReport:
    """Report a fit.

    Parameters
    ----------
    problem, at
        The fit.
    light
        Of the ΔE00 of spectra; readings of Lab alone are judged in the first light that was read.
    iterations, converged
        How the solver stopped.
    left_out
        Panels that were not to count.
    leave_one_out_de00
        As `fewtone.learning.leave_one_out.prediction_errors` gives it, shape ``(n_panels,)``.
    data_share
        How much of each toner's curve is data [1], shape ``(n_toners,)``.
    suspects
        Panels that do not fit.
    not_learnt
        Toners and grounds that no reading tells of.
    spray_next
        What to spray next.
    second_light
        A light that would tell more; None if none is needed.
    cautions
        What should be told.
    """
    seen = problem.seen
    off = reading_differences(problem, at, light)
    toners = {}
    for i, name in enumerate(seen.toners):
        rows = np.flatnonzero(seen.fractions[:, i])
        worst = rows[np.argmax(off[rows])]
        curve = at.absorption[i]
        peak = int(curve.argmax())
        toners[name] = TonerReport(
            readings=rows.size,
            median_de00=float(np.median(off[rows])),
            worst_de00=float(off[worst]),
            worst_panel=seen.readings[worst].panel,
            leave_one_out_de00=float(np.nanmedian(leave_one_out_de00[rows])),
            data_share=float(data_share[i]),
            scatters=bool(at.hazy[i]),
            peak_nm=float(seen.wavelength_nm[peak]),
            strength=float(curve[peak]),
        )
    return FitReport(
        toners=toners,
        readings=len(seen.readings),
        panels=len(seen.panels),
        median_de00=float(np.median(off)),
        iterations=iterations,
        converged=converged,
        left_out=left_out,
        suspects=suspects,
        not_learnt=not_learnt,
        spray_next=spray_next,
        second_light=second_light,
        cautions=cautions,
    )


def reading_differences(problem: Problem, at: Parameters, light: Light) -> FloatArray:
    """ΔE00 between each reading and its fit, film build included, shape ``(n_readings,)``."""
    seen = problem.seen
    fitted = problem.reflectance(at)
    off = np.zeros(len(seen.readings))
    spectral = seen.has_spectrum
    if spectral.any():
        matrix, white = weights(seen.wavelength_nm, light), white_point(light)
        off[spectral] = delta_e_2000(
            lab_from_xyz(fitted[spectral] @ matrix, white),
            lab_from_xyz(seen.spectral[spectral] @ matrix, white),
        )
    for i, other in reversed(list(enumerate(seen.lights))):
        known = ~np.isnan(seen.lab[:, i, 0])
        matrix, white = weights(seen.wavelength_nm, other), white_point(other)
        off[known] = delta_e_2000(lab_from_xyz(fitted[known] @ matrix, white), seen.lab[known, i])
    return off
