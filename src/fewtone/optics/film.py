"""A clear, absorbing film in optical contact with its ground, seen in one geometry.

Model
    Film and clear are one layer of one refractive index with a smooth top (Fresnel) and no
    scattering inside. Light crosses the film at the angle of its ray, so that every path has its
    own length: the angular integrals below, not two fluxes. The ground reflects the share ρ of
    what meets it; light that the top sends back down meets the ground again, and again:

        R = surface + first + escape(τ) · ρ · (1 + ρ · back₁(τ) / (1 - ρ · back₂(τ)))

    τ      absorption optical depth of the film along its normal, one way [1]
    ρ      reflectance of the ground inside the film [1]; may exceed 1 over flake in 45:0
    escape, trapped   what the geometry makes of the film, below
    back₁, back₂      how much of the light that left the ground for the first time, and for any
                      later time, comes round again: both are `trapped` over a Lambertian ground,
                      less over flake (`fewtone.optics.flake`)

    ===== ================================================== =======================
    45:0  (1-F₄₅)(1-F₀)/n² · exp(-τ(1/μ'₄₅ + 1))             Williams & Clapper 1953
    8:d   (1-F₈) · exp(-τ/μ'₈) · t_o(τ)                      Simonot, Hébert & Hersch 2006
    both  trapped(τ) = r_i(τ)
    ===== ================================================== =======================

    di:8 includes the first surface reflection F₈ (specular included), de:8 leaves it out.

Sources
    F. C. Williams and F. R. Clapper, J. Opt. Soc. Am. 43, 595-599 (1953),
    doi:10.1364/JOSA.43.000595.
    L. Simonot, M. Hébert and R. D. Hersch, J. Opt. Soc. Am. A 23, 1432-1441 (2006),
    doi:10.1364/JOSAA.23.001432.

Films that scatter a little
    `fewtone.optics.scatter` says what scattering adds: haze of its own, and changes of `escape`
    and `trapped`, which flake shares out again. Without scattering the integrals above stand
    untouched.

Validity
    Index from 1 (no interface) upwards.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from fewtone.optics.flake import (
    NOTHING,
    Part,
    clear_derivatives,
    clear_returns,
    hazy_derivatives,
    hazy_returns,
)
from fewtone.optics.integrals import integral_table
from fewtone.optics.interface import film_cosine, fresnel
from fewtone.optics.scatter import HazeTables, haze_tables
from fewtone.optics.terms import FilmDerivatives, FilmTerms
from fewtone.typing import FloatArray, FloatLike

__all__ = ["FilmDerivatives", "FilmOptics", "FilmTerms", "Geometry"]


class Geometry(StrEnum):
    """How the instrument lights and looks at the panel."""

    DIRECTIONAL = "45:0"
    DIFFUSE_SPECULAR_INCLUDED = "di:8"
    DIFFUSE_SPECULAR_EXCLUDED = "de:8"


@dataclass(frozen=True, slots=True)
class FilmOptics:
    """A film's optics in one geometry.

    Parameters
    ----------
    geometry
        How the panel is lit and seen.
    index
        Refractive index of film and clear [1].
    surface
        Reflectance that the surface itself adds [1]: 0 under clear; a few hundredths for an
        uncleared, matte coat, whose surface reflection no geometry can leave out; what the
        instrument's black is off by adds to it.
    edge
        Thickness of film and clear over the radius of the aperture [1]. Light that the top returns
        wanders off sideways by twice the tangent of its direction, and some comes up beyond the
        aperture: to what is trapped, the film is deeper by this much.
    asymmetry
        Mean cosine of what the film scatters [1]: 0 alike in all directions, toward 1 forwards.
    """

    geometry: Geometry
    index: float = 1.5
    surface: float = 0.0
    edge: float = 0.0
    asymmetry: float = 0.0

    def terms(self, tau: FloatLike) -> FilmTerms:
        """Escape and trapped share of a film.

        Parameters
        ----------
        tau
            Absorption optical depth along the normal, one way [1], any shape, not negative.
        """
        depth = np.asarray(tau, dtype=float)
        scale, path = self._direct
        escape = scale * np.exp(-path * depth)
        if self.geometry is not Geometry.DIRECTIONAL:
            escape *= integral_table(self.index, False).value(depth)
        return FilmTerms(escape, integral_table(self.index, True).value(depth + self.edge))

    def derivatives(self, tau: FloatLike) -> tuple[FilmTerms, FilmTerms]:
        """`terms`, and their derivatives in τ, the same shape."""
        depth = np.asarray(tau, dtype=float)
        scale, path = self._direct
        escape = scale * np.exp(-path * depth)
        escape_by = -path * escape
        if self.geometry is not Geometry.DIRECTIONAL:
            diffuse, diffuse_by = integral_table(self.index, False).value_and_derivative(depth)
            escape_by = escape_by * diffuse + escape * diffuse_by
            escape = escape * diffuse
        trapped, trapped_by = integral_table(self.index, True).value_and_derivative(
            depth + self.edge
        )
        return FilmTerms(escape, trapped), FilmTerms(escape_by, trapped_by)

    def reflectance(
        self,
        tau: FloatLike,
        ground: FloatLike,
        return_ratio: FloatLike,
        scattering: FloatLike | None = None,
    ) -> FloatArray:
        """Reflectance factor of the film over a ground.

        Parameters
        ----------
        tau
            Absorption optical depth [1], shape ``(..., n_wavelengths)``.
        ground
            Reflectance of the ground inside the film [1], broadcasts with `tau`.
        return_ratio
            Internal-return ratio of the ground [1], broadcasts with `tau`.
        scattering
            Scattering optical depth [1], shaped like `tau`; None for a clear film.

        Returns
        -------
        Reflectance factor [1], broadcast shape. It may exceed 1 where the geometry is directional.
        """
        clear, rho = self.terms(tau), np.asarray(ground, dtype=float)
        if scattering is None:
            beside: FloatArray = np.asarray(self.first_surface)
            escape = clear.escape
            first, later = clear_returns(clear, tau, return_ratio, self._most_trapped, rho)
        else:
            added = self.haze.terms(tau, scattering)
            beside = self.first_surface + added.haze
            through = self.terms(np.asarray(tau) + scattering)
            escape, first, later = hazy_returns(
                clear, through, added, (tau, scattering), return_ratio, self._most_trapped, rho
            )
        first /= 1.0 - later
        first += 1.0
        first *= escape * rho
        first += beside
        return np.asarray(first)

    def reflectance_derivatives(
        self,
        tau: FloatLike,
        ground: FloatLike,
        return_ratio: FloatLike,
        scattering: FloatLike | None = None,
    ) -> FilmDerivatives:
        """`reflectance`, with its derivatives in all that it is given.

        The arguments are those of `reflectance`; without scattering the derivative in it is zero.
        """
        clear, clear_by = self.derivatives(tau)
        rho = np.asarray(ground, dtype=float)
        if scattering is None:
            haze = Part(NOTHING, NOTHING, NOTHING, NOTHING)
            escape, back_1, back_2 = clear_derivatives(
                clear, clear_by, tau, return_ratio, self._most_trapped
            )
        else:
            depth = np.asarray(tau) + scattering
            added = self.haze.derivatives(tau, scattering)
            d_tau, d_scattering = added.d_absorption.haze, added.d_scattering.haze
            haze = Part(added.terms.haze, d_tau, d_scattering, NOTHING)
            escape, back_1, back_2 = hazy_derivatives(
                (clear, clear_by),
                self.derivatives(depth),
                added,
                (tau, scattering),
                return_ratio,
                self._most_trapped,
            )
        rounds = 1.0 / (1.0 - rho * back_2.value)
        again = rho * back_1.value * rounds
        seen, twice = rho * (1.0 + again), escape.value * rho**2 * rounds
        d_tau, d_scattering, d_return_ratio = (
            haze[i] + escape[i] * seen + (back_1[i] + again * back_2[i]) * twice for i in (1, 2, 3)
        )
        return FilmDerivatives(
            reflectance=self.first_surface + haze.value + escape.value * seen,
            d_tau=d_tau,
            d_scattering=d_scattering,
            d_ground=escape.value * (1.0 + again + again * rounds),
            d_return_ratio=d_return_ratio,
        )

    def ground_from_bare(self, reflectance: FloatLike, return_ratio: FloatLike) -> FloatArray:
        """Reflectance of a ground inside the film from its reading under clear, without colour.

        Parameters
        ----------
        reflectance
            Reading of the bare ground under clear, as a factor [1], any shape.
        return_ratio
            Internal-return ratio of the ground [1], broadcasts with it.

        Returns
        -------
        Reflectance inside the film [1], broadcast shape: the inverse of `reflectance` at τ = 0.
        """
        bare = self.terms(0.0)
        escape = bare.escape
        back_1, back_2 = clear_returns(bare, 0.0, return_ratio, self._most_trapped)
        inner = np.asarray(reflectance, dtype=float) - self.first_surface
        # escape·(back₂ - back₁)·ρ² - (escape + back₂·inner)·ρ + inner = 0: the lesser root.
        linear = escape + back_2 * inner
        root = np.sqrt(linear**2 - 4.0 * escape * (back_2 - back_1) * inner)
        return np.asarray(2.0 * inner / (linear + root))

    def most_returned(self, return_ratio: FloatLike) -> FloatArray:
        """Largest share of light off a ground that comes round again, shaped like `return_ratio`.

        A ground whose reflectance reaches the inverse of this would never lose its light.
        """
        return np.asarray(clear_returns(self.terms(0.0), 0.0, return_ratio, self._most_trapped)[1])

    @property
    def haze(self) -> HazeTables:
        """What scattering adds in this geometry; built on first use."""
        if self.geometry is Geometry.DIRECTIONAL:
            return haze_tables(45.0, 0.0, self.index, self.asymmetry)
        return haze_tables(8.0, None, self.index, self.asymmetry)

    @property
    def first_surface(self) -> float:
        """Reflectance that never enters the film [1]."""
        if self.geometry is Geometry.DIFFUSE_SPECULAR_INCLUDED:
            return self.surface + float(fresnel(8.0, self.index))
        return self.surface

    @property
    def _most_trapped(self) -> float:
        """`trapped` of no film at all."""
        table = integral_table(self.index, True)
        return float(table.value(np.asarray(self.edge))) if self.edge else table.at_zero

    @property
    def _direct(self) -> tuple[float, float]:
        """Scale and path length per τ of the part of `escape` that is a plain exponential."""
        if self.geometry is Geometry.DIRECTIONAL:
            passed = (1.0 - fresnel(45.0, self.index)) * (1.0 - fresnel(0.0, self.index))
            path = 1.0 / film_cosine(45.0, self.index) + 1.0
            return float(passed) / self.index**2, float(path)
        return float(1.0 - fresnel(8.0, self.index)), float(1.0 / film_cosine(8.0, self.index))
