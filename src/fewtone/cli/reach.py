"""`fewtone reach`: what the shelf can make over each ground."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fewtone.cli import options, target_options
from fewtone.errors import Fault, UsageError

if TYPE_CHECKING:
    from fewtone.cli.console import Part
    from fewtone.workshop.look.reach import GroundReach, Reach

__all__ = ["reach"]

_MOST_NAMED = 12


def reach(
    target: options.TargetOption = None,
    shelf: options.ShelfOption = None,
    light: target_options.LightOption = None,
    deck: target_options.DeckOption = None,
    use: options.UseOption = None,
    without: options.WithoutOption = None,
    ground: options.GroundOption = None,
    letdown: options.LetdownOption = None,
    coats: options.CoatsOption = None,
    max_toners: options.MaxTonersOption = 3,
    max_part: options.MaxPartOption = None,
    keyed: Annotated[
        bool, typer.Option("--keyed", help="Also over every mix of two of the grounds.")
    ] = False,
    output: Annotated[
        Path | None,
        typer.Option("--output", "-o", metavar="FILE.svg", help="Draw the outlines as SVG."),
    ] = None,
    force: Annotated[
        bool, typer.Option("--force", help="Overwrite a picture that is there already.")
    ] = False,
    plain: options.PlainOption = False,
    as_json: options.JsonOption = False,
) -> None:
    """Outline what the shelf can make over each ground, at each lightness.

    With --target it is marked; with --deck the swatches that lie within are named.
    """
    from fewtone.cli.console import out, print_cautions, print_document, working
    from fewtone.io.atomic import refuse_to_overwrite, write_atomic

    if output is not None:
        if output.suffix.lower() != ".svg":
            raise UsageError(
                Fault(
                    f"'{output.name}' is not a picture that can be drawn here: .svg is allowed.",
                    fix="Name it like reach.svg.",
                    value=str(output),
                )
            )
        if not force:
            refuse_to_overwrite([output])
    rules = options.rule_options(
        max_toners=max_toners,
        use=use,
        without=without,
        ground=ground,
        letdown=letdown,
        coats=coats,
        max_part=max_part,
        tolerance=None,
        top=0,
        keyed=keyed,
    )
    loaded = options.open_shelf(shelf)
    wanted = None if target is None else loaded.target(target, light=light, deck=deck)
    with working("Looking how far it gets"):
        result = loaded.reach(target=wanted, light=light, deck=deck, **rules)
    if wanted is not None:
        print_cautions(wanted.cautions)
    if output is not None:
        from fewtone.report.reach_chart import reach_svg

        write_atomic(output, reach_svg(result))
    if as_json:
        from fewtone.report.json.reach import reach_document

        written = {} if output is None else {"written": [str(output)]}
        print_document({**reach_document(result), **written})
        return
    out(*_parts(result), plain=plain)
    if output is not None:
        out(f"Wrote {output}", plain=plain)


def _parts(result: Reach) -> list[Part]:
    from fewtone.cli.console import Grid
    from fewtone.workshop.look.reach import LEVELS

    rows = [
        (
            each.ground,
            f"{each.darkest:.0f} to {each.lightest:.0f}",
            *(_chroma(each, level) for level in LEVELS),
        )
        for each in result.grounds
    ]
    parts: list[Part] = [
        f"The greatest chroma that the shelf makes over each ground at each L*, in {result.light}:",
        "",
        Grid(("ground", "L*", *(f">{level:g}" for level in LEVELS)), rows),
        "",
    ]
    if result.target is not None:
        where = ", ".join(result.target.grounds)
        parts.append(
            f"{result.target.target.request} lies within the outline over {where}."
            if where
            else f"{result.target.target.request} lies within no outline: `fewtone match` says how "
            "near the shelf gets, and what would help."
        )
    if result.swatches:
        inside = [each for each in result.swatches if each.is_inside]
        names = [each.target.name or each.target.request for each in inside]
        more = f" and {len(names) - _MOST_NAMED} more" if len(names) > _MOST_NAMED else ""
        parts.append(
            f"{len(inside)} of {len(result.swatches)} swatches lie within an outline"
            + (f": {', '.join(names[:_MOST_NAMED])}{more}." if names else ".")
        )
    return [*parts, "An outline is a map; `fewtone match` answers for one colour exactly."]


def _chroma(ground: GroundReach, level: float) -> str:
    import numpy as np

    for outline in ground.outlines:
        if outline.lightness == level:
            return f"{np.hypot(*outline.corners.T).max():.0f}"
    return ""
