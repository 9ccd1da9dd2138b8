"""What keyed grounds that were read have to do with their parents: the law of mixing as a prior.

A keyed ground has a reflectance and a return ratio of its own, as any ground has. That it is a mix
of its parents is a prior beside all others: the logarithm of its reflectance is that of
`fewtone.optics.opaque.mixed_ground` but for what that law misses, the logit of its return ratio
likewise. So a few readings of a mix pin it, what they leave open its parents fill in, and every
mix that is read tells how strong its parents are in all others.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fewtone.learning.observations import Observations
from fewtone.learning.parameters import (
    KeyedMix,
    ParameterLayout,
    Parameters,
    return_ratio_at,
    return_ratio_logit,
    return_ratio_slope,
)
from fewtone.optics.opaque import mixed_ground
from fewtone.prediction.keyed import FLAKE_RATIOS, RETURN_SD, STRENGTH_SD, mixing_covariance
from fewtone.typing import FloatArray, IntArray

__all__ = ["MixingLink", "mixing_links", "strength_deviations"]

_STEP = 1e-4
# A paint's log strength in one mix is off so far from what others tell (calibrated in the booth,
# seeds 901 to 905).
_OTHERWISE_SD = 0.15


def mixing_links(seen: Observations, layout: ParameterLayout) -> tuple[MixingLink, ...]:
    """The law of mixing for each keyed ground whose parents were read."""
    if not layout.keyed:
        return ()
    root = np.linalg.inv(np.linalg.cholesky(mixing_covariance(seen.wavelength_nm)))
    return tuple(MixingLink(layout, mix, root) for mix in layout.keyed)


@dataclass(frozen=True, slots=True, eq=False)
class MixingLink:
    """One mix and its parents.

    Parameters
    ----------
    layout
        Where the shared parameters stand.
    mix
        The mix.
    root
        Whitens what the law of mixing misses, shape ``(n_waves, n_waves)``.
    """

    layout: ParameterLayout
    mix: KeyedMix
    root: FloatArray

    @property
    def columns(self) -> IntArray:
        """Places of the shared parameters that it ties together, ``(n_here,)``."""
        layout, mix = self.layout, self.mix
        single = [layout.key_strength(parent) for parent in mix.parents]
        if self._has_flake:
            flaked = [g for g in (mix.ground, *mix.parents) if g in layout.metallic]
            single += [layout.return_ratio, *(layout.return_ratio_departure(g) for g in flaked)]
        curves = [layout.ground(ground) for ground in (mix.ground, *mix.parents)]
        return np.concatenate([*curves, np.array(single, dtype=np.int64)])

    def residual(self, at: Parameters) -> FloatArray:
        """How far the mix is from the law, in standard deviations, ``(n_residuals,)``."""
        return self._residual(at.shared, at.solid_return_ratio)

    def linearise(self, at: Parameters) -> tuple[FloatArray, FloatArray]:
        """Residual, and its derivatives in the parameters at its columns, ``(n_rows, n_here)``."""
        solid, width = at.solid_return_ratio, self.layout.n_wavelengths
        here = self._residual(at.shared, solid)
        columns = self.columns
        jacobian = np.zeros((here.size, columns.size))
        jacobian[:width, :width] = self.root
        moved = np.repeat(at.shared[np.newaxis], columns.size - width, axis=0)
        moved[np.arange(len(moved)), columns[width:]] += _STEP
        jacobian[:, width:] = ((self._residual(moved, solid) - here) / _STEP).T
        return here, jacobian

    @property
    def _has_flake(self) -> bool:
        return self.mix.ground in self.layout.metallic

    def _residual(self, shared: FloatArray, solid: FloatArray) -> FloatArray:
        """Residuals ``(..., n_residuals)`` at shared parameters ``(..., n_shared)``.

        `solid` is the return ratio of grounds without flake ``(n_grounds,)``.
        """
        log_law, law = self._law(shared, solid)
        missed = (shared[..., self.layout.ground(self.mix.ground)] - log_law) @ self.root.T
        if not self._has_flake:
            return np.asarray(missed)
        # RETURN_SD is one of log(t/(1 - t)).
        sd = RETURN_SD * law * (1.0 - law) / return_ratio_slope(law)
        off = (self._logit(shared, self.mix.ground) - return_ratio_logit(law)) / sd
        return np.append(missed, off[..., np.newaxis], axis=-1)

    def _law(self, shared: FloatArray, solid: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Log reflectance and return ratio as the law of mixing has them."""
        layout, parents = self.layout, self.mix.parents
        ratio = [
            np.clip(return_ratio_at(self._logit(shared, parent)), *FLAKE_RATIOS)
            if parent in layout.metallic
            else np.full(shared.shape[:-1], solid[parent])
            for parent in parents
        ]
        reflectance, mixed = mixed_ground(
            np.exp(np.stack([shared[..., layout.ground(parent)] for parent in parents], axis=-2)),
            np.stack(ratio, axis=-1),
            shared[..., [layout.key_strength(parent) for parent in parents]],
            np.array(self.mix.fractions),
        )
        return np.log(reflectance), np.clip(mixed, *FLAKE_RATIOS)

    def _logit(self, shared: FloatArray, ground: int) -> FloatArray:
        layout = self.layout
        return np.asarray(
            shared[..., layout.return_ratio] + shared[..., layout.return_ratio_departure(ground)]
        )


def strength_deviations(at: Parameters, covariance: FloatArray) -> FloatArray:
    """Independent directions in which log strengths may be off, ``(n_grounds, n_grounds)``.

    In mixes that nobody read: what others tell of a paint's strength holds for these but roughly.
    Those of grounds of which no mix was read are as unsure as before; none at all where no mix was.

    Parameters
    ----------
    at
        Parameters.
    covariance
        Of the shared ones, shape ``(n_shared, n_shared)``.
    """
    layout = at.layout
    if not layout.keyed:
        return np.zeros((0, 0))
    prior = STRENGTH_SD**2 * np.eye(layout.n_grounds)
    parents = list(layout.parents)
    columns = [layout.key_strength(parent) for parent in parents]
    prior[np.ix_(parents, parents)] = covariance[np.ix_(columns, columns)]
    prior[parents, parents] += _OTHERWISE_SD**2
    values, vectors = np.linalg.eigh(prior)
    return np.asarray((vectors * np.sqrt(np.maximum(values, 0.0))).T)
