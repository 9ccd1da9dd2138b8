"""`fewtone check`: a recipe before it is mixed."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from fewtone.cli import options, target_options

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fewtone.cli.console import Grid, Part
    from fewtone.report.swatches import Swatch
    from fewtone.workshop.look.check import Check
    from fewtone.workshop.look.steadiness import Change

__all__ = ["check"]


def check(
    recipe: options.RecipeArgument,
    target: options.TargetOption = None,
    shelf: options.ShelfOption = None,
    light: target_options.LightOption = None,
    deck: target_options.DeckOption = None,
    geometry: target_options.GeometryOption = None,
    anyway: target_options.AnywayOption = False,
    tolerance: options.ToleranceOption = None,
    spectrum: Annotated[
        bool,
        typer.Option(
            "--spectrum", help="Show the predicted spectrum, also where the shelf was read in Lab."
        ),
    ] = False,
    plain: options.PlainOption = False,
    as_json: options.JsonOption = False,
) -> None:
    """Predict a recipe's colour before it is mixed, and how it compares with a target."""
    from fewtone.cli.console import out, print_cautions, print_document

    loaded = options.open_shelf(shelf)
    wanted = target_options.target_of(
        loaded, target, light=light, deck=deck, geometry=geometry, anyway=anyway
    )
    result = loaded.check(recipe, target=wanted, light=light, tolerance=tolerance)
    print_cautions((*(result.target.cautions if result.target else ()), *result.cautions))
    if as_json:
        from fewtone.report.json import check_document

        print_document(check_document(result))
    else:
        out(*_parts(result, spectrum or loaded.reads_spectra), plain=plain)


def _parts(result: Check, spectrum: bool) -> list[Part]:
    from fewtone.cli.console import Framed, Heading
    from fewtone.cli.words import lab_words, target_words
    from fewtone.report.swatches import swatch
    from fewtone.report.words import difference_words, evenness_words, sureness_words

    match, target = result.match, result.target
    lines = [f"Reads {lab_words(match.lab)} in {result.light}"]
    if target is not None:
        assert match.de00 is not None
        verdict = "within tolerance" if match.in_tolerance else "not within tolerance"
        lines = [
            f"ΔE00 {match.de00:.2f}, {verdict}: {difference_words(match.de00)}",
            f"It is {result.direction}",
            *lines,
            target_words(target),
            f"How sure: {sureness_words(match.pass_probability)}",
        ]
    if match.lab_sd is not None:
        known = "  ".join(
            f"{name} ± {sd:.1f}" for name, sd in zip(("L*", "a*", "b*"), match.lab_sd, strict=True)
        )
        lines.append(f"So well do the learnt curves know it: {known}")
    lines.append(
        f"How forgiving: unevenness {match.unevenness:.2f}, {evenness_words(match.unevenness)}"
    )
    wanted = None if target is None else swatch(target.lab, target.light)
    return [
        Heading(str(match.recipe)),
        Framed(swatch(match.lab, result.light), wanted, lines),
        "",
        "Unevenness is the ΔE00 between 90 % and 110 % of the film build.",
        "",
        "In other light, and how far it seems to move from daylight to an eye that has settled:",
        "",
        _lights(result),
        "",
        "The same mix over the other grounds:",
        "",
        _changes("ground", result.grounds),
        "",
        "What if:",
        "",
        _changes("", result.what_if),
        *(["", "Predicted spectrum:", *_spectrum(result)] if spectrum else []),
    ]


def _lights(result: Check) -> Grid:
    from fewtone.cli.console import Grid
    from fewtone.report.swatches import swatch

    rows: list[list[str | Swatch]] = [
        [
            str(seen.light),
            swatch(seen.lab, seen.light),
            *(f"{value:.1f}" for value in seen.lab),
            f"{seen.inconstancy:.1f}",
        ]
        for seen in result.lights
    ]
    return Grid(("light", "", ">L*", ">a*", ">b*", ">moves by ΔE00"), rows)


def _changes(title: str, changes: Sequence[Change]) -> Grid:
    from fewtone.cli.console import Grid

    compared = any(change.de00 is not None for change in changes)
    rows = [
        (
            change.what,
            *(f"{value:.1f}" for value in change.lab),
            f"{change.moved_de00:.2f}",
            *([f"{change.de00:.2f}"] if compared else []),
        )
        for change in changes
    ]
    columns = (
        title,
        ">L*",
        ">a*",
        ">b*",
        ">moves by ΔE00",
        *([">ΔE00 to target"] if compared else []),
    )
    return Grid(columns, rows)


def _spectrum(result: Check) -> list[str]:
    pairs = [
        f"{nm:g} nm {value:6.4f}"
        for nm, value in zip(result.wavelength_nm, result.reflectance, strict=True)
    ]
    return ["   ".join(pairs[start : start + 4]) for start in range(0, len(pairs), 4)]
