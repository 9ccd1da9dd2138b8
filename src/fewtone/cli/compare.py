"""`fewtone compare`: recipes side by side."""

from __future__ import annotations

import string
from typing import TYPE_CHECKING, Annotated

import typer

from fewtone.cli import options, target_options

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fewtone.cli.console import Part
    from fewtone.workshop.look.compare import Comparison

__all__ = ["compare"]


def compare(
    recipes: Annotated[
        list[str],
        typer.Argument(
            metavar="RECIPE RECIPE ...",
            help='Two or more, such as "2 marigold + 1 dusk, 6:1, 4 coats over silver".',
        ),
    ],
    target: options.TargetOption = None,
    shelf: options.ShelfOption = None,
    light: target_options.LightOption = None,
    deck: target_options.DeckOption = None,
    geometry: target_options.GeometryOption = None,
    anyway: target_options.AnywayOption = False,
    tolerance: options.ToleranceOption = None,
    plain: options.PlainOption = False,
    as_json: options.JsonOption = False,
) -> None:
    """Look at recipes side by side: colour, every ground and light, chance, unevenness, cost."""
    from fewtone.cli.console import out, print_cautions, print_document
    from fewtone.report.json import compare_document

    loaded = options.open_shelf(shelf)
    wanted = target_options.target_of(
        loaded, target, light=light, deck=deck, geometry=geometry, anyway=anyway
    )
    result = loaded.compare(recipes, target=wanted, light=light, tolerance=tolerance)
    print_cautions((*(result.target.cautions if result.target else ()), *result.cautions))
    if as_json:
        print_document(compare_document(result))
    else:
        out(*_parts(result), plain=plain)


def _parts(result: Comparison) -> list[Part]:
    from fewtone.cli.console import Grid
    from fewtone.cli.words import target_words
    from fewtone.report.swatches import swatch

    letters = _letters(len(result.recipes))
    legend = [
        (letter, swatch(compared.match.lab, result.light), str(compared.match.recipe))
        for letter, compared in zip(letters, result.recipes, strict=True)
    ]
    aim = "the target" if result.target else f"{letters[0]} over that ground"
    named = [target_words(result.target), ""] if result.target else []
    columns = ("", *(f">{letter}" for letter in letters))
    lights = [f"in {seen.light}" for seen in result.recipes[0].lights]
    return [
        Grid(("", "", "recipe"), legend),
        "",
        *named,
        Grid(columns, list(_figures(result, letters[0]))),
        "",
        f"The same mix over each ground, ΔE00 to {aim}:",
        "",
        Grid(
            columns,
            [
                [ground, *(f"{c.grounds[ground].de00:.2f}" for c in result.recipes)]
                for ground in result.recipes[0].grounds
            ],
        ),
        "",
        f"ΔE00 from {letters[0]} in each light:",
        "",
        Grid(
            columns,
            [
                [name, *(f"{c.lights_from_first[row]:.2f}" for c in result.recipes)]
                for row, name in enumerate(lights)
            ],
        ),
    ]


def _figures(result: Comparison, first: str) -> Iterator[list[str]]:
    """Rows of what each recipe is, as it is sprayed."""
    every = result.recipes
    for axis, name in enumerate(("L*", "a*", "b*")):
        yield [name, *(f"{c.match.lab[axis]:.1f}" for c in every)]
    if result.target is not None:
        yield ["ΔE00 to the target", *(f"{c.match.de00:.2f}" for c in every)]
        if all(c.match.pass_probability is not None for c in every):
            yield ["fresh panels that pass", *(f"{c.match.pass_probability:.0%}" for c in every)]
    yield [f"ΔE00 from {first}", *(f"{c.from_first:.2f}" for c in every)]
    yield ["unevenness", *(f"{c.match.unevenness:.2f}" for c in every)]
    yield ["coats", *(str(c.match.recipe.coats) for c in every)]
    for name, costs in (
        ("cost of a litre", [c.cost_per_litre for c in every]),
        ("cost of a square metre", [c.cost_per_m2 for c in every]),
    ):
        if any(cost is not None for cost in costs):
            yield [name, *("" if cost is None else f"{cost:.2f}" for cost in costs)]


def _letters(count: int) -> list[str]:
    """A, B, C …; numbers where the alphabet ends."""
    if count <= len(string.ascii_uppercase):
        return list(string.ascii_uppercase[:count])
    return [str(number + 1) for number in range(count)]
