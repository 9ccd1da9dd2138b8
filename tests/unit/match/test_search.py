"""The answer of a match around the picks: the miss and the proof."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from decimal import Decimal

import numpy as np
import pytest

from fewtone.colorimetry import Light, delta_e_2000
from fewtone.match.answer import _apart, match
from fewtone.match.judging import describe_all
from fewtone.match.result import MatchResult
from fewtone.match.search import _SearchState, search
from fewtone.model.recipe import parse
from fewtone.model.target import Target
from fewtone.prediction.recipes import predict
from fewtone.recipes.keys import Candidates
from fewtone.recipes.rules import Rules
from fewtone.search.sweep import Sweep
from fewtone.typing import FloatArray
from invented import invented_shelf, lab_target

LIGHT = Light("D65", 10)


CURVES, SHELF = invented_shelf(2, 6, 3, coats=(2, 4))


def find(line: str, **options: object) -> MatchResult:
    """Match the colour of a recipe line under some rules."""
    target = predict(CURVES, [parse(line)], LIGHT).lab[0]
    rules = Rules.of(SHELF, **options)  # type: ignore[arg-type]
    return search(CURVES, SHELF, lab_target(target), rules)


def test_a_colour_of_the_shelf_is_found() -> None:
    """The colour of an admissible recipe is met exactly."""
    found = find("2 toner-01 + 1 toner-03, 6:1, 3 coats over silver")
    assert found.closest.de00 is not None
    assert found.closest.de00 <= 0.05
    assert found.simplest is not None
    assert found.simplest.in_tolerance
    assert found.miss is None


def test_metamerism_is_left_to_the_spectrum_of_the_first_version() -> None:
    """It is asked of a spectrum alone, and starts from the light that the first version is in."""
    film = predict(CURVES, [parse("2 toner-01 + 1 toner-03, 6:1, 3 coats over silver")], LIGHT)
    geometry = CURVES.optics.geometry
    wave, read = CURVES.wavelength_nm, film.reflectance[0]
    first = Target.of_spectrum(wave, read, LIGHT, geometry)
    other = Target.of_spectrum(wave, 1.02 * read, Light("A", 10), geometry)
    second = lab_target(film.lab[0] + 0.2)
    rules = Rules.of(SHELF)
    for versions, reference in (
        ([first, second], LIGHT),
        ([first, other], LIGHT),
        ([other, first], Light("A", 10)),
    ):
        left = match(CURVES, SHELF, versions, rules).closest.metamerism
        assert left
        assert {each.reference for each in left} == {reference}
    assert not match(CURVES, SHELF, [second, first], rules).closest.metamerism


def test_colours_are_those_of_a_strength_that_leans_on_the_letdown() -> None:
    """What the search works out of a recipe is what a prediction of it says."""
    curves = replace(CURVES, per_doubling=0.08)
    wanted = parse("2 toner-01 + 1 toner-03, 8:1, 3 coats over silver")
    target = predict(curves, [wanted], LIGHT).lab[0]
    found = search(curves, SHELF, lab_target(target), Rules.of(SHELF, medium_parts=(8, 4)))
    assert found.closest.de00 == 0.0
    picks = [found.closest, *found.recipes]
    told = predict(curves, [pick.recipe for pick in picks], LIGHT).lab
    np.testing.assert_allclose([pick.lab for pick in picks], told, atol=1e-9)


def test_out_of_reach_there_is_a_miss_and_no_pick_within_tolerance() -> None:
    """The closest is told all the same, with how it misses in figures and words."""
    found = search(CURVES, SHELF, lab_target((50.0, 100.0, -100.0)), Rules.of(SHELF))
    assert found.simplest is found.surest is None
    assert found.headline is found.closest
    assert found.miss is not None
    assert "too dull" in found.miss.words


def test_judging_a_recipe_without_a_target_gives_its_colour_alone() -> None:
    """Its colour and unevenness, ΔE00 from 90 % to 110 % of the film; no ΔE00, no verdict."""
    recipe = parse("41.5 toner-01 + 22 toner-02, 6:1, 3 coats over silver")
    (judged,) = describe_all(CURVES, [recipe], LIGHT)
    assert judged.de00 is judged.in_tolerance is judged.pass_probability is None
    assert np.allclose(judged.lab, predict(CURVES, [recipe], LIGHT).lab[0], rtol=0, atol=1e-12)
    thin, thick = (recipe.with_(coats=coats) for coats in (Decimal("2.7"), Decimal("3.3")))
    nine, eleven = predict(CURVES, [thin, thick], LIGHT).lab
    assert judged.unevenness == round(float(delta_e_2000(nine, eleven)), 2)


def test_the_proof_adds_up_and_reads_as_words() -> None:
    """Colours evaluated and cut add up to all there are, and the proof can be read."""
    proof = find("1 toner-01, 6:1, 3 coats over silver").proof
    assert proof.proven
    assert proof.evaluated + sum(count for _, count in proof.cut) == proof.colours
    assert f"{proof.admissible:,} recipes" in proof.lines[0]
    for _, count in proof.cut:
        assert any(line.startswith(f"{count:,} are cut") for line in proof.lines) or count == 0
    assert all(count >= 0 for _, count in proof.cut)


@pytest.mark.parametrize("broken", ["cut", "evaluated"])
def test_a_colour_that_is_not_accounted_for_is_noticed(
    broken: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What each bound cut and what was worked out is counted where it happens, and must add up."""
    if broken == "cut":
        counted = Sweep.candidates

        def found(self: Sweep) -> Iterator[Candidates]:
            yield from counted(self)
            self.cut[2] //= 2

        monkeypatch.setattr(Sweep, "candidates", found)
    else:
        take = _SearchState._take

        def taken(self: _SearchState, candidates: Candidates, radius: FloatArray) -> None:
            take(self, candidates.where(slice(1, None)), radius)

        monkeypatch.setattr(_SearchState, "_take", taken)
    with pytest.raises(AssertionError, match="not all there is"):
        find("2 toner-01 + 1 toner-03, 6:1, 3 coats over silver")


def test_versions_are_apart_in_one_light_alone() -> None:
    """ΔE00 of two Labs says nothing where they are not of the same light."""
    one, other = (50.0, 0.0, 0.0), (51.0, 2.0, 0.0)
    assert _apart(lab_target(one), lab_target(one, Light("A", 10))) is None
    apart = _apart(lab_target(one), lab_target(other))
    assert apart == pytest.approx(float(delta_e_2000(np.array(other), np.array(one))), abs=1e-6)


def test_versions_are_called_by_their_names_or_by_what_was_asked() -> None:
    """How a recipe stands to each, and which one it misses by most, is told in the user's words."""
    named = replace(lab_target((60.0, 90.0, -60.0)), name="moss", request="101")
    asked = replace(lab_target((30.0, 5.0, 5.0)), request="30,5,5")
    result = match(CURVES, SHELF, [named, asked], Rules.of(SHELF, max_toners=1))
    assert [standing.name for standing in result.closest.each] == ["moss", "30,5,5"]
    assert result.miss is not None
    assert result.miss.words.startswith("against moss: ")
