"""Which toner or ground that the shelf lacks would bring a target nearer.

A toner is taken to absorb in one band, a bell over wavelength, without scattering; a ground to
reflect alike at all wavelengths. Bands of many places, widths and depths are first tried as they
are, alone and beside each toner of the shelf, over every ground; the best is then put on the shelf
at a strength that suits the house letdown and searched exactly, so that what is told is a recipe
that the rules admit. Grounds of several lightnesses are searched exactly at once.
"""

from __future__ import annotations

import itertools
from dataclasses import replace
from functools import lru_cache

import numpy as np

from fewtone.colorimetry import Light, delta_e_2000
from fewtone.match.beyond import nearest_beyond
from fewtone.match.result import Help, NewGround, NewToner
from fewtone.model.curves import Curves
from fewtone.model.shelf import ShelfSettings
from fewtone.model.target import Target
from fewtone.prediction.forward import lab_of, reflectance
from fewtone.recipes.rules import Rules
from fewtone.search.bounds.delta_e import lightness_span
from fewtone.search.listed import Lists
from fewtone.typing import FloatArray

__all__ = ["new_ground", "new_toner", "with_new_ground", "with_new_toner"]

_TONER, _GROUND = "new-toner", "new-ground"
# Bands that are tried: their centres' step and their widths [nm, standard deviation], and their
# depths in the film, one way [1].
_STEP_NM, _WIDTHS_NM = 20.0, (25.0, 45.0)
_DEPTHS = (0.08, 0.15, 0.3, 0.6, 1.0, 1.6, 2.5, 4.0)
# Doses of each toner of the shelf beside them [standard coats].
_DOSES = (0.05, 0.1, 0.2, 0.4, 0.8)
# Strengths that are searched, relative to the one that puts the depth found at the middle load.
_STRENGTHS = (1.0, 0.6, 1.6)
# More than rounding moves a ΔE00.
_ROUNDING = 1e-6
# L* of grounds that are tried.
_LIGHTNESSES = (10.0, 20.0, 30.0, 40.0, 50.0, 60.0, 70.0, 80.0, 90.0, 97.0)
# CIELAB hues in degrees, as they are commonly called (common practice, no source).
_HUES = {
    "red": 25.0,
    "orange": 60.0,
    "yellow": 95.0,
    "green": 150.0,
    "turquoise": 200.0,
    "blue": 265.0,
    "violet": 310.0,
    "magenta": 350.0,
}


def new_toner(
    curves: Curves,
    settings: ShelfSettings,
    target: Target,
    rules: Rules,
    within: float,
) -> Help | None:
    """The toner that would bring the target nearest, if it does within that ΔE00.

    Parameters
    ----------
    curves, settings, target, rules
        As `fewtone.match.search.search` takes them.
    within
        The ΔE00 that it has to come within.
    """
    if len(rules.keep) >= rules.max_toners:
        return None
    peak_nm, width_nm, depth, alone = _best_band(curves, target, rules)
    coats = sum(rules.coats) / 2.0
    dose = coats / (1.0 + float(rules.medium_parts[0])) * (1.0 if alone else 0.5)
    toners = [NewToner(peak_nm, width_nm, round(f * depth / dose, 3), "") for f in _STRENGTHS]
    names = [f"{_TONER}-{number}" for number in range(len(toners))]
    shelf = curves
    for name, toner in zip(names, toners, strict=True):
        shelf = with_new_toner(shelf, toner, name)
    asked = [
        replace(rules, toners=(*rules.toners, name), keep=(*rules.keep, name)) for name in names
    ]
    nearest = nearest_beyond(shelf, settings, target, None, asked, within)
    matches = [match for match in nearest if match is not None]
    if not matches:
        return None
    match = min(matches, key=lambda match: match.de00 or 0.0)
    number = nearest.index(match)
    toner = toners[number]
    blend = {
        _TONER if name == names[number] else name: part for name, part in match.recipe.blend.items()
    }
    match = replace(match, recipe=match.recipe.with_(blend=blend))
    toner = replace(toner, hue=_hue(with_new_toner(curves, toner), target.light))
    peers = {name: curves.absorption[curves.toners.index(name)].max() for name in curves.toners}
    alike = min(peers, key=lambda name: abs(np.log(peers[name] / toner.strength)))
    article = "an" if toner.hue[0] in "aeiou" else "a"
    words = (
        f"with {article} {toner.hue} toner that absorbs most at {toner.peak_nm:g} nm, "
        f"{_strength_words(toner.strength / peers[alike])} {alike}"
    )
    return Help("new_toner", toner, match, words)


def new_ground(
    curves: Curves,
    settings: ShelfSettings,
    target: Target,
    rules: Rules,
    within: float,
    lists: Lists | None = None,
) -> Help | None:
    """The neutral ground that would bring the target nearest, if it does within that ΔE00.

    Parameters
    ----------
    curves, settings, target, rules
        As `fewtone.match.search.search` takes them.
    within
        ΔE00 beyond which it is of no interest.
    lists
        As `fewtone.match.search.search` takes them.
    """
    names = tuple(f"{_GROUND}-{lightness:g}" for lightness in _LIGHTNESSES)
    asked = replace(rules, grounds=names)
    shelf = _on_grounds(curves)
    (match,) = nearest_beyond(shelf, settings, target, None, [asked], within, lists)
    if match is None:
        return None
    ground = NewGround(_LIGHTNESSES[names.index(match.recipe.ground)])
    match = replace(match, recipe=match.recipe.with_(ground=_GROUND))
    return Help("new_ground", ground, match, f"over a neutral ground of L* {ground.lightness:g}")


def with_new_toner(curves: Curves, toner: NewToner, name: str = _TONER) -> Curves:
    """A shelf with one toner more, nothing being said of how sure it is.

    Parameters
    ----------
    curves
        The learnt shelf.
    toner
        What is put on it.
    name
        What it is called.
    """
    band = toner.strength * _band(curves, toner.peak_nm, toner.width_nm)
    return replace(
        curves,
        toners=(*curves.toners, name),
        absorption=np.vstack([curves.absorption, band]),
        scattering=np.vstack([curves.scattering, np.zeros_like(band)]),
        uncertainty=None,
    )


def with_new_ground(curves: Curves, ground: NewGround, name: str = _GROUND) -> Curves:
    """A shelf with one ground more: solid, and bare under clear of that lightness.

    Parameters
    ----------
    curves
        The learnt shelf.
    ground
        What is put on it.
    name
        What it is called.
    """
    luminance = ((ground.lightness + 16.0) / 116.0) ** 3
    if ground.lightness <= 8.0:
        luminance = ground.lightness / (24389.0 / 27.0)
    seen = np.full(len(curves.wavelength_nm), luminance)
    inside = curves.optics.ground_from_bare(seen, 1.0)
    return replace(
        curves,
        grounds=(*curves.grounds, name),
        ground_reflectance=np.vstack([curves.ground_reflectance, inside]),
        return_ratio=np.append(curves.return_ratio, 1.0),
        metallic=np.append(curves.metallic, False),
        uncertainty=None,
    )


# The same for every target: a deck asks by the thousand.
@lru_cache(maxsize=2)
def _on_grounds(curves: Curves) -> Curves:
    """The shelf with the grounds that are tried."""
    for lightness in _LIGHTNESSES:
        curves = with_new_ground(curves, NewGround(lightness), f"{_GROUND}-{lightness:g}")
    return curves


def _band(curves: Curves, peak_nm: float, width_nm: float) -> FloatArray:
    """exp(-½ ((λ - peak)/width)²) at the curves' wavelengths [1], shape ``(n_wavelengths,)``."""
    return np.asarray(np.exp(-0.5 * ((curves.wavelength_nm - peak_nm) / width_nm) ** 2))


def _best_band(curves: Curves, target: Target, rules: Rules) -> tuple[float, float, float, bool]:
    """Centre and width [nm] of the best band, its depth in the film, and whether it is alone."""
    allowed = rules.toners if rules.max_toners > 1 else ()
    labs = _band_colours(curves, target.light, allowed, rules.grounds)
    flat = labs.reshape(-1, 3)
    # No ΔE00 is below what the lightness alone makes it.
    closest = int(np.square(flat - target.lab).sum(axis=1).argmin())
    within = float(delta_e_2000(flat[closest], target.lab)) + _ROUNDING
    span = lightness_span(np.array(target.lab), within)
    near = np.flatnonzero((flat[:, 0] >= span[0]) & (flat[:, 0] <= span[1]))
    best = near[np.argmin(delta_e_2000(flat[near], target.lab))]
    beside, _, depth, kind = np.unravel_index(best, labs.shape[:-1])
    return *_kinds(curves)[kind], _DEPTHS[depth], bool(beside == 0)


def _kinds(curves: Curves) -> list[tuple[float, float]]:
    """Centres and widths of bands that are tried [nm]."""
    first, last = curves.wavelength_nm[[0, -1]].tolist()
    return list(itertools.product(np.arange(first, last + 1.0, _STEP_NM).tolist(), _WIDTHS_NM))


@lru_cache(maxsize=2)
def _band_colours(
    curves: Curves, light: Light, toners: tuple[str, ...], grounds: tuple[str, ...]
) -> FloatArray:
    """CIELAB of bands alone and beside toners: ``(n_beside, n_grounds, n_depths, n_kinds, 3)``."""
    bands = np.array([_band(curves, peak, width) for peak, width in _kinds(curves)])
    clear = np.zeros_like(bands)
    names = tuple(f"{_TONER}-{number}" for number in range(len(bands)))
    rows = [curves.toners.index(name) for name in toners if name in curves.toners]
    over = np.array([curves.grounds.index(name) for name in grounds if name in curves.grounds])
    # All bands stand on a shelf beside one toner: none at first, then each that is asked for.
    beside: list[tuple[str, FloatArray, FloatArray, tuple[float, ...]]] = [
        (_TONER, clear[:1], clear[:1], (0.0,))
    ]
    beside += [
        (curves.toners[row], curves.absorption[[row]], curves.scattering[[row]], _DOSES)
        for row in rows
    ]
    labs = []
    for name, absorption, scattering, amounts in beside:
        shelf = replace(
            curves,
            toners=(name, *names),
            absorption=np.vstack([absorption, bands]),
            scattering=np.vstack([scattering, clear]),
            uncertainty=None,
        )
        doses = np.zeros((len(amounts), 1, len(_DEPTHS), len(bands), 1 + len(bands)))
        doses[..., 0] = np.reshape(amounts, (-1, 1, 1, 1))
        doses[..., 1:] = np.multiply.outer(_DEPTHS, np.eye(len(bands)))
        films = reflectance(shelf, doses, over[:, np.newaxis, np.newaxis])
        labs.append(lab_of(curves, films, light))
    joined = np.concatenate(labs)
    joined.flags.writeable = False
    return joined


def _hue(shelf: Curves, light: Light) -> str:
    """What a film of the last toner over the lightest ground would be called."""
    doses = np.zeros((1, len(shelf.toners)))
    doses[0, -1] = 1.0 / shelf.absorption[-1].max()
    ground = np.array([int(np.argmax(shelf.ground_reflectance.mean(axis=1)))])
    _, a, b = lab_of(shelf, reflectance(shelf, doses, ground), light)[0]
    hue = float(np.degrees(np.arctan2(b, a)))
    return min(_HUES, key=lambda name: abs((hue - _HUES[name] + 180.0) % 360.0 - 180.0))


def _strength_words(ratio: float) -> str:
    """How strong a toner is next to another."""
    if ratio > 1.25:
        return f"{ratio:.1f} times as strong as"
    if ratio < 0.8:
        return f"{ratio:.1g} times as strong as"
    return "about as strong as"
