"""Keyed grounds that were never read: predicted from their parents, and how sure that is.

Curves are extended by such grounds, which then are grounds like any other to all that works with
curves. A keyed ground that was read is learnt, and stands in the curves already.

How sure: parents deviate as learning says, each paint's strength by what is left of its prior, and
the law of mixing itself by a level, by a shape over some tens of nm, and in its return ratio. The
last three are calibrated in a simulated booth. Every direction is shared by all mixes, which no one
recipe can tell from each having its own.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from functools import lru_cache

import numpy as np

from fewtone.model.curves import Curves
from fewtone.model.keyed import KeyedGround
from fewtone.model.uncertainty import ARRAYS, Uncertainty
from fewtone.optics.opaque import mixed_ground
from fewtone.typing import FloatArray, IntArray

__all__ = [
    "FLAKE_RATIOS",
    "RETURN_SD",
    "STRENGTH_SD",
    "as_if_read",
    "mixing_covariance",
    "with_keyed",
]

STRENGTH_SD = 0.4
"""Standard deviation of a paint's log strength before any of its mixes is read."""
RETURN_SD = 0.4
"""Standard deviation of the logit of a mix's internal-return ratio, by the law of mixing."""
# Of log reflectance, by the law of mixing: its level, its shape with how far that reaches, and what
# is left at each wavelength.
_LEVEL_SD, _SHAPE_SD, _SHAPE_NM, _ROUGH_SD = 0.035, 0.035, 60.0, 0.004
# Shapes are kept until they hold this share of their variance.
_KEPT = 0.97
FLAKE_RATIOS = (1e-3, 0.99)
"""Least and largest return ratio that flake has in the law of mixing: a mirror's, a solid's."""
# Of a standard deviation: mild enough to be linear.
_STEP = 1e-4


def mixing_covariance(wavelength_nm: FloatArray) -> FloatArray:
    """Covariance of what the law of mixing misses of log reflectance, ``(n, n)``.

    Parameters
    ----------
    wavelength_nm
        [nm], shape ``(n,)``.
    """
    apart = (wavelength_nm[:, np.newaxis] - wavelength_nm) / _SHAPE_NM
    smooth = _LEVEL_SD**2 + _SHAPE_SD**2 * np.exp(-0.5 * apart**2)
    return np.asarray(smooth + _ROUGH_SD**2 * np.eye(wavelength_nm.size))


def with_keyed(curves: Curves, grounds: Iterable[str]) -> Curves:
    """Curves with these grounds among theirs.

    Parameters
    ----------
    curves
        The learnt shelf.
    grounds
        Names of grounds. Those that are learnt stay as they are; keyed ones that are not are
        predicted from their parents; those of parents that are not learnt are left out.
    """
    return _with_keyed(curves, tuple(grounds))


# The same curves for the same question: what is laid out for a search of them then serves the next.
@lru_cache(maxsize=8)
def _with_keyed(curves: Curves, grounds: tuple[str, ...]) -> Curves:
    new: dict[str, KeyedGround] = {}
    for name in grounds:
        if "+" in name and name not in curves.grounds:
            mix = KeyedGround.parse(name)
            if all(parent in curves.grounds for parent in mix.parts):
                new[str(mix)] = mix
    if not new:
        return curves
    parts = [_Mix(curves, mix) for mix in new.values()]
    return replace(
        curves,
        grounds=(*curves.grounds, *new),
        ground_reflectance=np.vstack([curves.ground_reflectance, *(m.reflectance for m in parts)]),
        return_ratio=np.append(curves.return_ratio, [mix.return_ratio for mix in parts]),
        metallic=np.append(curves.metallic, [mix.has_flake for mix in parts]),
        key_strength=np.append(curves.key_strength, np.zeros(len(new))),
        predicted_grounds=(*curves.predicted_grounds, *new),
        uncertainty=curves.uncertainty and _extended(curves, curves.uncertainty, parts),
    )


@lru_cache(maxsize=8)
def as_if_read(curves: Curves) -> Curves:
    """Curves of `with_keyed` as they will stand once its grounds are read and read as predicted.

    What is predicted is then as sure as the parents are.
    """
    sure = curves.uncertainty
    if sure is None or not curves.predicted_grounds:
        return curves
    n_added = len(sure.key_strength) + len(_shapes(curves.wavelength_nm)) + 1
    end = len(sure.return_ratio) - sure.lasting
    kept = {
        name: np.delete(getattr(sure, name), np.s_[end - n_added : end], axis=0) for name in ARRAYS
    }
    return replace(curves, uncertainty=replace(sure, **kept))


class _Mix:
    """One mix: its optics, and how they move with its parents."""

    def __init__(self, curves: Curves, mix: KeyedGround) -> None:
        self.rows: IntArray = np.array([curves.grounds.index(name) for name in mix.parts])
        self.fractions = np.array([float(share) for share in mix.fractions.values()])
        self.is_flake = curves.metallic[self.rows]
        self.has_flake = bool(self.is_flake.any())
        self.parents = (
            curves.ground_reflectance[self.rows],
            self._in_mixes(curves.return_ratio[self.rows]),
            curves.key_strength[self.rows],
        )
        reflectance, ratio = mixed_ground(*self.parents, self.fractions)
        self.reflectance, self.return_ratio = reflectance, float(ratio)

    def moved(
        self, reflectance: FloatArray, ratio: FloatArray, strength: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Deviations ``(n, n_wavelengths)`` and ``(n,)`` where its parents deviate by these.

        `reflectance` is ``(n, n_parents, n_wavelengths)``, the others ``(n, n_parents)``.
        """
        rho, t, strengths = self.parents
        there, back = mixed_ground(
            np.maximum(rho + _STEP * reflectance, 1e-6),
            self._in_mixes(t + _STEP * ratio),
            strengths + _STEP * strength,
            self.fractions,
        )
        return (there - self.reflectance) / _STEP, (back - self.return_ratio) / _STEP

    def _in_mixes(self, return_ratio: FloatArray) -> FloatArray:
        """Return ratios as the law of mixing takes them, which tells flake by them; same shape."""
        return np.where(self.is_flake, np.clip(return_ratio, *FLAKE_RATIOS), return_ratio)


def _shapes(wavelength_nm: FloatArray) -> FloatArray:
    """The law's misses of log reflectance as few directions, ``(n, n_wavelengths)``."""
    values, vectors = np.linalg.eigh(mixing_covariance(wavelength_nm))
    values, vectors = values[::-1], vectors[:, ::-1]
    kept = 1 + int(np.searchsorted(np.cumsum(values), _KEPT * values.sum()))
    return np.asarray((vectors[:, :kept] * np.sqrt(values[:kept])).T)


def _extended(curves: Curves, sure: Uncertainty, mixes: list[_Mix]) -> Uncertainty:
    """How sure the curves are with these grounds beside them.

    New directions stand before those that no panel tells of: readings over a keyed ground tell.
    """
    strengths = sure.key_strength
    if not strengths.size:
        strengths = STRENGTH_SD * np.eye(len(curves.grounds))
    shapes = _shapes(curves.wavelength_nm)
    kept = len(shapes)
    before = len(sure.return_ratio) - sure.lasting
    n_added = len(strengths) + kept + 1

    def inserted(array: FloatArray, grounds_axis: bool = False) -> FloatArray:
        """The array with directions of nothing put in, and grounds of nothing at the end."""
        wider = np.insert(array, [before] * n_added, 0.0, axis=0)
        if grounds_axis:
            more = np.zeros((len(wider), len(mixes), *wider.shape[2:]))
            wider = np.concatenate([wider, more], axis=1)
        return np.asarray(wider)

    reflectance = inserted(sure.ground_reflectance, True)
    ratio = inserted(sure.return_ratio, True)
    first = len(curves.grounds)
    none = np.zeros((len(strengths), first, curves.wavelength_nm.size))
    old = np.r_[0:before, before + n_added : len(ratio)]
    for row, mix in enumerate(mixes, first):
        # Parents first, in the directions that were there; then their strengths, in their own.
        off, back = mix.moved(
            np.concatenate([sure.ground_reflectance[:, mix.rows], none[:, mix.rows]]),
            np.concatenate([sure.return_ratio[:, mix.rows], none[:, mix.rows, 0]]),
            np.concatenate([0.0 * sure.return_ratio[:, mix.rows], strengths[:, mix.rows]]),
        )
        here = before + len(strengths)
        learnt = len(old)
        reflectance[old, row], ratio[old, row] = off[:learnt], back[:learnt]
        reflectance[before:here, row] = off[learnt:]
        ratio[before:here, row] = back[learnt:]
        reflectance[here : here + kept, row] = shapes * mix.reflectance
        t = mix.return_ratio
        if mix.has_flake:
            ratio[here + kept, row] = RETURN_SD * t * (1.0 - t)
    return replace(
        sure,
        absorption=inserted(sure.absorption),
        scattering=inserted(sure.scattering),
        ground_reflectance=reflectance,
        return_ratio=ratio,
        black=inserted(sure.black),
        index=inserted(sure.index),
        edge=inserted(sure.edge),
        letdown=inserted(sure.letdown),
        thinning=inserted(sure.thinning),
        feared=inserted(sure.feared),
        key_strength=np.hstack([strengths, np.zeros((len(strengths), len(mixes)))]),
    )
