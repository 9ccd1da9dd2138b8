"""The reach as a picture: one small plane of a*, b* for each lightness, as an SVG of its own.

Lines differ by their dashes as well as by their shade, so that they are told apart without colour.
Keyed grounds share one dotted line each: together they show how far mixing grounds goes.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from html import escape

import numpy as np

from fewtone.typing import FloatArray
from fewtone.workshop.look.reach import LEVELS, GroundReach, Outline, Reach

__all__ = ["Plane", "reach_planes", "reach_svg"]

_PLANE, _GAP, _COLUMNS, _TOP = 190.0, 26.0, 3, 54.0
_LINE = 15.0  # of the legend
_INK, _RED = "#1a1a1a", "#c00000"
_STROKES = (_INK, "#0b5394", "#9c4a00", "#38761d", "#741b47", "#5b5b5b")
_DASHES = ("", "7 3", "2 2", "9 3 2 3", "1 3", "12 4")
_STEPS = (10.0, 20.0, 25.0, 50.0)


@dataclass(frozen=True, slots=True)
class Plane:
    """One lightness of a reach as a picture of its own.

    Parameters
    ----------
    lightness
        Its L*.
    svg
        The picture, without a tint.
    lines
        How the line of each ground that is made there is drawn, by name; keyed ones as one.
    marked
        Whether the target is marked in it.
    """

    lightness: float
    svg: str
    lines: dict[str, str]
    marked: bool


def reach_planes(result: Reach) -> tuple[Plane, ...]:
    """Draw a reach as one picture for each lightness, without tints, to stand beside swatches.

    Parameters
    ----------
    result
        What the shelf can make; its target is marked at the lightness nearest to its own.
    """
    most = _extent(result)
    planes = []
    for level in LEVELS:
        grounds = [each for each in _styled(result) if _at(each[0], level)]
        if not grounds:
            continue
        over = ", ".join(ground.ground for ground, _, _ in grounds if not ground.keyed)
        marked = _marked(result, level)
        words = f"What the shelf makes at L* {level:g} over {over or 'keyed grounds'}" + (
            ", with the target marked" if marked else ""
        )
        svg = [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_PLANE + 2:g} {_PLANE + 2:g}" '
            'role="img">',
            f"<title>{escape(words)}, in a* and b* to ±{most:g}</title>",
            *_plane(result, level, most, 1.0, 1.0, grey=True),
            "</svg>",
        ]
        lines = {
            "keyed" if ground.keyed else ground.ground: (
                '<svg viewBox="0 0 40 8" aria-hidden="true"><path d="M0 4h40" fill="none" '
                f'stroke="{_INK}" stroke-width="{0.8 if ground.keyed else 2}" '
                f'stroke-dasharray="{dash}"/></svg>'
            )
            for ground, _, dash in grounds
        }
        planes.append(Plane(level, "".join(svg), lines, marked))
    return tuple(planes)


def reach_svg(result: Reach) -> str:
    """Draw a reach.

    Parameters
    ----------
    result
        What the shelf can make; its target is marked at the lightness nearest to its own.

    Returns
    -------
    A whole SVG document.
    """
    levels = [level for level in LEVELS if any(_at(ground, level) for ground in result.grounds)]
    most = _extent(result)
    rows = -(-max(len(levels), 1) // _COLUMNS)
    plain = [ground for ground in result.grounds if not ground.keyed]
    keyed = [ground for ground in result.grounds if ground.keyed]
    legend = len(plain) + bool(keyed) + (result.target is not None)
    width = _COLUMNS * (_PLANE + _GAP) + _GAP
    height = _TOP + rows * (_PLANE + _GAP + 14.0) + legend * _LINE + 20.0
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.0f} {height:.0f}" '
        'font-family="sans-serif" font-size="11" role="img">',
        f"<title>{escape(_words(result, plain))}</title>",
        f'<rect width="{width:.0f}" height="{height:.0f}" fill="#ffffff"/>',
        f'<text x="{_GAP}" y="22" font-size="14">What the shelf can make, in '
        f"{escape(str(result.light))}</text>",
        f'<text x="{_GAP}" y="40">a* to the right, b* upwards, each plane to '
        f"±{most:g}; one plane for each L*</text>",
    ]
    for number, level in enumerate(levels):
        row, column = divmod(number, _COLUMNS)
        x = _GAP + column * (_PLANE + _GAP)
        y = _TOP + 14.0 + row * (_PLANE + _GAP + 14.0)
        parts.append(f'<text x="{x:.1f}" y="{y - 4:.1f}">L* {level:g}</text>')
        parts += _plane(result, level, most, x, y)
    at = _TOP + rows * (_PLANE + _GAP + 14.0) + _LINE
    for number, ground in enumerate(plain):
        parts.append(_legend(at, f"over {ground.ground}", *_style(number)))
        at += _LINE
    if keyed:
        parts.append(_legend(at, f"over {len(keyed)} keyed grounds", "#8a8a8a", "1 2"))
        at += _LINE
    if result.target is not None:
        target = result.target.target
        where = ", ".join(result.target.grounds) or "no ground"
        label = escape(f"{target.request}: within the outline over {where}")
        parts.append(_cross(_GAP + 12.0, at - 4.0))
        parts.append(f'<text x="{_GAP + 32}" y="{at:.1f}">{label}</text>')
    return "\n".join([*parts, "</svg>", ""])


def _plane(
    result: Reach, level: float, most: float, x: float, y: float, *, grey: bool = False
) -> Iterator[str]:
    yield (
        f'<rect x="{x:.1f}" y="{y:.1f}" width="{_PLANE:g}" height="{_PLANE:g}" fill="none" '
        'stroke="#bbbbbb"/>'
    )
    middle = _PLANE / 2.0
    yield (
        f'<path d="M{x:.1f} {y + middle:.1f}h{_PLANE:g}M{x + middle:.1f} {y:.1f}v{_PLANE:g}" '
        'stroke="#dddddd" fill="none"/>'
    )

    def points(corners: FloatArray) -> str:
        u = x + middle + corners[:, 0] / most * middle
        v = y + middle - corners[:, 1] / most * middle
        return " ".join(f"{a:.1f},{b:.1f}" for a, b in zip(u, v, strict=True))

    order = sorted(enumerate(_styled(result)), key=lambda item: not item[1][0].keyed)
    for _, (ground, stroke, dash) in order:
        if outline := _at(ground, level):
            yield (
                f'<polygon points="{points(outline.corners)}" fill="none" '
                f'stroke="{_INK if grey else stroke}" stroke-dasharray="{dash}" '
                f'stroke-width="{0.6 if ground.keyed else 1.4}">'
                f"<title>{escape(ground.ground)}</title></polygon>"
            )
    if result.target is not None and _marked(result, level):
        _, a, b = result.target.target.lab
        yield _cross(
            x + middle + a / most * middle, y + middle - b / most * middle, _INK if grey else _RED
        )


def _marked(result: Reach, level: float) -> bool:
    """Whether this lightness is the one nearest to the target's."""
    if result.target is None:
        return False
    lightness = result.target.target.lab[0]
    return min(LEVELS, key=lambda each: abs(each - lightness)) == level


def _styled(result: Reach) -> Iterator[tuple[GroundReach, str, str]]:
    plain = 0
    for ground in result.grounds:
        if ground.keyed:
            yield ground, "#8a8a8a", "1 2"
        else:
            yield ground, *_style(plain)
            plain += 1


def _style(number: int) -> tuple[str, str]:
    return _STROKES[number % len(_STROKES)], _DASHES[number % len(_DASHES)]


def _legend(y: float, words: str, stroke: str, dash: str) -> str:
    return (
        f'<path d="M{_GAP} {y - 4:.1f}h24" stroke="{stroke}" stroke-width="1.4" '
        f'stroke-dasharray="{dash}" fill="none"/>'
        f'<text x="{_GAP + 32}" y="{y:.1f}">{escape(words)}</text>'
    )


def _cross(x: float, y: float, stroke: str = _RED) -> str:
    return (
        f'<path d="M{x - 6:.1f} {y:.1f}h12M{x:.1f} {y - 6:.1f}v12" stroke="{stroke}" '
        'stroke-width="2" fill="none"/>'
    )


def _at(ground: GroundReach, level: float) -> Outline | None:
    return next((outline for outline in ground.outlines if outline.lightness == level), None)


def _extent(result: Reach) -> float:
    """How far the planes go: all outlines and the target lie within."""
    farthest = [
        float(np.abs(outline.corners).max())
        for ground in result.grounds
        for outline in ground.outlines
    ]
    if result.target is not None:
        farthest += [abs(value) for value in result.target.target.lab[1:]]
    most = max(farthest, default=50.0)
    step = next((step for step in _STEPS if most <= 6 * step), _STEPS[-1])
    return float(np.ceil(most / step) * step)


def _words(result: Reach, plain: list[GroundReach]) -> str:
    spans = (f"over {g.ground} from L* {g.darkest:.0f} to {g.lightest:.0f}" for g in plain)
    return f"Outlines in a*, b* of what the shelf makes, {'; '.join(spans)}, in {result.light}."
