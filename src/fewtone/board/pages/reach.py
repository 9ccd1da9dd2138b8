"""The page Reach: what the shelf can make over each ground, and where the target lies in it."""

from __future__ import annotations

import numpy as np
from starlette.responses import Response

from fewtone.board.requests import deck_file
from fewtone.board.visit import Visit
from fewtone.errors import FewtoneError
from fewtone.recipes.rules import RuleOptions
from fewtone.report.json.reach import reach_document
from fewtone.report.reach_chart import reach_planes
from fewtone.report.swatches import swatch
from fewtone.report.words import swatch_words

__all__ = ["reach"]


def reach(visit: Visit) -> Response:
    """Show what `reach` outlines, with the target marked where there is one."""
    shelf, query = visit.shelf, visit.query
    result, error = None, None
    keyed, most = query.get("keyed") == "yes", query.get("max_toners", "")
    most = most if most in ("1", "2") else "3"
    rules: RuleOptions = {"max_toners": int(most), "keyed": keyed}
    target = None
    try:
        target = visit.target
        deck = deck_file(visit.open_shelf, shelf)
        # A swatch in another light than the target's cannot be placed beside it.
        if target is not None and target.light != shelf.settings.measurement.light:
            deck = None
        changed = None if deck is None or not deck.exists() else deck.stat().st_mtime_ns
        result = visit.open_shelf.answer(
            ("reach", target, deck, changed, most, keyed),
            lambda: shelf.reach(target=target, deck=deck, **rules),
        )
    except FewtoneError as caught:
        error = caught
    document = None if result is None else reach_document(result)
    return visit.page(
        "reach",
        status=200 if error is None else 400,
        faults=[] if error is None else visit.faults(error),
        answer=document,
        planes=() if result is None else reach_planes(result),
        chroma={}
        if result is None
        else {
            (each.ground, outline.lightness): float(np.hypot(*outline.corners.T).max())
            for each in result.grounds
            for outline in each.outlines
        },
        target=target,
        target_words="" if target is None else swatch_words(target),
        target_shade=None if target is None else swatch(target.lab, target.light),
        swatches=[]
        if result is None
        else [
            (each.target.request, each.target.name, swatch(each.target.lab, each.target.light))
            for each in result.swatches
            if each.is_inside
        ],
        keyed=keyed,
        most=most,
        cautions=(*shelf.cautions, *(() if target is None else target.cautions)),
    )
