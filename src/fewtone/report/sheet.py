"""The sheet to print and pin up: gathers what stands on it, and gives it as HTML or PDF."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, TypedDict

from fewtone.colorimetry import Light
from fewtone.model.curves import Curves
from fewtone.model.recipe import Recipe
from fewtone.model.shelf import ShelfSettings
from fewtone.model.target import Target
from fewtone.model.units import Amount
from fewtone.report.content import PageContent
from fewtone.workshop.look.check import check
from fewtone.workshop.look.letdown import letdown
from fewtone.workshop.pour.batch import batch

__all__ = ["Sheet", "SheetOptions", "sheet"]

# What is poured where nobody said how much: easy to scale in the head.
_USUAL_VOLUME = "500ml"


class SheetOptions(TypedDict, total=False):
    """How much to mix; without any of it 500 ml exactly.

    Parameters
    ----------
    volume, area, extra, by_weight, exact, use_up, rounding
        As `fewtone.workshop.pour.batch.BatchOptions` has them.
    """

    volume: Amount | None
    area: Amount | None
    extra: Amount | None
    by_weight: bool
    exact: bool
    use_up: Mapping[str, Amount] | None
    rounding: float | None


@dataclass(frozen=True, slots=True, eq=False)
class Sheet(PageContent):
    """A page about one recipe, ready to be printed."""

    def html(self) -> str:
        """The page as one self-contained HTML document."""
        from fewtone.report.page import render

        return render(self)

    def pdf(self, paper: Literal["a4", "letter"] = "a4") -> bytes:
        """The page as PDF.

        Parameters
        ----------
        paper
            Which paper it is printed on.

        Raises
        ------
        FewtoneError
            The optional library for it (``fewtone[pdf]``) is not there.
        """
        from fewtone.report.pdf import Paper, pdf

        return pdf(self.html(), Paper(paper))


def sheet(
    curves: Curves,
    settings: ShelfSettings,
    recipe: Recipe,
    *,
    target: Target | None = None,
    light: Light | None = None,
    tolerance: float | None = None,
    date: datetime.date | None = None,
    cautions: Sequence[str] = (),
    amount: SheetOptions | None = None,
    spectrum: bool = True,
) -> Sheet:
    """Gather the page of one recipe.

    Parameters
    ----------
    curves, settings
        The learnt shelf.
    recipe
        What is mixed.
    target, light, tolerance
        As `fewtone.workshop.look.check.check` takes them.
    date
        The day on the page; today if None.
    cautions
        What should be told about the shelf.
    amount
        How much to mix.
    spectrum
        Whether the predicted spectrum is drawn.

    Raises
    ------
    FewtoneError
        As `check`, `batch` and `letdown` raise it.
    """
    how: SheetOptions = {**amount} if amount else {}
    if not any(how.get(amount) for amount in ("volume", "area", "use_up")):
        how = {**how, "volume": _USUAL_VOLUME, "exact": True}
    checked = check(curves, settings, recipe, target=target, light=light, tolerance=tolerance)
    poured = batch(curves, settings, recipe, **how)
    strips = letdown(curves, settings, recipe, target=target, light=light)
    cautions_shown = (
        *cautions,
        *(target.cautions if target else ()),
        *checked.cautions,
        *poured.cautions,
        *strips.cautions,
    )
    return Sheet(
        settings=settings,
        readings_digest=curves.readings_digest,
        learnt_by=curves.version,
        check=checked,
        batch=poured,
        letdown=strips,
        tolerance=settings.mixing.tolerance if tolerance is None else tolerance,
        by_weight=how.get("by_weight", False),
        date=date or datetime.date.today(),
        cautions=tuple(dict.fromkeys(cautions_shown)),
        spectrum=spectrum,
    )
