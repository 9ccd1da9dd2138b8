"""What figures mean to somebody who looks at panels, in words that commands and page share.

The steps are common practice, no source: where a difference begins to be seen depends on the eye,
the light and the colour. ISO/TR 28642 puts the middle of its observers at ΔE00 0.8 (seen) and 1.8
(accepted) for tooth colours, which these steps agree with; the figures are from memory.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fewtone.model.target import Target

__all__ = ["difference_words", "evenness_words", "sureness_words", "swatch_words"]

_DIFFERENCES = (
    (0.5, "the same to the eye"),
    (1.0, "hardly a difference, side by side"),
    (2.0, "a slight difference, side by side"),
    (4.0, "a clear difference"),
)
_EVENNESS = (
    (1.0, "very forgiving"),
    (2.0, "forgiving"),
    (4.0, "uneven passes show"),
)


def difference_words(de00: float) -> str:
    """How a ΔE00 looks: ``hardly a difference, side by side``."""
    return next((words for most, words in _DIFFERENCES if de00 <= most), "another colour")


def evenness_words(unevenness: float) -> str:
    """How a mix takes a heavy or a light pass: ``forgiving``."""
    return next((words for most, words in _EVENNESS if unevenness <= most), "unforgiving")


def swatch_words(target: Target) -> str:
    """A swatch's number and name, such as ``108 Beet soup``; empty where no swatch was named."""
    is_swatch = target.name or not any(mark in target.request for mark in ",;#")
    return f"{target.request} {target.name}".strip() if is_swatch else ""


def sureness_words(pass_probability: float | None) -> str:
    """The chance that a fresh panel passes; plain words when it is not known."""
    if pass_probability is None:
        return "not known yet"
    return f"{pass_probability:.0%} of fresh panels pass"
