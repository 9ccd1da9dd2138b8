"""What learning found: the optics of each toner and each ground."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from fewtone.model.film_fit import FilmFit
from fewtone.model.uncertainty import Uncertainty
from fewtone.model.variation import film_departures
from fewtone.optics.film import FilmOptics
from fewtone.typing import BoolArray, FloatArray, FloatLike, frozen

__all__ = ["Curves"]


@dataclass(frozen=True, slots=True, eq=False)
class Curves:
    """The learnt optics of a shelf.

    Parameters
    ----------
    wavelength_nm
        [nm], shape ``(n_wavelengths,)``, ascending.
    toners
        Names, in the order of the rows of `absorption`.
    absorption
        Absorption optical depth of one standard coat at unit volume fraction [1],
        shape ``(n_toners, n_wavelengths)``, not negative.
    scattering
        Scattering optical depth of one standard coat at unit volume fraction [1], shaped like
        `absorption`; zero for a clear toner. All clear if it is not given.
    grounds
        Names, in the order of the rows of `ground_reflectance`.
    ground_reflectance
        Reflectance inside the film [1], shape ``(n_grounds, n_wavelengths)``.
    return_ratio
        Internal-return ratio of each ground [1], shape ``(n_grounds,)``; 1 for a Lambertian
        solid, more for one that sends light back slanted, as flake of very broad slopes does too.
    metallic
        Which grounds hold flake, shape ``(n_grounds,)``; those of a return ratio below 1 if it is
        not given.
    optics
        The geometry, film and instrument that these hold for, as the readings say.
    stated_index
        The film index that shelf.toml said [1]; that of `optics` if it is not given.
    middle_letdown, per_doubling
        Log strength of all toners per doubling of the letdown, and the letdown that the curves hold
        for [1]; the former is 0 where the readings do not tell that strength leans on the letdown.
    thinning
        Power by which the film of n coats is less than n, next to that of 4 [1]; 0 where the
        readings do not tell that later coats lie thinner.
    hand
        panel_cv and coat_cv as the readings say, where panels vary clearly otherwise than
        shelf.toml says; else None.
    ground_cv
        How far the reflectance of solids and of metallics varies from panel to panel [1].
    key_strength
        Logarithm of how strongly each ground counts in a keyed one, next to what its own
        reflectance suggests [1], shape ``(n_grounds,)``; zero where no mix of it was read.
    predicted_grounds
        Keyed grounds that were never read, but are predicted from their parents.
    uncertainty
        How sure all of this is; None where it is not known.
    fits
        Fits of clear films over these grounds that are made already, each by a digest of all that
        went into it (`fewtone.search.bounds.exponentials.film_fits`): none is ever found for other
        optics or another ground.
    readings_digest
        SHA-256 of the readings they were learnt from, hexadecimal.
    version
        The fewtone version that learnt them.
    """

    wavelength_nm: FloatArray
    toners: tuple[str, ...]
    absorption: FloatArray
    grounds: tuple[str, ...]
    ground_reflectance: FloatArray
    return_ratio: FloatArray
    optics: FilmOptics
    scattering: FloatArray = field(default_factory=lambda: np.zeros(0))
    uncertainty: Uncertainty | None = None
    readings_digest: str = ""
    version: str = field(default="")
    stated_index: float = 0.0
    middle_letdown: float = 6.0
    per_doubling: float = 0.0
    thinning: float = 0.0
    hand: tuple[float, float] | None = None
    ground_cv: tuple[float, float] = (0.0, 0.0)
    key_strength: FloatArray = field(default_factory=lambda: np.zeros(0))
    metallic: BoolArray = field(default_factory=lambda: np.zeros(0, dtype=np.bool_))
    predicted_grounds: tuple[str, ...] = ()
    fits: Mapping[bytes, FilmFit] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if not self.scattering.size:
            object.__setattr__(self, "scattering", np.zeros_like(self.absorption))
        if not self.key_strength.size:
            object.__setattr__(self, "key_strength", np.zeros(len(self.grounds)))
        below = np.asarray(self.return_ratio) < 1.0
        metallic = np.array(self.metallic if self.metallic.size else below)
        metallic.flags.writeable = False
        object.__setattr__(self, "metallic", metallic)
        if not self.stated_index:
            object.__setattr__(self, "stated_index", self.optics.index)
        for name in (
            "wavelength_nm",
            "absorption",
            "scattering",
            "ground_reflectance",
            "return_ratio",
            "key_strength",
        ):
            object.__setattr__(self, name, frozen(getattr(self, name)))

    def films(self, coats: FloatLike) -> FloatArray:
        """Film of so many coats, next to that of one coat [1], shaped like `coats`.

        Parameters
        ----------
        coats
            How many, any shape; none makes no film.
        """
        passes = np.asarray(coats, dtype=float)
        log_coats = film_departures(passes, 0.0, 0.0)[..., 0] - film_departures(1.0, 0.0, 0.0)[0]
        return np.asarray(passes * np.exp(-self.thinning * log_coats))

    def strength(self, coats: float, medium_parts: float) -> float:
        """Strength of the toners per coat and part, next to the curves [1].

        Parameters
        ----------
        coats
            How many are sprayed.
        medium_parts
            Parts of medium to one part of the blend [1].
        """
        if self.per_doubling == 0.0 and self.thinning == 0.0:
            return 1.0
        log_coats, doublings = film_departures(coats, medium_parts, self.middle_letdown)
        return float(np.exp(self.per_doubling * doublings - self.thinning * log_coats))

    def with_strengths(self, strengths: Mapping[str, float]) -> Curves:
        """Curves of bottles that are stronger or weaker than those that were learnt.

        Parameters
        ----------
        strengths
            What the absorption and scattering of a toner, and what they may be off by, are
            multiplied by [1]; 1 for a toner that is not named, names not learnt count for nothing.
        """
        factor = np.array([strengths.get(name, 1.0) for name in self.toners])[:, np.newaxis]
        if np.all(factor == 1.0):
            return self
        sure = self.uncertainty
        return replace(
            self,
            absorption=self.absorption * factor,
            scattering=self.scattering * factor,
            uncertainty=sure
            and replace(
                sure, absorption=sure.absorption * factor, scattering=sure.scattering * factor
            ),
        )
