"""One place of a panel read many times over: as few readings as tell nearly the same."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import replace
from types import MappingProxyType

import numpy as np

from fewtone.model.readings import Reading
from fewtone.typing import FloatArray, frozen

__all__ = ["merge_repeats"]


def merge_repeats(items: Sequence[Reading], most: int) -> tuple[Reading, ...]:
    """Average what was read of one place more than `most` times.

    Those farthest from the median stay as they are, so that one mistyped row stays visible; the
    mean of all others stands in the place of the first of them.

    Parameters
    ----------
    items
        Readings in the order of their file.
    most
        How many readings of one place are kept; at least 2.
    """
    rows_of: dict[Hashable, list[int]] = {}
    for i, item in enumerate(items):
        rows_of.setdefault(_condition(item), []).append(i)
    kept = dict(enumerate(items))
    for rows in rows_of.values():
        if len(rows) <= most:
            continue
        values = np.stack([_values(items[i]) for i in rows])
        off = np.abs(values - np.median(values, axis=0)).max(axis=1)
        near = sorted(np.argsort(off, kind="stable")[: len(rows) - most + 1].tolist())
        mean = values[near].mean(axis=0)
        for i in near:
            del kept[rows[i]]
        kept[rows[near[0]]] = _with_values(items[rows[near[0]]], mean)
    return tuple(kept[i] for i in sorted(kept))


def _condition(item: Reading) -> Hashable:
    return (
        item.panel,
        item.ground,
        item.is_bare,
        tuple(sorted(item.blend.fractions.items())) if item.blend else (),
        item.load,
        item.reflectance is None,
        tuple(item.lab or {}),
    )


def _values(item: Reading) -> FloatArray:
    if item.reflectance is not None:
        return item.reflectance
    return np.array([value for lab in (item.lab or {}).values() for value in lab])


def _with_values(item: Reading, values: FloatArray) -> Reading:
    if item.reflectance is not None:
        return replace(item, reflectance=frozen(values))
    triples = values.reshape(-1, 3).tolist()
    lab = {
        light: (one, two, three)
        for light, (one, two, three) in zip(item.lab or {}, triples, strict=True)
    }
    return replace(item, lab=MappingProxyType(lab))
