"""`fewtone check`: a recipe before it is mixed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fewtone.cli import options

if TYPE_CHECKING:
    from fewtone.bench.check import Check

__all__ = ["check"]


def check(
    recipe: options.RecipeArgument,
    target: options.TargetOption = None,
    shelf: options.ShelfOption = None,
    light: options.LightOption = None,
    deck: options.DeckOption = None,
    tolerance: options.ToleranceOption = None,
    as_json: options.JsonOption = False,
) -> None:
    """Predict a recipe's colour before it is mixed, and how it compares with a target."""
    from fewtone.cli.console import SAFETY, print_cautions, print_document
    from fewtone.documents import check_document

    loaded = options.open_shelf(shelf)
    result = loaded.check(recipe, target=target, light=light, deck=deck, tolerance=tolerance)
    print_cautions((*(result.target.cautions if result.target else ()), *result.cautions))
    if as_json:
        print_document(check_document(result))
    else:
        _show(result)
    print_cautions([SAFETY])


def _show(result: Check) -> None:
    from fewtone.cli.console import out
    from fewtone.cli.words import lab_words, target_words

    match = result.match
    lines = [str(match.recipe), "", f"Reads {lab_words(match.lab)} in {result.light}"]
    if result.target is not None:
        verdict = "within tolerance" if match.in_tolerance else "not within tolerance"
        lines += [
            target_words(result.target),
            f"Delta E {match.de00:.2f}, {verdict}: {result.direction}",
        ]
        if match.pass_probability is not None:
            lines.append(f"A fresh panel passes with a chance of {match.pass_probability:.0%}")
    lines.append(
        f"Unevenness {match.unevenness:.2f}: Delta E between 90 % and 110 % of the film build"
    )
    out(*lines, "", "Predicted spectrum:", _spectrum(result))


def _spectrum(result: Check) -> str:
    pairs = [
        f"{nm:g} nm {value:6.4f}"
        for nm, value in zip(result.wavelength_nm, result.reflectance, strict=True)
    ]
    return "\n".join("   ".join(pairs[start : start + 5]) for start in range(0, len(pairs), 5))
