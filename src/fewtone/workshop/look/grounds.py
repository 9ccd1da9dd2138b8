"""What to know of grounds before anything is sprayed over them."""

from __future__ import annotations

from collections.abc import Iterable

from fewtone.model.curves import Curves
from fewtone.model.keyed import parents_of

__all__ = ["ground_cautions"]


def ground_cautions(grounds: Iterable[str], curves: Curves) -> list[str]:
    """What to know of grounds that nobody has read yet.

    Parameters
    ----------
    grounds
        What would be sprayed over.
    curves
        The learnt shelf, with these grounds predicted where they were not read.
    """
    return [
        f"The ground {ground} was never read: its colour is worked out from "
        f"{' and '.join(parents_of(ground))}. Spray it bare, clear it and read it three times "
        "before the colour is mixed."
        for ground in dict.fromkeys(grounds)
        if ground in curves.predicted_grounds
    ]
