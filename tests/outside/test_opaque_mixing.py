"""Opaque mixing against measured pigment mixes.

Source: the NTU watercolour pigments spectral measurement data set, arXiv:1904.00275 (see
`outside.measured_coats`): thirteen pigments, each at its largest amount taken as opaque, and their
measured mixes two by two. The surface of the uncleared coats is taken off as J. L. Saunderson does,
J. Opt. Soc. Am. 32, 727 (1942), with k1 = .03 and k2 = .4, as the data's own note has them; paint
and paper are no ground coats, so what is judged is the law of mixing, not its last digit.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import least_squares

from booth import delta_e, lab
from fewtone.optics.opaque import mixed_ground
from outside.measured_coats import LIGHT, MeasuredCoats, Mixes, load

Array = NDArray[np.float64]

K1, K2 = 0.03, 0.4
# ΔE00 median and 90th percentile of the data set's own test mixes: with no strength known, and with
# the strengths that its other mixes tell. Measured 5.0/13.0 and 3.8/8.1; the mean of the spectra
# themselves is off by 17.2/37.7, and a finite two-flux film fitted on single coats by 4.75/12.5.
NO_STRENGTH, WITH_STRENGTH = (5.5, 14.0), (4.3, 9.0)


def _inside(reflectance: Array) -> Array:
    bare = (reflectance - K1) / (1.0 - K1 - K2 + K2 * reflectance)
    return np.asarray(np.clip(bare, 0.002, 0.96))


def _outside(reflectance: Array) -> Array:
    return np.asarray(K1 + (1.0 - K1) * (1.0 - K2) * reflectance / (1.0 - K2 * reflectance))


def _mixed(coats: MeasuredCoats, mixes: Mixes, strength: Array) -> Array:
    """Lab of mixes of opaque pigments by the law."""
    pair = np.array([np.flatnonzero(amount) for amount in mixes.amount])
    shares = np.take_along_axis(mixes.amount, pair, axis=1)
    shares = shares / shares.sum(axis=1, keepdims=True)
    alone = _inside(coats.singles[:, -1])
    reflectance, _ = mixed_ground(alone[pair], np.ones(pair.shape), strength[pair], shares)
    return lab(_outside(reflectance), coats.wavelength_nm, LIGHT)


def _off(coats: MeasuredCoats, mixes: Mixes, strength: Array) -> Array:
    measured = lab(mixes.reflectance, coats.wavelength_nm, LIGHT)
    off = delta_e(_mixed(coats, mixes, strength), measured)
    return np.percentile(off, [50, 90])


@pytest.mark.trial
def test_measured_mixes_follow_the_law_and_tell_the_strengths() -> None:
    """One strength a pigment, learnt from the data's train mixes, improves its test mixes."""
    coats = load()
    none = np.zeros(len(coats.singles))
    measured = lab(coats.train.reflectance, coats.wavelength_nm, LIGHT)

    def residuals(strength: Array) -> Array:
        miss = _mixed(coats, coats.train, strength) - measured
        return np.concatenate([miss.ravel(), 2.0 * strength])

    found = least_squares(residuals, none, max_nfev=8).x
    before, after = _off(coats, coats.test, none), _off(coats, coats.test, found)
    assert np.all(before <= NO_STRENGTH)
    assert np.all(after <= WITH_STRENGTH)
    assert np.all(after < 0.85 * before)
