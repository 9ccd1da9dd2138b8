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

from fewtone.report.charts import spectrum_chart
from fewtone.report.content import PageContent, sheet_document
from fewtone.report.json import Document
from fewtone.report.swatches import RULE, Swatch, swatch
from fewtone.report.words import difference_words, evenness_words, sureness_words
from fewtone.version import __version__

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
_FIXED = 141.5  # all but what the rest counts, a wrapped line or two included
_POUR_ROW, _GROUND_ROW, _READING_ROW, _CAUTION_LINE, _LABEL_LINE = 5.2, 13.0, 6.3, 3.4, 4.2
_CARE_HEIGHT = 27.0  # the lines beside the pours take at least this
_GROUND_LETTERS, _POUR_LETTERS, _CAUTION_LETTERS = 12, 24, 118  # in one line
_LEAST_READINGS, _MOST_READINGS = 2, 8
_LABEL_LETTERS = 28  # longer labels are cut short, and end with an ellipsis
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


def render(page: PageContent) -> str:
    """The page as one HTML document."""
    document = sheet_document(page)
    check, settings = page.check, page.settings
    match, recipe = check.match, check.match.recipe
    coats = _coats_shown(page)
    rows, grounds, shrink = _layout(page)
    left_out = [strip.ground for strip in page.letdown.strips if strip.ground not in grounds]
    line = str(recipe)
    values: dict[str, Any] = {
        "document": document,
        "recipe": line,
        "title_size": next((name for most, name in _TITLE_LENGTHS if len(line) <= most), "long"),
        "shelf": settings.name,
        "labels": _tin_labels(page),
        "ground_labels": _ground_labels(page),
        "steps": _steps_words(page),
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
        "grounds_left_out": left_out,
        "between_coats": recipe.coats not in coats,
        "lights": [
            (swatch(seen.lab, seen.light), told)
            for seen, told in zip(check.lights, document["check"]["lights"], strict=True)
        ],
        "chart": spectrum_chart(check.wavelength_nm, check.reflectance, check.reflectance_sd),
        "reading_rows": rows,
        "shrink": shrink,
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


def _tin_labels(page: PageContent) -> dict[str, str]:
    settings = page.settings
    toners = ((toner.name, toner.label) for toner in settings.toners.values())
    return _labels((*toners, ("medium", settings.medium.label)))


def _ground_labels(page: PageContent) -> dict[str, str]:
    return _labels((ground.name, ground.label) for ground in page.settings.grounds.values())


def _labels(names: Iterable[tuple[str, str]]) -> dict[str, str]:
    """Labels by name, where they say more than the name."""
    return {name: _short(label) for name, label in names if label.casefold() != name.casefold()}


def _short(label: str) -> str:
    if len(label) <= _LABEL_LETTERS:
        return label
    return label[: _LABEL_LETTERS - 1].rstrip() + "…"


def _steps_words(page: PageContent) -> str:
    """What pours are rounded to: ``the cup's lines (10 ml)``."""
    step = page.batch.step
    if step is None:
        return ""
    if page.by_weight:
        return f"the scale's steps ({float(step):g} g)"
    return f"the cup's lines ({float(step):g} ml)"


def _cell(page: PageContent, document: Document, ground: str, coats: int) -> _Cell:
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


def _coats_shown(page: PageContent) -> list[int]:
    """The coats around the wanted one that fit side by side."""
    last = page.letdown.strips[0].steps[-1].coats
    first = math.ceil(page.check.match.recipe.coats) - _MOST_STEPS // 2
    first = max(0, min(first, last - _MOST_STEPS + 1))
    return list(range(first, min(last, first + _MOST_STEPS - 1) + 1))


def _layout(page: PageContent) -> tuple[int, list[str], float]:
    """Rows for readings, the grounds that fit, and what the page must be shrunk to."""
    room = _room_left(page)
    heights = {each.ground: _ground_height(page, each.ground) for each in page.letdown.strips}
    rows = int((room - sum(heights.values())) / _READING_ROW)
    rows = min(max(rows, _LEAST_READINGS), _MOST_READINGS)
    room -= _READING_ROW * rows
    wanted = page.check.match.recipe.ground
    kept = [wanted]
    room -= heights[wanted]
    for ground, height in heights.items():
        if ground != wanted and height <= room:
            kept.append(ground)
            room -= height
    # Fuller than any bench's page: even the recipe's own ground alone does not fit.
    shrink = 1.0 if room >= 0.0 else _ROOM / (_ROOM - room)
    return rows, [ground for ground in heights if ground in kept], shrink


def _room_left(page: PageContent) -> float:
    """What is left for strips and readings [mm]."""
    labels = _tin_labels(page)
    table = _POUR_ROW + sum(
        _POUR_ROW + _LABEL_LINE * (_lines(f"{name} {labels.get(name, '')}", _POUR_LETTERS) - 1)
        for name in (pour.component for pour in page.batch.pours)
    )
    told = (SAFETY, *page.cautions)
    cautions = _CAUTION_LINE * sum(_lines(caution, _CAUTION_LETTERS) for caution in told)
    title = _TITLE_LINE * (_lines(str(page.check.match.recipe), _LONG_TITLE_LETTERS) - 1)
    names = _CAUTION_LINE * 2 * (_lines(page.settings.name, _CAUTION_LETTERS) - 1)
    return _ROOM - _FIXED - max(_CARE_HEIGHT, table) - cautions - title - names


def _ground_height(page: PageContent, ground: str) -> float:
    label = _ground_labels(page).get(ground, "")
    lines = _lines(ground, _GROUND_LETTERS) + (_lines(label, _GROUND_LETTERS) if label else 0)
    return max(_GROUND_ROW, 1.0 + _LABEL_LINE * lines)


def _lines(text: str, letters: int) -> int:
    return max(1, math.ceil(len(text) / letters))
