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

from fewtone.documents import Document
from fewtone.sheet.charts import spectrum_chart
from fewtone.sheet.content import Sheet, sheet_document
from fewtone.sheet.swatches import RULE, Swatch, swatch
from fewtone.sheet.words import certainty_words, difference_words, evenness_words

if TYPE_CHECKING:
    from jinja2 import Environment

__all__ = ["SAFETY", "render"]

SAFETY = (
    "Mixing and spraying can harm you. The products' safety data sheets, local code and licensed "
    "practice come first; nothing here replaces them."
)

_TEMPLATE = "page.html.jinja"
# Heights in millimetres, measured in a browser and rounded up; a test prints the worst pages.
# US Letter, the shorter of the two papers, is 279.4 high; its margins take 2 · 8.
_ROOM = 260.0
_FIXED = 141.0  # all but what the rest counts, a wrapped line or two included
_POUR_ROW, _GROUND_ROW, _READING_ROW, _CAUTION_LINE, _LABEL_LINE = 5.2, 13.0, 6.3, 3.4, 3.6
_CARE_HEIGHT = 27.0  # the lines beside the pours take at least this
_GROUND_LETTERS, _POUR_LETTERS, _CAUTION_LETTERS = 12, 24, 118  # in one line
_LEAST_READINGS, _MOST_READINGS = 2, 8
_MOST_STEPS = 9
# Letters to one line of the title at its three sizes, and the height that more lines add.
_TITLE_LENGTHS = ((44, "short"), (62, "middling"))
_LONG_TITLE_LETTERS, _TITLE_LINE = 76, 5.2


@dataclass(frozen=True, slots=True)
class _Cell:
    """One coat of the letdown strip."""

    swatch: Swatch
    step: Document
    wanted: bool


def render(page: Sheet) -> str:
    """The page as one HTML document."""
    from fewtone import __version__

    document = sheet_document(page)
    check, settings = page.check, page.settings
    match, recipe = check.match, check.match.recipe
    coats = _coats_shown(page)
    rows = _reading_rows(page)
    grounds = _grounds_shown(page, rows)
    left_out = [strip.ground for strip in page.letdown.strips if strip.ground not in grounds]
    line = str(recipe)
    values: dict[str, Any] = {
        "document": document,
        "recipe": line,
        "title_size": next((name for most, name in _TITLE_LENGTHS if len(line) <= most), "long"),
        "shelf": settings.name,
        "labels": _labels(
            (
                *((toner.name, toner.label) for toner in settings.toners.values()),
                ("medium", settings.medium.label),
            )
        ),
        "ground_labels": _labels((each.name, each.label) for each in settings.grounds.values()),
        "steps": _steps_words(page),
        "light": str(check.light),
        "tolerance": f"{page.tolerance:g}",
        "prediction": swatch(match.lab, check.light),
        "target": None if check.target is None else swatch(check.target.lab, check.target.light),
        "difference": None if match.de00 is None else difference_words(match.de00),
        "certainty": certainty_words(match.pass_probability),
        "evenness": evenness_words(match.unevenness),
        "coats": coats,
        "strips": [
            (ground, [_cell(page, document, ground, coat) for coat in coats]) for ground in grounds
        ],
        "grounds_left_out": left_out,
        "between_coats": recipe.coats not in coats,
        "lights": [
            (swatch(seen.lab, seen.light), told)
            for seen, told in zip(page.lights, document["lights"], strict=True)
        ],
        "chart": spectrum_chart(check.wavelength_nm, check.reflectance),
        "reading_rows": rows,
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
    return _environment().get_template(_TEMPLATE).render(values)


@cache
def _environment() -> Environment:
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


def _labels(names: Iterable[tuple[str, str]]) -> dict[str, str]:
    """What is printed on the tins, where it says more than the name."""
    return {name: label for name, label in names if label.casefold() != name.casefold()}


def _steps_words(page: Sheet) -> str:
    """What pours are rounded to: ``the cup's lines (10 ml)``."""
    step = page.batch.step
    if step is None:
        return ""
    if page.by_weight:
        return f"the scale's steps ({float(step):g} g)"
    return f"the cup's lines ({float(step):g} ml)"


def _cell(page: Sheet, document: Document, ground: str, coats: int) -> _Cell:
    recipe = page.check.match.recipe
    strip = next(strip for strip in page.letdown.strips if strip.ground == ground)
    told = next(
        step
        for step in document["letdown"]["steps"]
        if step["ground"] == ground and step["coats"] == coats
    )
    return _Cell(
        swatch=swatch(strip.steps[coats].lab, page.letdown.light),
        step=told,
        wanted=ground == recipe.ground and recipe.coats == coats,
    )


def _coats_shown(page: Sheet) -> list[int]:
    """The coats around the wanted one that fit side by side."""
    last = page.letdown.strips[0].steps[-1].coats
    first = math.ceil(page.check.match.recipe.coats) - _MOST_STEPS // 2
    first = max(0, min(first, last - _MOST_STEPS + 1))
    return list(range(first, min(last, first + _MOST_STEPS - 1) + 1))


def _room_left(page: Sheet) -> float:
    """What is left for strips and readings [mm]."""
    labels = {toner.name: toner.label for toner in page.settings.toners.values()}
    table = _POUR_ROW + sum(
        _POUR_ROW + _LABEL_LINE * (_lines(f"{name} {labels.get(name, '')}", _POUR_LETTERS) - 1)
        for name in (pour.component for pour in page.batch.pours)
    )
    told = (SAFETY, *page.cautions)
    cautions = _CAUTION_LINE * sum(_lines(caution, _CAUTION_LETTERS) for caution in told)
    title = _TITLE_LINE * (_lines(str(page.check.match.recipe), _LONG_TITLE_LETTERS) - 1)
    foot = _CAUTION_LINE * (_lines(page.settings.name, _CAUTION_LETTERS) - 1)
    return _ROOM - _FIXED - max(_CARE_HEIGHT, table) - cautions - title - foot


def _ground_height(page: Sheet, ground: str) -> float:
    name, label = (_lines(text, _GROUND_LETTERS) for text in (ground, _ground_label(page, ground)))
    return max(_GROUND_ROW, 1.0 + _LABEL_LINE * (name + label))


def _ground_label(page: Sheet, ground: str) -> str:
    return page.settings.grounds[ground].label


def _lines(text: str, letters: int) -> int:
    return max(1, math.ceil(len(text) / letters))


def _reading_rows(page: Sheet) -> int:
    strips = sum(_ground_height(page, strip.ground) for strip in page.letdown.strips)
    rows = int((_room_left(page) - strips) / _READING_ROW)
    return min(max(rows, _LEAST_READINGS), _MOST_READINGS)


def _grounds_shown(page: Sheet, reading_rows: int) -> list[str]:
    """All grounds if they fit; else the recipe's, and of the others those that stand first."""
    room = _room_left(page) - _READING_ROW * reading_rows
    names = [strip.ground for strip in page.letdown.strips]
    wanted = page.check.match.recipe.ground
    kept: list[str] = []
    for name in (wanted, *(name for name in names if name != wanted)):
        room -= _ground_height(page, name)
        if room < 0.0 and kept:
            break
        kept.append(name)
    return [name for name in names if name in kept]
