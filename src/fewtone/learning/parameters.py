"""What learning looks for, and where each of it stands in the vector of parameters.

Shared parameters
    log absorption of each toner at each wavelength; log reflectance of each ground inside the film
    at each wavelength; one internal-return ratio on the logit, shared by all metallics, and each
    metallic's own departure from it (solids are Lambertian: internal-return ratio 1); log
    scattering of each toner as a few smooth functions of wavelength: level, slope, and slow waves.

    Conditions, which are the same for the whole shelf: what the instrument adds to every
    reflectance (its black); the film's index, the aperture's edge loss and how much thinner the
    coats get as they pile up, next to those that are reckoned with. The solver holds these three at
    zero; `fewtone.learning.hyperparameters` moves what is reckoned with. Each toner's log strength
    per doubling of the letdown. Of each ground whose keyed mixes were read, its log strength in
    them (`fewtone.learning.keyed`).

Local parameters
    log film build of each segment of each panel; log gain of each panel (how it lay under the
    instrument, and how its ground differs from the usual one; it also takes up what the film model
    misses of a flake's lobe).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fewtone.learning.observations import Observations
from fewtone.learning.priors import (
    HAZE_MEAN,
    HAZE_SD,
    absorber_prior,
    colouredness,
    ground_prior,
    haze_basis,
)
from fewtone.model.keyed import KeyedGround
from fewtone.prediction.keyed import STRENGTH_SD
from fewtone.typing import BoolArray, FloatArray, FloatLike, IntArray

__all__ = [
    "GAIN_SD",
    "KeyedMix",
    "ParameterLayout",
    "Parameters",
    "blank",
    "return_ratio_at",
    "return_ratio_logit",
    "return_ratio_slope",
    "shared_prior",
]

# Log gain of a panel's spectra: agreement on re-placing a panel (common practice, no source).
GAIN_SD = 0.005
# What an instrument's black may be off by [1]; the film's index; edge loss: a tenth of a millimetre
# of film and clear under an aperture of 6 mm; how the film of n coats departs
# from n, a power of n; strength per doubling of the letdown, of all toners together and of each
# beside them (common practice, no source).
_BLACK_SD, _INDEX_SD, _EDGE_SD, _THINNING_SD = 0.004, 0.03, 0.03, 0.04
_LETDOWN_SD, _LETDOWN_DEPARTURE_SD = 0.055, 0.015
# Flake of very broad slopes sends more light back slanted than a Lambertian ground does, up to
# about so much more.
_MOST_RETURN_RATIO = 2.0
# The internal-return ratio's logit: anything from mirror-like to that, so that what is found
# over one ground holds for those that were only read bare, whatever their own departure allows.
_RETURN_MEAN, _RETURN_SD = -1.1, 3.0
# How far one metallic's logit lies from the shelf's.
_RETURN_DEPARTURE_SD = 0.12
# The same of a keyed ground, whose parents say more of it (`fewtone.learning.keyed`).
_RETURN_KEYED_SD = 3.0
_CONDITIONS = ("black", "index", "edge", "thinning")


@dataclass(frozen=True, slots=True)
class KeyedMix:
    """A keyed ground that was read with its parents.

    Parameters
    ----------
    ground, parents
        Numbers of the grounds.
    fractions
        The parents' shares [1], shape ``(n_parents,)``.
    """

    ground: int
    parents: tuple[int, ...]
    fractions: tuple[float, ...]


def keyed_mixes(grounds: tuple[str, ...]) -> tuple[KeyedMix, ...]:
    """The keyed ones among these grounds, of which all parents are among them too.

    Parameters
    ----------
    grounds
        Names of the grounds, keyed ones by their text.
    """
    mixes = []
    for number, name in enumerate(grounds):
        if "+" in name:
            shares = KeyedGround.parse(name).fractions
            if all(parent in grounds for parent in shares):
                parents = tuple(grounds.index(parent) for parent in shares)
                mixes.append(KeyedMix(number, parents, tuple(map(float, shares.values()))))
    return tuple(mixes)


@dataclass(frozen=True, slots=True)
class ParameterLayout:
    """Where the shared parameters stand.

    Parameters
    ----------
    n_toners, n_grounds, n_wavelengths
        How many there are.
    metallic
        Numbers of the grounds that hold flake.
    keyed
        The keyed grounds that were read with their parents.
    coloured
        How coloured each ground reads [1], ``(n_grounds,)``, where Lab alone tells
        (`fewtone.learning.priors.colouredness`); empty for none.
    """

    n_toners: int
    n_grounds: int
    n_wavelengths: int
    metallic: tuple[int, ...]
    keyed: tuple[KeyedMix, ...] = ()
    coloured: tuple[float, ...] = ()

    @classmethod
    def of(cls, seen: Observations) -> ParameterLayout:
        """Lay out what these observations can tell."""
        metallic = tuple(int(i) for i in np.flatnonzero(seen.metallic))
        size = len(seen.toners), len(seen.grounds), seen.wavelength_nm.size
        return cls(*size, metallic, keyed_mixes(seen.grounds), _coloured(seen))

    @property
    def size(self) -> int:
        """How many shared parameters there are."""
        curves = (self.n_toners + self.n_grounds) * self.n_wavelengths
        return_ratios = 1 + len(self.metallic) if self.metallic else 0
        conditions = len(_CONDITIONS) + self.n_toners + len(self.parents)
        return curves + return_ratios + conditions + self.n_toners * len(HAZE_SD)

    def toner(self, toner: int) -> IntArray:
        """Places of a toner's log absorption.

        Parameters
        ----------
        toner
            The toner's number.

        Returns
        -------
        Shape ``(n_wavelengths,)``.
        """
        return self._run(toner)

    def ground(self, ground: int) -> IntArray:
        """Places of a ground's log reflectance.

        Parameters
        ----------
        ground
            The ground's number.

        Returns
        -------
        Shape ``(n_wavelengths,)``.
        """
        return self._run(self.n_toners + ground)

    @property
    def return_ratio(self) -> int:
        """Place of the shared return_ratio logit; the metallics' departures follow."""
        return (self.n_toners + self.n_grounds) * self.n_wavelengths

    def return_ratio_departure(self, ground: int) -> int:
        """Place of a metallic's departure from the shared return_ratio logit.

        Parameters
        ----------
        ground
            The ground's number; it must be a metallic.
        """
        return self.return_ratio + 1 + self.metallic.index(ground)

    @property
    def black(self) -> int:
        """Place of what the instrument adds to every reflectance [1]."""
        return self.return_ratio + (1 + len(self.metallic) if self.metallic else 0)

    @property
    def held(self) -> tuple[int, int, int]:
        """Places that the solver holds: index, edge loss and thinning."""
        return self.index, self.edge, self.thinning

    @property
    def index(self) -> int:
        """Place of the film's index less the one that is reckoned with [1]."""
        return self.black + 1

    @property
    def edge(self) -> int:
        """Place of the edge loss less the one that is reckoned with [1]."""
        return self.black + 2

    @property
    def thinning(self) -> int:
        """Place of the power by which the film of n coats is less than n, so far as not known."""
        return self.black + 3

    def letdown(self, toner: int) -> int:
        """Place of a toner's log strength per doubling of the letdown [1].

        Parameters
        ----------
        toner
            The toner's number.
        """
        return self.black + len(_CONDITIONS) + toner

    @property
    def parents(self) -> tuple[int, ...]:
        """The grounds that keyed ones are mixed of."""
        return tuple(sorted({parent for mix in self.keyed for parent in mix.parents}))

    def key_strength(self, ground: int) -> int:
        """Place of the log strength of one of `parents` in keyed grounds [1].

        Parameters
        ----------
        ground
            The ground's number; it must be one of `parents`.
        """
        return self.black + len(_CONDITIONS) + self.n_toners + self.parents.index(ground)

    def haze(self, toner: int) -> IntArray:
        """Places of a toner's coefficients of log scattering, the level first.

        Parameters
        ----------
        toner
            The toner's number.

        Returns
        -------
        Shape ``(n_functions,)``.
        """
        size = len(HAZE_SD)
        return np.arange(size) + self.size - (self.n_toners - toner) * size

    def _run(self, number: int) -> IntArray:
        return np.arange(number * self.n_wavelengths, (number + 1) * self.n_wavelengths)


@dataclass(frozen=True, slots=True, eq=False)
class Parameters:
    """One value for every unknown.

    Parameters
    ----------
    layout
        Where the shared ones stand.
    hazy
        Which toners scatter at all, shape ``(n_toners,)``.
    waves
        Functions of wavelength that log scattering is made of, shape ``(n_waves, n_wavelengths)``.
    shared
        What all panels share, shape ``(n_shared,)``.
    log_build, log_gain
        Log film build of each segment and log gain of each panel [1], shapes ``(n_segments,)`` and
        ``(n_panels,)``.
    solid_return_ratio
        Internal-return ratio of each ground that holds no flake [1], shape ``(n_grounds,)``.
    """

    layout: ParameterLayout
    hazy: BoolArray
    waves: FloatArray
    shared: FloatArray
    log_build: FloatArray
    log_gain: FloatArray
    solid_return_ratio: FloatArray

    @property
    def absorption(self) -> FloatArray:
        """Absorption of each toner [1], shape ``(n_toners, n_wavelengths)``."""
        return np.exp(self._curves[: self.layout.n_toners])

    @property
    def scattering(self) -> FloatArray:
        """Scattering of each toner [1], shape ``(n_toners, n_wavelengths)``."""
        first = self.layout.size - self.layout.n_toners * len(self.waves)
        logs = self.shared[first:].reshape(self.layout.n_toners, len(self.waves)) @ self.waves
        return np.asarray(np.exp(logs) * self.hazy[:, np.newaxis])

    @property
    def ground_reflectance(self) -> FloatArray:
        """Reflectance of each ground inside the film [1], shape ``(n_grounds, n_wavelengths)``."""
        return np.exp(self._curves[self.layout.n_toners :])

    @property
    def return_ratio(self) -> FloatArray:
        """Internal-return ratio of each ground [1], shape ``(n_grounds,)``."""
        return_ratio = self.solid_return_ratio.copy()
        for ground in self.layout.metallic:
            logit = (
                self.shared[self.layout.return_ratio]
                + self.shared[self.layout.return_ratio_departure(ground)]
            )
            return_ratio[ground] = return_ratio_at(logit)
        return return_ratio

    @property
    def black(self) -> float:
        """What the instrument adds to every reflectance [1]."""
        return float(self.shared[self.layout.black])

    @property
    def letdown(self) -> FloatArray:
        """Log strength per doubling of the letdown [1], ``(n_toners,)``."""
        first = self.layout.letdown(0)
        return self.shared[first : first + self.layout.n_toners]

    @property
    def key_strength(self) -> FloatArray:
        """Log strength of each ground in keyed ones [1], ``(n_grounds,)``; 0 if it is in none."""
        strengths = np.zeros(self.layout.n_grounds)
        for ground in self.layout.parents:
            strengths[ground] = self.shared[self.layout.key_strength(ground)]
        return strengths

    def moved(self, shared: FloatArray, build: FloatArray, gain: FloatArray) -> Parameters:
        """These parameters after a step.

        Parameters
        ----------
        shared
            Step of the shared parameters, shape ``(n_shared,)``.
        build
            Step of each segment's log build [1], shape ``(n_segments,)``.
        gain
            Step of each panel's log gain [1], shape ``(n_panels,)``.
        """
        return replace(
            self,
            shared=self.shared + shared,
            log_build=self.log_build + build,
            log_gain=self.log_gain + gain,
        )

    def with_toner(self, toner: int, log_absorption: FloatArray) -> Parameters:
        """These parameters with one toner's curve replaced.

        Parameters
        ----------
        toner
            The toner's number.
        log_absorption
            Logarithm of its curve [1], shape ``(n_wavelengths,)``.
        """
        shared = self.shared.copy()
        shared[self.layout.toner(toner)] = log_absorption
        return replace(self, shared=shared)

    @property
    def _curves(self) -> FloatArray:
        return self.shared[: self.layout.return_ratio].reshape(-1, self.layout.n_wavelengths)


def return_ratio_at(logit: FloatLike) -> FloatArray:
    """Internal-return ratio t of flake [1] by its logit log(t/(2 - t)), the same shape.

    Parameters
    ----------
    logit
        Any shape.
    """
    return np.asarray(_MOST_RETURN_RATIO / (1.0 + np.exp(-np.asarray(logit))))


def return_ratio_logit(return_ratio: FloatLike) -> FloatArray:
    """The inverse of `return_ratio_at`, the same shape.

    Parameters
    ----------
    return_ratio
        t, between 0 and 2 [1], any shape.
    """
    t = np.asarray(return_ratio)
    return np.asarray(np.log(t / (_MOST_RETURN_RATIO - t)))


def return_ratio_slope(return_ratio: FloatLike) -> FloatArray:
    """How much t changes with its logit, t (1 - t/2) [1], the same shape.

    Parameters
    ----------
    return_ratio
        t [1], any shape.
    """
    t = np.asarray(return_ratio)
    return np.asarray(t * (1.0 - t / _MOST_RETURN_RATIO))


def _coloured(seen: Observations) -> tuple[float, ...]:
    """How coloured each ground reads where no spectrum says so in full; flake alone counts as grey.

    Flake reflects smoothly whatever its colour; what it is mixed with need not. A ground without a
    bare reading, as where one is judged by all others, counts as grey.
    """
    if not seen.lab_lights:
        return ()
    coloured: FloatArray = np.zeros(len(seen.grounds))
    for ground, name in enumerate(seen.grounds):
        if "+" in name or not seen.metallic[ground]:
            read = seen.lab[(seen.ground == ground) & ~seen.is_film, 0]
            read = read[~np.isnan(read[:, 0])]
            if len(read):
                coloured[ground] = colouredness(read.mean(axis=0))
    return tuple(coloured.tolist())


def blank(seen: Observations) -> Parameters:
    """The prior's mean: every toner may scatter, and nobody's hand varied."""
    layout = ParameterLayout.of(seen)
    mean, _ = shared_prior(layout, seen.wavelength_nm)
    return Parameters(
        layout,
        np.ones(layout.n_toners, dtype=np.bool_),
        haze_basis(seen.wavelength_nm),
        mean,
        np.zeros(seen.segment_coats.size),
        np.zeros(len(seen.panels)),
        np.ones(layout.n_grounds),
    )


def shared_prior(
    layout: ParameterLayout, wavelength_nm: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Mean ``(n_shared,)`` and precision ``(n_shared, n_shared)`` of the shared parameters.

    Parameters
    ----------
    layout
        Where the parameters stand.
    wavelength_nm
        [nm], shape ``(n_wavelengths,)``.
    """
    mean, precision = np.zeros(layout.size), np.zeros((layout.size, layout.size))
    absorber = absorber_prior(wavelength_nm)
    curves = [(layout.toner(toner), absorber) for toner in range(layout.n_toners)]
    curves += [
        (layout.ground(ground), ground_prior(wavelength_nm, coloured=coloured))
        for ground, coloured in enumerate(layout.coloured or [0.0] * layout.n_grounds)
    ]
    for here, prior in curves:
        mean[here] = prior.mean
        precision[np.ix_(here, here)] = prior.precision
    for condition, sd in (
        (layout.black, _BLACK_SD),
        (layout.index, _INDEX_SD),
        (layout.edge, _EDGE_SD),
        (layout.thinning, _THINNING_SD),
    ):
        precision[condition, condition] = sd**-2
    letdowns = layout.letdown(0) + np.arange(layout.n_toners)
    together = np.full((letdowns.size, letdowns.size), _LETDOWN_SD**2)
    together += _LETDOWN_DEPARTURE_SD**2 * np.eye(letdowns.size)
    precision[np.ix_(letdowns, letdowns)] = np.linalg.inv(together)
    for toner in range(layout.n_toners):
        here = layout.haze(toner)
        mean[here] = HAZE_MEAN
        precision[here, here] = np.asarray(HAZE_SD) ** -2.0
    if layout.metallic:
        mean[layout.return_ratio] = _RETURN_MEAN
        precision[layout.return_ratio, layout.return_ratio] = _RETURN_SD**-2
        for ground in layout.metallic:
            departure = layout.return_ratio_departure(ground)
            is_keyed = any(mix.ground == ground for mix in layout.keyed)
            precision[departure, departure] = (
                _RETURN_KEYED_SD if is_keyed else _RETURN_DEPARTURE_SD
            ) ** -2
    for ground in layout.parents:
        precision[layout.key_strength(ground), layout.key_strength(ground)] = STRENGTH_SD**-2
    return mean, precision
