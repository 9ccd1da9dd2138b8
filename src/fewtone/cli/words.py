"""Figures in words that the commands share."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fewtone.match.result import Proof
    from fewtone.model.target import Target
    from fewtone.typing import FloatArray

__all__ = ["lab_words", "proof_words", "target_words"]


def lab_words(lab: Sequence[float] | FloatArray) -> str:
    """A colour as ``L* 38.2  a* -18.4  b*   9.7``."""
    return f"L* {lab[0]:.1f}  a* {lab[1]:5.1f}  b* {lab[2]:5.1f}"


def proof_words(proof: Proof, explain: bool) -> list[str]:
    """What stands behind the picks: in a line, or explained step by step."""
    if explain:
        return ["How the picks are proven:", *(f"  {line}" for line in proof.lines)]
    return [f"Proven best of {proof.admissible:,} recipes that the rules admit."]


def target_words(target: Target) -> str:
    """A target and how it was taken."""
    from fewtone.report.words import swatch_words

    name = swatch_words(target) or (target.request if target.request.startswith("#") else "")
    name = f" {name}:" if name else ""
    return f"Target:{name} {lab_words(target.lab)}, taken in {target.light}, {target.geometry}"
