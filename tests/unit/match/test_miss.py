"""The difference between two colours in a painter's words."""

from __future__ import annotations

import math

import pytest

from fewtone.match.miss import difference_of

EXACT = 1e-12  # plain arithmetic, rounding only


def polar(lightness: float, chroma: float, hue_deg: float) -> tuple[float, float, float]:
    """CIELAB from lightness, chroma and hue angle."""
    hue = math.radians(hue_deg)
    return lightness, chroma * math.cos(hue), chroma * math.sin(hue)


@pytest.mark.parametrize(
    ("lab", "target", "words"),
    [
        (polar(42, 30, 60), polar(40, 30, 60), "2.0 too light"),
        (polar(38, 30, 60), polar(40, 30, 60), "2.0 too dark"),
        (polar(40, 26, 60), polar(40, 30, 60), "4.0 too dull"),
        (polar(40, 34, 60), polar(40, 30, 60), "4.0 too vivid"),
        (polar(40, 30, 70), polar(40, 30, 60), "5.2 towards yellow"),
        (polar(40, 30, 50), polar(40, 30, 60), "5.2 towards red"),
        (polar(40, 30, 10), polar(40, 30, -10), "10.4 towards yellow"),
        (polar(40, 30, 350), polar(40, 30, 355), "2.6 towards blue"),
        (polar(40, 30, 190), polar(40, 30, 200), "5.2 towards green"),
        # Seen from halfway: at its end the turn is past green already.
        (polar(40, 30, 185), polar(40, 30, 10), "59.9 towards green"),
        (polar(40, 30, 60), polar(40, 30, 60), "on the target"),
        ((50.0, 1.5, -0.5), (48.0, 0.0, 0.0), "2.0 too light, 1.5 too red, 0.5 too blue"),
        ((50.0, -1.5, 0.5), (50.0, 0.0, 0.0), "1.5 too green, 0.5 too yellow"),
        # From a chroma of 4 on a colour has a hue.
        ((50.0, 4.0, 0.0), (50.0, 5.0, 0.0), "1.0 too dull"),
    ],
)
def test_words(
    lab: tuple[float, float, float], target: tuple[float, float, float], words: str
) -> None:
    """Each way to differ has its word, and hue turns towards the next pole."""
    assert difference_of(lab, target).words == words


def test_hue_difference_closes_the_sum_of_squares() -> None:
    """ΔE*ab² = ΔL*² + ΔC*² + ΔH*² (CIE 15:2018, 8.2.2), the sign of ΔH* being the turn's."""
    lab, target = (41.0, -20.0, 8.0), (38.0, -18.0, 12.0)
    found = difference_of(lab, target)
    total = sum((x - y) ** 2 for x, y in zip(lab, target, strict=True))
    assert found.lightness**2 + found.chroma**2 + found.hue**2 == pytest.approx(total, abs=EXACT)
    assert found.hue > 0.0
    assert difference_of(target, lab).hue == pytest.approx(-found.hue, abs=EXACT)
