"""A shelf as a picture: its toners' curves and colours, its reach, and how it meets its readings.

Drawn with Matplotlib, which comes with the extra ``fewtone[pictures]``. Nothing is told by colour
alone: swatches stand in rows and columns that are named, lines have their own dashes and names.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from itertools import combinations
from typing import TYPE_CHECKING, Any

import numpy as np

from fewtone.colorimetry import Light, delta_e_2000, lab_from_xyz, white_point, xyz
from fewtone.errors import Fault, FewtoneError
from fewtone.model.curves import Curves
from fewtone.model.readings import Reading, Readings
from fewtone.model.shelf import ShelfSettings
from fewtone.prediction.forward import lab_of, reflectance
from fewtone.report.swatches import swatches
from fewtone.typing import FloatArray

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure, SubFigure

__all__ = ["PictureKind", "Residual", "reach", "residuals", "shelf_picture"]

_COATS = 6
_ACROSS = 2  # toners side by side
_ROW_INCHES, _FOOT_INCHES, _WIDTH_INCHES = 1.35, 4.6, 11.0
# The outline of the reach: the farthest chroma in sectors of hue, over single toners and pairs.
_SECTORS = 36
_PAIR_SHARES = (0.25, 0.5, 0.75)
_LOADS = 8
_DASHES = ("-", "--", ":", "-.", (0, (6, 1, 1, 1, 1, 1)), (0, (1, 3)))
_INK, _PALE = "#161616", "#8a8a8a"
_WORST_NAMED = 3
_STYLE: dict[Any, Any] = {
    "font.family": ["DejaVu Sans"],
    "font.size": 7.5,
    "axes.edgecolor": _PALE,
    "axes.linewidth": 0.6,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.titlesize": 9,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "xtick.color": _INK,
    "xtick.major.width": 0.6,
    "ytick.major.width": 0.6,
}


class PictureKind(StrEnum):
    """What a picture can be written as."""

    SVG = "svg"
    PNG = "png"


@dataclass(frozen=True, slots=True)
class Residual:
    """How far one reading is from what the curves predict for a panel sprayed to the letter.

    Parameters
    ----------
    reading
        The reading.
    de00
        ΔE00 between the two, in the shelf's light or the first one read.
    """

    reading: Reading
    de00: float


def shelf_picture(
    settings: ShelfSettings,
    curves: Curves,
    readings: Readings,
    kind: PictureKind,
) -> bytes:
    """Draw a learnt shelf.

    Parameters
    ----------
    settings, curves, readings
        The shelf, what was learnt of it, and from what.
    kind
        SVG or PNG.

    Raises
    ------
    FewtoneError
        Matplotlib is not there.
    """
    try:
        import matplotlib as mpl
        from matplotlib.figure import Figure
    except ImportError as error:
        raise FewtoneError(
            Fault(
                f"A picture needs Matplotlib, which is not ready here ({error}).",
                fix="Run: pip install 'fewtone[pictures]'.",
            )
        ) from error

    rows = -(-len(curves.toners) // _ACROSS)
    height = _ROW_INCHES * rows + _FOOT_INCHES
    with mpl.rc_context(_STYLE):
        figure = Figure(figsize=(_WIDTH_INCHES, height), facecolor="white", layout="constrained")
        ratios = (_ROW_INCHES * rows, _FOOT_INCHES)
        parts: Any = figure.subfigures(2, 1, height_ratios=ratios, hspace=0.02)
        toners, foot = parts
        letdown = f"{settings.mixing.medium_parts[0]}:1"
        toners.suptitle(
            f"Optical depth of a coat by wavelength [nm], and colour at 1 to {_COATS} coats, "
            f"{letdown} (* not shown truly: outside sRGB)",
            x=0.01,
            ha="left",
            fontsize=9,
        )
        _draw_toners(toners, settings, curves, rows)
        left, right = foot.subplots(1, 2, width_ratios=(1.0, 1.5))
        _draw_reach(left, settings, curves)
        _draw_residuals(right, settings, curves, readings)
        return _written(figure, kind)


def reach(
    settings: ShelfSettings, curves: Curves, ground: str, light: Light
) -> tuple[FloatArray, FloatArray]:
    """How far the shelf gets over one ground, in each direction of hue.

    Over single toners and pairs at the shop's coats and letdowns, of what is in stock.

    Parameters
    ----------
    settings, curves
        The learnt shelf.
    ground
        The ground's name.
    light
        Illuminant and observer of the outline.

    Returns
    -------
    a_star, b_star
        The outline, shape ``(36,)``: in each sector of hue the colour of most chroma; the grey
        axis where there is none.
    """
    stocked = [
        row
        for row, name in enumerate(curves.toners)
        if name in settings.toners and settings.toners[name].in_stock
    ]
    blends = list(np.eye(len(curves.toners))[stocked])
    for one, other in combinations(stocked, 2):
        for share in _PAIR_SHARES:
            blend = np.zeros(len(curves.toners))
            blend[one], blend[other] = share, 1.0 - share
            blends.append(blend)
    fewest, most = settings.mixing.coats
    parts = [float(part) for part in settings.mixing.medium_parts]
    loads = np.linspace(fewest / (1 + max(parts)), most / (1 + min(parts)), _LOADS)
    ground_rows = np.full(len(blends), curves.grounds.index(ground), dtype=np.int64)
    labs = np.concatenate(
        [
            lab_of(
                curves,
                reflectance(curves, load * np.array(blends), ground_rows),
                light,
            )
            for load in loads
        ]
    )
    chroma = np.hypot(labs[:, 1], labs[:, 2])
    turn = np.arctan2(labs[:, 2], labs[:, 1]) % (2 * np.pi)
    sector = np.minimum((turn / (2 * np.pi) * _SECTORS).astype(np.int64), _SECTORS - 1)
    outline = np.zeros((_SECTORS, 2))
    for each in range(_SECTORS):
        inside = np.flatnonzero(sector == each)
        if inside.size:
            outline[each] = labs[inside[np.argmax(chroma[inside])], 1:]
    return outline[:, 0], outline[:, 1]


def residuals(settings: ShelfSettings, curves: Curves, readings: Readings) -> tuple[Residual, ...]:
    """How far each reading is from its prediction; readings of what was not learnt are left out."""
    usable = [
        reading
        for reading in readings.items
        if reading.ground in curves.grounds and all(name in curves.toners for name in reading.blend)
    ]
    if not usable:
        return ()
    doses = np.zeros((len(usable), len(curves.toners)))
    for row, reading in enumerate(usable):
        strength = curves.strength(float(reading.coats), float(reading.medium_parts or 0))
        for name, share in reading.blend.fractions.items():
            doses[row, curves.toners.index(name)] = float(share * Fraction(reading.load)) * strength
    ground_rows = np.array([curves.grounds.index(reading.ground) for reading in usable])
    # The readings are of the bottles that were learnt, not of those in use.
    learnt = curves.with_strengths({n: 1.0 / s for n, s in settings.strengths.items()})
    film = reflectance(learnt, doses, ground_rows)
    differences = []
    for row, reading in enumerate(usable):
        light, lab = _lab_read(reading, readings, settings.measurement.light)
        differences.append(
            Residual(reading, float(delta_e_2000(lab, lab_of(curves, film[row], light))))
        )
    return tuple(differences)


def _lab_read(reading: Reading, readings: Readings, wanted: Light) -> tuple[Light, FloatArray]:
    if reading.reflectance is not None and readings.wavelength_nm is not None:
        seen = xyz(reading.reflectance, readings.wavelength_nm, wanted)
        return wanted, lab_from_xyz(seen, white_point(wanted))
    known = reading.lab or {}
    light = wanted if wanted in known else next(iter(known))
    return light, np.array(known[light])


def _draw_toners(
    figure: SubFigure,
    settings: ShelfSettings,
    curves: Curves,
    rows: int,
) -> None:
    ratios = (1.25, 1.0) * _ACROSS
    axes = figure.subplots(rows, 2 * _ACROSS, width_ratios=ratios, squeeze=False)
    cells = [(row, 2 * column) for column in range(_ACROSS) for row in range(rows)]
    for index, (row, column) in enumerate(cells):
        curve, strip = axes[row, column], axes[row, column + 1]
        if index >= len(curves.toners):
            curve.set_axis_off()
            strip.set_axis_off()
            continue
        _draw_curve(curve, curves, index)
        _draw_strip(strip, settings, curves, index)


def _draw_curve(axes: Axes, curves: Curves, index: int) -> None:
    nm, depth = curves.wavelength_nm, curves.absorption[index]
    if curves.uncertainty is not None:
        spread = curves.uncertainty.absorption_sd[index]
        low, high = depth - spread, depth + spread
        axes.fill_between(nm, np.maximum(low, 0.0), high, color="#c9c9c4", linewidth=0.0)
    axes.plot(nm, depth, color=_INK, linewidth=1.2)
    axes.set_title(curves.toners[index])
    axes.set_xlim(nm[0], nm[-1])
    axes.set_ylim(0.0, None)
    axes.margins(y=0.1)
    axes.locator_params(axis="y", nbins=3)
    axes.locator_params(axis="x", nbins=4)


def _draw_strip(axes: Axes, settings: ShelfSettings, curves: Curves, index: int) -> None:
    letdown = float(settings.mixing.medium_parts[0])
    coats = np.arange(1, _COATS + 1)
    doses = np.zeros((_COATS, len(curves.toners)))
    doses[:, index] = coats / (1.0 + letdown)
    light = settings.measurement.light
    picture = np.zeros((len(curves.grounds), _COATS, 3))
    for row in range(len(curves.grounds)):
        ground_rows = np.full(_COATS, row, dtype=np.int64)
        film = reflectance(curves, doses, ground_rows)
        shades = swatches(lab_of(curves, film, light), light)
        picture[row] = np.array([shade.rgb for shade in shades]) / 255.0
        for column, shade in enumerate(shades):
            if not shade.shown:
                text = "black" if picture[row, column].mean() > 0.5 else "white"
                axes.text(column, row, "*", ha="center", va="center", color=text, fontsize=7)
    axes.imshow(picture, aspect="auto", interpolation="nearest")
    axes.set_xticks(range(_COATS), [str(number) for number in coats])
    axes.set_yticks(range(len(curves.grounds)), curves.grounds)
    axes.tick_params(length=0)
    for spine in axes.spines.values():
        spine.set_visible(False)


def _draw_reach(axes: Axes, settings: ShelfSettings, curves: Curves) -> None:
    light = settings.measurement.light
    axes.axhline(0.0, color=_PALE, linewidth=0.5)
    axes.axvline(0.0, color=_PALE, linewidth=0.5)
    for row, ground in enumerate(curves.grounds):
        a_star, b_star = reach(settings, curves, ground, light)
        axes.plot(
            np.append(a_star, a_star[0]),
            np.append(b_star, b_star[0]),
            linestyle=_DASHES[row % len(_DASHES)],
            linewidth=1.1,
            color=_INK,
            label=ground,
        )
    axes.set_title("Reach of single toners and pairs")
    axes.set_xlabel(f"a*, {light}")
    axes.set_ylabel("b*")
    axes.set_aspect("equal", adjustable="datalim")
    axes.legend(frameon=False, loc="upper left", handlelength=3.2, title="over")


def _draw_residuals(
    axes: Axes, settings: ShelfSettings, curves: Curves, readings: Readings
) -> None:
    differences = residuals(settings, curves, readings)
    columns = (*curves.toners, "bare")
    for column, name in enumerate(columns):
        of_panel = [each.de00 for each in differences if name in _names(each.reading)]
        spread = column + 0.5 * (np.arange(len(of_panel)) / max(len(of_panel) - 1, 1) - 0.5)
        axes.plot(
            spread, of_panel, "o", markersize=2.2, color=_INK, alpha=0.55, markeredgewidth=0.0
        )
        if of_panel:
            middle = float(np.median(of_panel))
            axes.plot([column - 0.35, column + 0.35], [middle] * 2, color=_INK, linewidth=1.2)
    for each in _worst(differences):
        column = columns.index(next(iter(_names(each.reading))))
        axes.annotate(
            each.reading.panel,
            (column, each.de00),
            xytext=(0, 4),
            textcoords="offset points",
            ha="center",
            parse_math=False,
        )
    axes.set_title("Readings against curves, ΔE00; a line at each median")
    axes.set_xticks(range(len(columns)), columns, rotation=45, ha="right")
    axes.set_ylim(0.0, None)
    axes.margins(y=0.12)
    axes.set_xlabel("A panel's own heavy or light film counts here; learning takes it out.")


def _names(reading: Reading) -> tuple[str, ...]:
    return ("bare",) if reading.is_bare else tuple(reading.blend)


def _worst(differences: tuple[Residual, ...]) -> Iterator[Residual]:
    """The worst reading of each of the worst panels."""
    seen: set[str] = set()
    for each in sorted(differences, key=lambda one: -one.de00):
        if len(seen) == _WORST_NAMED:
            return
        if each.reading.panel not in seen:
            seen.add(each.reading.panel)
            yield each


def _written(figure: Figure, kind: PictureKind) -> bytes:
    written = io.BytesIO()
    figure.savefig(written, format=str(kind), dpi=150, metadata={"Title": "A shelf of toners"})
    return written.getvalue()
