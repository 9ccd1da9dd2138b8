"""The page as HTML: one self-contained file that prints on one sheet of A4 or US Letter.

No script, no font, no picture from elsewhere. Swatches and the spectrum are inline SVG, because
browsers leave out backgrounds when they print. Every figure stands in a ``data`` element whose
value is that of the commands' ``--json``, so that the page can be read back.

The template escapes whatever comes from user files: labels and names are text, never markup.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fewtone.model.blend import Number, number_text
from fewtone.model.recipe import Recipe
from fewtone.report.charts import spectrum_chart
from fewtone.report.content import PageContent, sheet_document
from fewtone.report.json import Document
from fewtone.report.swatches import RULE, Swatch, swatch
from fewtone.report.words import difference_words, evenness_words, sureness_words, swatch_words
from fewtone.version import __version__

if TYPE_CHECKING:
    from jinja2 import Environment

__all__ = ["SAFETY", "environment", "render"]

SAFETY = (
    "Mixing and spraying can harm you. The products' safety data sheets, local code and licensed "
    "practice come first; nothing here replaces them."
)

_TEMPLATE = "page.html.jinja"
_MOST_READINGS = 8  # rows; as many of them are printed as fit
_MOST_STEPS, _MOST_BOXES = 9, 14


@dataclass(frozen=True, slots=True)
class _Cell:
    """One coat of the letdown strip."""

    swatch: Swatch
    step: Document
    wanted: bool


def render(page: PageContent) -> str:
    """The page as one HTML document."""
    document = sheet_document(page)
    check, settings = page.check, page.settings
    match, recipe = check.match, check.match.recipe
    coats = _coats_shown(page)
    # The recipe's own ground comes first: where the paper is full, the last ones are left out.
    strips = [strip.ground for strip in page.letdown.strips]
    grounds = sorted(strips, key=lambda ground: ground != recipe.ground)
    values: dict[str, Any] = {
        "document": document,
        "recipe": str(recipe),
        "title": _title(recipe),
        "boxes": _boxes(recipe.coats),
        "cup_unit": "ml" if page.batch.cup is None else page.batch.cup.unit,
        "cup": None
        if page.batch.cup is None or page.batch.cup.holds_ml is None
        else str(page.batch.cup),
        "running": _running(page),
        "shelf": settings.name,
        "labels": _tin_labels(page),
        "ground_labels": _ground_labels(page),
        "steps": _steps_words(page),
        "swatch_name": "" if check.target is None else swatch_words(check.target),
        "light": str(check.light),
        "tolerance": f"{page.tolerance:g}",
        "prediction": swatch(match.lab, check.light),
        "target": None if check.target is None else swatch(check.target.lab, check.target.light),
        "difference": None if match.de00 is None else difference_words(match.de00),
        "certainty": sureness_words(match.pass_probability),
        "evenness": evenness_words(match.unevenness),
        "coats": coats,
        "strips": [
            (ground, [_cell(page, document, ground, coat) for coat in coats]) for ground in grounds
        ],
        "between_coats": recipe.coats not in coats,
        "lights": [
            (swatch(seen.lab, seen.light), shown)
            for seen, shown in zip(check.lights, document["check"]["lights"], strict=True)
        ],
        "chart": spectrum_chart(check.wavelength_nm, check.reflectance, check.reflectance_sd),
        "spectrum": page.spectrum,
        "reading_rows": _MOST_READINGS,
        "safety": SAFETY,
        "rule": RULE,
        "version": __version__,
        "learnt_by": page.learnt_by,
        "readings": page.readings_digest[:12],
    }
    values["all_shown"] = all(
        shade.shown
        for shade in (
            values["prediction"],
            *([values["target"]] if values["target"] else []),
            *(cell.swatch for _, cells in values["strips"] for cell in cells),
            *(shade for shade, _ in values["lights"]),
        )
    )
    return environment().get_template(_TEMPLATE).render(values)


@cache
def environment() -> Environment:
    """What templates are rendered with: whatever stands in user files is escaped."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    environment = Environment(
        loader=FileSystemLoader(Path(__file__).parent, encoding="utf-8"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["figure"] = _figure
    return environment


def _figure(value: float, decimals: int = 2) -> str:
    """A figure as it is printed: with a true minus sign, and no minus before a zero."""
    text = f"{value:.{decimals}f}"
    return f"{0.0:.{decimals}f}" if float(text) == 0.0 else text.replace("-", "\N{MINUS SIGN}")


def _tin_labels(page: PageContent) -> dict[str, str]:
    settings = page.settings
    toners = ((toner.name, toner.label) for toner in settings.toners.values())
    return _labels((*toners, ("medium", settings.medium.label)))


def _ground_labels(page: PageContent) -> dict[str, str]:
    return _labels((ground.name, ground.label) for ground in page.settings.grounds.values())


def _labels(names: Iterable[tuple[str, str]]) -> dict[str, str]:
    """Labels by name, where they say more than the name."""
    return {name: label for name, label in names if label.casefold() != name.casefold()}


def _title(recipe: Recipe) -> list[str]:
    """The recipe's line in pieces that are not broken: each toner, letdown, coats, ground."""
    blend, rest = str(recipe).split(", ", 1)
    toners = blend.split(" + ")
    letdown, coats = rest.split(", ")
    coats, ground = coats.split(" over ")
    return [
        *(f"{toner} +" for toner in toners[:-1]),
        f"{toners[-1]},",
        f"{letdown},",
        coats,
        f"over {ground}",
    ]


def _boxes(coats: Number) -> list[str]:
    """One box to tick for each coat; a last one for what is less than a coat."""
    whole = int(coats)
    boxes = [str(number) for number in range(1, whole + 1)]
    return boxes[:_MOST_BOXES] if coats == whole else [*boxes[:_MOST_BOXES], number_text(coats)]


def _running(page: PageContent) -> list[float]:
    """Where the cup stands after each pour, in the unit of its marks."""
    cup = page.batch.cup
    unit_ml = 1 if cup is None else cup.unit_ml
    return [float(pour.running_ml / unit_ml) for pour in page.batch.pours]


def _steps_words(page: PageContent) -> str:
    """What pours are rounded to: ``the cup's lines (10 ml)``."""
    step = page.batch.step
    if step is None:
        return ""
    if page.by_weight:
        return f"the scale's steps ({float(step):g} g)"
    marks = "" if page.batch.cup is None else f" ({page.batch.cup.marks})"
    return f"the cup's lines{marks}"


def _cell(page: PageContent, document: Document, ground: str, coats: int) -> _Cell:
    recipe = page.check.match.recipe
    strip = next(strip for strip in page.letdown.strips if strip.ground == ground)
    value = next(
        step
        for step in document["letdown"]["steps"]
        if step["ground"] == ground and step["coats"] == coats
    )
    return _Cell(
        swatch=swatch(strip.steps[coats].lab, page.letdown.light),
        step=value,
        wanted=ground == recipe.ground and recipe.coats == coats,
    )


def _coats_shown(page: PageContent) -> list[int]:
    """The coats around the wanted one that fit side by side."""
    last = page.letdown.strips[0].steps[-1].coats
    first = math.ceil(page.check.match.recipe.coats) - _MOST_STEPS // 2
    first = max(0, min(first, last - _MOST_STEPS + 1))
    return list(range(first, min(last, first + _MOST_STEPS - 1) + 1))
