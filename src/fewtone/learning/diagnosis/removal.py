"""What a shelf still tells without some of its panels."""

from __future__ import annotations

import numpy as np

from fewtone.learning.observations import Observations
from fewtone.typing import BoolArray

__all__ = ["still_learnable"]

# Fewer different doses than this leave strength, film build and ground in one pot.
_LEAST_DOSES = 2


def still_learnable(seen: Observations, counted: BoolArray) -> bool:
    """Whether the panels that count teach every toner and ground that all of them teach.

    A toner must be left with readings at two doses, sprayed alone if it was sprayed alone at two:
    else its strength cannot be told from the film build, or not from the toners it is mixed with.
    A ground must be left with a reading without colour.

    Parameters
    ----------
    seen
        All that was read.
    counted
        Whether each panel counts, shape ``(n_panels,)``.
    """
    everything = np.ones_like(counted)
    before, after = _known_doses(seen, everything), _known_doses(seen, counted)
    return before <= after


def _known_doses(seen: Observations, counted: BoolArray) -> set[tuple[str, str]]:
    """What the panels that count tell: names, and of what kind the knowledge is."""
    known: set[tuple[str, str]] = set()
    doses: dict[tuple[str, str], set[object]] = {}
    for item, panel in zip(seen.readings, seen.panel, strict=True):
        if not counted[panel]:
            continue
        if item.is_bare:
            known.add(("bare", item.ground))
            continue
        for toner, share in item.blend.fractions.items():
            kind = "alone" if len(item.blend) == 1 else "blended"
            for how in (kind, "at all"):
                doses.setdefault((how, toner), set()).add(item.load * share)
    return known | {
        key for key, loads in doses.items() if key[0] != "blended" and len(loads) >= _LEAST_DOSES
    }
