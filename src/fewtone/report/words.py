"""What figures mean to somebody who looks at panels, in words that commands and page share.

The steps are common practice, no source: where a difference begins to be seen depends on the eye,
the light and the colour. Half of 175 observers saw a difference of ΔE00 0.8 and accepted one of 1.8
between tooth colours (R. D. Paravina et al., J. Esthet. Restor. Dent. 27, S1 (2015),
doi:10.1111/jerd.12149), which these steps agree with.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fewtone.decks import Needed
    from fewtone.model.target import Target

__all__ = ["difference_words", "evenness_words", "needed_lines", "sureness_words", "swatch_words"]

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
    """How a ΔE00 looks: ``hardly a difference, side by side``.

    Parameters
    ----------
    de00
        ΔE00, 0 or more.
    """
    return next((words for most, words in _DIFFERENCES if de00 <= most), "another colour")


def evenness_words(unevenness: float) -> str:
    """How a mix takes a heavy or a light pass: ``forgiving``.

    Parameters
    ----------
    unevenness
        ΔE00 between 90 % and 110 % of the film build.
    """
    return next((words for most, words in _EVENNESS if unevenness <= most), "unforgiving")


def swatch_words(target: Target) -> str:
    """A swatch's number and name, such as ``108 Beet soup``; empty where no swatch was named."""
    is_swatch = target.name or not any(mark in target.request for mark in ",;#")
    return f"{target.request} {target.name}".strip() if is_swatch else ""


def sureness_words(pass_probability: float | None) -> str:
    """The chance that a fresh panel passes; plain words when it is not known.

    Parameters
    ----------
    pass_probability
        From 0 to 1; None where it is not known.
    """
    if pass_probability is None:
        return "not known yet"
    return f"{pass_probability:.0%} of fresh panels pass"


def needed_lines(needed: Needed) -> list[str]:
    """Which bottles reach so much of a deck, line by line."""
    whole = f"The whole shelf reaches {needed.reachable:,} of {needed.swatches:,} swatches."
    if needed.toners is None or needed.grounds is None:
        lines = [f"No set of its bottles reaches {needed.percent:g} % of the deck. {whole}"]
    else:
        sure = (
            "No fewer do: this is proven."
            if needed.proven
            else f"It is proven that fewer than {needed.least_toners} toners, or with as many "
            f"fewer than {needed.least_grounds} grounds, do not; nor do as many bottles reach "
            f"more than {needed.most_reached:,}."
        )
        lines = [
            f"{needed.percent:g} % of the deck takes {len(needed.toners)} toners: "
            f"{', '.join(needed.toners)}",
            f"over {len(needed.grounds)} grounds: {', '.join(needed.grounds)}. They reach "
            f"{needed.reached:,}. {sure}",
            whole,
        ]
    if needed.losses and needed.losses[0].swatches:
        dearest = needed.losses[0]
        lines.append(
            f"The toner to run out of last is {dearest.name}: without it {dearest.swatches:,} of "
            "those are out of reach."
        )
    return lines
