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
    from fewtone.workshop.pour.ground import GroundBatch
    from fewtone.workshop.pour.pours import Pour

__all__ = ["batch"]

# Above the share within which the recipe's own ratio is kept although less would do.
_MUCH_MORE = Fraction(5, 100)


def batch(
    recipe: options.RecipeOfJobArgument = None,
    job: options.JobOption = None,
    book: options.BookOption = None,
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
    ground_volume: Annotated[
        str | None,
        typer.Option(
            "--ground-volume",
            metavar="300ml",
            help="Also pour this much of the recipe's keyed ground, at least.",
        ),
    ] = None,
    by_weight: options.ByWeightOption = False,
    exact: options.ExactOption = False,
    rounding: options.RoundingOption = None,
    use_up: options.FromOption = None,
    shelf: options.ShelfOption = None,
    plain: options.PlainOption = False,
    as_json: options.JsonOption = False,
) -> None:
    """Work out what to pour: the smallest batch that lands on the cup's lines."""
    from fewtone.cli.console import SAFETY, out, print_cautions, print_document
    from fewtone.cli.jobs import work_on
    from fewtone.report.json import batch_document

    loaded = options.open_shelf(shelf)
    work = work_on(loaded, recipe, None, job, book)
    result = loaded.batch(
        work.recipe,
        volume=volume,
        area=area,
        extra=extra,
        reducer=reducer,
        by_weight=by_weight,
        exact=exact,
        rounding=rounding,
        use_up=options.rests(use_up),
        ground_volume=ground_volume,
    )
    poured = {pour.component: round(float(pour.ml), 2) for pour in result.pours}
    total = round(float(result.total_ml), 2)
    work.note_down(("batch", {"recipe": str(result.recipe), "total_ml": total, "ml": poured}))
    print_cautions(result.cautions)
    if as_json:
        print_document(batch_document(result))
    else:
        out(*_parts(result), plain=plain)
    print_cautions([SAFETY])


def _parts(result: Batch) -> list[Part]:
    from fewtone.cli.console import Heading
    from fewtone.report.phrases import alternative_options

    parts: list[Part] = [Heading(str(result.recipe)), "", _headline(result), *_rounding(result)]
    parts += [
        "",
        _grid(result.pours, result),
        "",
        "Order: the toner that colours least goes in first, so that a slip costs least.",
    ]
    if result.cost is not None:
        parts.append(f"Cost {float(result.cost):.2f}")
    if result.rounded:
        parts += [
            "",
            "Poured to the nearest steps instead"
            + _moved(result.rounding_de00, ", the colour moves by ΔE00 {}")
            + ":",
            "",
            _grid(result.rounded, result),
        ]
    if result.reducer:
        parts += ["", *_reducer_lines(result)]
    if result.alternatives:
        parts.append("")
    parts += [
        f"Or {_ml(other.total_ml)} with {alternative_options(other)}; rounding then moves the "
        f"colour by ΔE00 {other.rounding_de00:.2f}"
        for other in result.alternatives
    ]
    if result.ground is not None:
        parts += ["", *_ground_parts(result.ground)]
    elif "+" in result.recipe.ground:
        parts += ["", f"--ground-volume says what to pour of {result.recipe.ground} too."]
    return [*parts, "", *(f"- {line}" for line in result.care)]


def _ground_parts(ground: GroundBatch) -> list[Part]:
    """What to pour of a keyed ground."""
    from fewtone.cli.console import Grid
    from fewtone.workshop.pour.pours import printed

    cup = ground.cup
    where = "" if cup is None or cup.holds_ml is None else f" in the {cup}, marked {cup.marks}"
    rows = [
        (
            pour.component,
            f"{ml:.1f}",
            *(() if cup is None else (_lines(pour.lines), _figure(pour.running_ml / cup.unit_ml))),
        )
        for pour, ml in zip(
            ground.pours, printed((pour.ml for pour in ground.pours), 1), strict=True
        )
    ]
    lines = () if cup is None else (">lines", f">cup at {cup.unit}")
    return [
        f"The ground, {ground.ground}: mix {_ml(ground.total_ml)}{where} "
        f"({_ml(ground.wanted_ml)} wanted), as the grounds come; then what their data sheets add.",
        "",
        Grid(("pour", ">ml", *lines), rows),
    ]


def _headline(result: Batch) -> str:
    extra = f", {_ml(result.extra_ml)} of it for gun and cup" if result.extra_ml else ""
    wanted = f"{_ml(result.wanted_ml)} wanted{extra}"
    weight = "" if result.total_grams is None else f", {_g(result.total_grams)}"
    cup = ""
    if result.cup is not None and result.cup.holds_ml is not None:
        cup = f" in the {result.cup}, marked {result.cup.marks}"
    return f"Mix {_ml(result.total_ml)}{weight}{cup} ({wanted})"


def _rounding(result: Batch) -> list[str]:
    """What pouring on lines does to ratio and colour, and to the volume."""
    if result.on is None or result.rounding_de00 is None:
        return []
    why = []
    if result.overshoot_ml > _MUCH_MORE * result.wanted_ml and result.limit_de00 > 0:
        less = f"Less of it on {result.on} would move the colour by more than ΔE00"
        why = [f"{less} {result.limit_de00:g}."]
    if result.rounding_de00 == 0:
        return [f"Toners and medium land on {result.on} in the recipe's own ratio.", *why]
    return [
        f"Toners and medium land on {result.on}; that moves the colour by ΔE00 "
        f"{result.rounding_de00:.2f} (up to {result.limit_de00:g} is allowed).",
        *why,
    ]


def _moved(de00: float | None, words: str) -> str:
    return "" if de00 is None else words.format(f"{de00:.2f}")


def _grid(pours: Iterable[Pour], result: Batch) -> Grid:
    from fewtone.cli.console import Grid
    from fewtone.workshop.pour.pours import printed

    pours, cup = tuple(pours), result.cup
    rows = []
    for pour, ml in zip(pours, printed((pour.ml for pour in pours), 1), strict=True):
        cells = [pour.component, f"{ml:.1f}", _figure(pour.grams)]
        if cup is not None:
            cells += [_lines(pour.lines), _figure(pour.running_ml / cup.unit_ml)]
        else:
            cells.append(_figure(pour.running_ml))
        rows.append((*cells, _figure(pour.running_grams)))
    at = f">cup at {'ml' if cup is None else cup.unit}"
    lines = () if cup is None else (">lines",)
    return Grid(("pour", ">ml", ">g", *lines, at, ">scale at g"), rows)


def _lines(lines: Fraction | None) -> str:
    return "" if lines is None else f"{round(float(lines), 1):g}"


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
