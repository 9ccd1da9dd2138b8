"""One place read many times over counts as few readings, and a mistyped one stays visible."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fewtone.learning.repeats import merge_repeats
from unit.learning.shelves import D65, curves_of, spray

CURVES = curves_of(450.0, 600.0)
LINE = ("A", "t0, 6:1, 2 coats over white")


def test_few_repeats_stay_as_they_are() -> None:
    """Nothing is averaged below the limit, nor between places that differ."""
    items = spray(CURVES, [LINE, LINE, ("A", "t0, 6:1, 3 coats over white")]).items
    assert merge_repeats(items, 2) == items


def test_the_outlier_stays_and_the_rest_is_averaged() -> None:
    """Of thirty spectra four are left: three as they were read, and the mean of all others."""
    items = list(spray(CURVES, [LINE] * 30).items[2:])
    read = items[0].reflectance
    assert read is not None
    rng = np.random.default_rng(1)
    spectra = read * (1.0 + 0.001 * rng.standard_normal((30, read.size)))
    spectra[17] *= 1.5
    items = [replace(i, reflectance=s) for i, s in zip(items, spectra, strict=True)]
    merged = merge_repeats(items, 4)
    assert len(merged) == 4
    assert any(item is items[17] for item in merged)
    kept = [i for i, item in enumerate(items) if any(item is one for one in merged)]
    assert len(kept) == 3
    (mean,) = [item for item in merged if not any(item is one for one in items)]
    rest = np.delete(spectra, kept, axis=0)
    assert mean.reflectance is not None
    np.testing.assert_allclose(mean.reflectance, rest.mean(axis=0), rtol=1e-12)


def test_labs_are_averaged_too() -> None:
    """A Lab reading has its coordinates averaged under each light."""
    items = spray(CURVES, [LINE] * 5, lights=[D65]).items[2:]
    merged = merge_repeats(items, 2)
    assert len(merged) == 2
    assert all(item.lab is not None for item in merged)
    np.testing.assert_allclose(merged[0].lab[D65], items[0].lab[D65], atol=1e-9)  # type: ignore[index]
