"""`fewtone batch`: what to pour."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING, Annotated

import typer

from fewtone.cli import options

if TYPE_CHECKING:
    from collections.abc import Iterable

    from fewtone.cli.console import Grid, Part
    from fewtone.workshop.pour.batch import Batch
    from fewtone.workshop.pour.pours import Pour

__all__ = ["batch"]


def batch(
    recipe: options.RecipeArgument,
    volume: options.VolumeOption = None,
    area: options.AreaOption = None,
    extra: options.ExtraOption = None,
    reducer: Annotated[
        str | None,
        typer.Option(
            "--reducer",
            metavar="15%",
            help="Reducer by volume of medium + blend, where it is not the usual share.",
        ),
    ] = None,
    by_weight: options.ByWeightOption = False,
    exact: options.ExactOption = False,
    loose_additives: options.LooseAdditivesOption = False,
    shelf: options.ShelfOption = None,
    plain: options.PlainOption = False,
    as_json: options.JsonOption = False,
) -> None:
    """Work out what to pour: the smallest batch that lands on the cup's lines."""
    from fewtone.cli.console import SAFETY, out, print_cautions, print_document
    from fewtone.report.json import batch_document

    loaded = options.open_shelf(shelf)
    result = loaded.batch(
        recipe,
        volume=volume,
        area=area,
        extra=extra,
        reducer=reducer,
        by_weight=by_weight,
        exact=exact,
        loose_additives=loose_additives,
    )
    print_cautions(result.cautions)
    if as_json:
        print_document(batch_document(result))
    else:
        out(*_parts(result), plain=plain)
    print_cautions([SAFETY])


def _parts(result: Batch) -> list[Part]:
    from fewtone.cli.console import Heading

    cup = result.step is not None
    parts: list[Part] = [Heading(str(result.recipe)), "", _headline(result)]
    if result.on and result.overshoot_ml:
        parts.append(
            f"That is {_ml(result.overshoot_ml)} more than wanted, so that every pour lands on "
            f"{result.on}."
        )
    order = ", ".join(f"{name} {value:.2f}" for name, value in result.strengths.items())
    parts += [
        "",
        _grid(result.pours, cup=cup),
        "",
        f"Order: weakest tint first, so that a slip costs least (strength {order}).",
    ]
    if result.cost is not None:
        parts.append(f"Cost {float(result.cost):.2f}")
    if result.rounded:
        parts += [
            "",
            f"Poured to the nearest steps instead, the colour moves by ΔE00 "
            f"{result.rounding_de00:.2f}:",
            "",
            _grid(result.rounded, cup=cup),
        ]
    if result.reducer:
        parts += ["", *_reducer_lines(result)]
    if result.alternatives:
        parts.append("")
    for other in result.alternatives:
        rounding = f", rounding moves the colour by ΔE00 {other.rounding_de00:.2f}"
        parts.append(
            f"Or {_ml(other.total_ml)} with {other.option}"
            + (rounding if "--exact" in other.option else "")
        )
    return [*parts, "", *(f"- {line}" for line in result.care)]


def _headline(result: Batch) -> str:
    extra = f", {_ml(result.extra_ml)} of it for gun and cup" if result.extra_ml else ""
    wanted = f"{_ml(result.wanted_ml)} wanted{extra}"
    weight = "" if result.total_grams is None else f", {_g(result.total_grams)}"
    return f"Mix {_ml(result.total_ml)}{weight} ({wanted})"


def _grid(pours: Iterable[Pour], *, cup: bool) -> Grid:
    from fewtone.cli.console import Grid
    from fewtone.workshop.pour.pours import printed

    pours = tuple(pours)
    rows = []
    for pour, ml in zip(pours, printed((pour.ml for pour in pours), 1), strict=True):
        lines = [] if not cup else ["" if pour.lines is None else f"{float(pour.lines):.4g}"]
        rows.append(
            (
                pour.component,
                f"{ml:.1f}",
                _figure(pour.grams),
                *lines,
                _figure(pour.running_ml),
                _figure(pour.running_grams),
            )
        )
    columns = ("pour", ">ml", ">g", *((">lines",) if cup else ()), ">cup at ml", ">scale at g")
    return Grid(columns, rows)


def _reducer_lines(result: Batch) -> list[str]:
    effect = result.reducer
    assert effect is not None
    change = "weaker" if effect.strength < 1 else "stronger"
    return [
        f"Reducer {float(effect.percent):g} % instead of {float(effect.usual_percent):g} %: "
        f"a coat is {abs(1 - float(effect.strength)):.1%} {change}.",
        f"At {result.recipe.coats} coats the colour moves by ΔE00 {effect.de00:.2f}; "
        f"{float(effect.coats_needed):.2f} coats would lay down the same.",
        f"Nearest whole number: {effect.whole_coats} coats, ΔE00 {effect.whole_coats_de00:.2f}.",
    ]


def _figure(value: Fraction | None) -> str:
    return "" if value is None else f"{float(value):.1f}"


def _ml(value: Fraction) -> str:
    return f"{_figure(value)} ml"


def _g(value: Fraction) -> str:
    return f"{_figure(value)} g"
