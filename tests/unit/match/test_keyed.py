"""What keying the ground saves: searched exactly, and never claimed where it is not so."""

from __future__ import annotations

import numpy as np
import pytest

from fewtone.colorimetry import Light
from fewtone.errors import UsageError
from fewtone.match.answer import match
from fewtone.match.result import Match, MatchResult
from fewtone.prediction.keyed import as_if_read, with_keyed
from fewtone.prediction.recipes import predict
from fewtone.recipes.rules import Rules, keyed_pairs
from invented import invented_shelf, lab_target
from reference_match import plain_loop

LIGHT = Light("D65", 10)
CURVES, SETTINGS = invented_shelf(5, 4, 3, medium_parts=(6, 4), coats=(1, 4), unsure=0.01)
RULES = Rules.of(SETTINGS, max_toners=2, max_part=3, tolerance=2.0, keyed=True)
# Over a mix fewer coats of other toners do; they spread more evenly too.
THICK = "1 toner-03, 4:1, 4 coats over white"


def _targets() -> list[tuple[float, ...]]:
    """Colours of films over mixes that are not on the list, over one ground, and out of reach."""
    mixes = ["3 silver + 1 charcoal", "3 white + 2 charcoal"]
    wide = with_keyed(CURVES, mixes)
    settings = SETTINGS
    lines = [
        f"2 toner-01 + 1 toner-0{i}, 6:1, {i} coats over {m}"
        for i, m in ((2, mixes[0]), (3, mixes[1]))
    ]
    lines += [THICK, "2 toner-01 + 1 toner-02, 6:1, 4 coats over silver"]
    labs = predict(wide, [settings.recipe(line) for line in lines], LIGHT).lab
    return [*(tuple(row) for row in labs.tolist()), (30.0, 60.0, -80.0)]


def _matched(target: tuple[float, ...]) -> MatchResult:
    return match(CURVES, SETTINGS, [lab_target(np.array(target), LIGHT)], RULES)


def test_all_pairs_in_whole_parts_are_searched() -> None:
    """Three grounds, three parts together at most: three pairs, each in three ratios."""
    assert len(RULES.keyed) == 9
    assert keyed_pairs(("a", "b"), 4) == (
        "1 a + 1 b", "2 a + 1 b", "2 b + 1 a", "3 a + 1 b", "3 b + 1 a",
    )  # fmt: skip
    assert Rules.of(SETTINGS, grounds=["silver"], keyed=True).keyed == ()
    some = Rules.of(SETTINGS, grounds=["white", "2 silver + 2 white"], keyed=True)
    assert some.grounds == ("white", "1 silver + 1 white")
    with pytest.raises(UsageError, match="Did you mean 'silver'"):
        Rules.of(SETTINGS, grounds=["2 silber + 1 white"])


@pytest.mark.parametrize("target", _targets())
def test_keyed_recipes_are_those_of_a_plain_loop(target: tuple[float, ...]) -> None:
    """The surest over any mix is what evaluating every recipe gives, its ground taken as read."""
    keying = _matched(target).keying
    assert keying is not None
    plain = plain_loop(
        as_if_read(with_keyed(CURVES, RULES.keyed)),
        SETTINGS,
        target,
        LIGHT,
        toners=RULES.toners,
        grounds=RULES.keyed,
        medium_parts=RULES.medium_parts,
        coats=RULES.coats,
        max_part=RULES.max_part,
        max_toners=RULES.max_toners,
        tolerance=RULES.tolerance,
        top=RULES.top,
    )
    lines = {str(proposal.match.recipe) for proposal in keying.proposals}
    assert lines <= {plain.simplest, plain.surest, plain.closest, *plain.trade_off}
    for proposal in keying.proposals:
        if {"chance", "reach"} & set(proposal.claims):
            assert str(proposal.match.recipe) == plain.surest


@pytest.mark.parametrize("target", _targets())
def test_no_proposal_is_worse_than_what_stands_beside_it(target: tuple[float, ...]) -> None:
    """By the figure that it claims, next to every recipe that the match without keying names."""
    result = _matched(target)
    assert result.keying is not None
    named = [m for m in (result.simplest, result.surest, *result.recipes) if m and m.in_tolerance]
    for proposal in result.keying.proposals:
        own = proposal.match
        assert own.in_tolerance
        assert own.recipe.ground in RULES.keyed
        for claim in proposal.claims:
            if claim == "reach":
                assert not named
            else:
                assert all(_figure(claim, own) < _figure(claim, other) for other in named)


def test_fewer_coats_are_proposed_beside_what_passes_without() -> None:
    """What is within tolerance over a ground alone is bettered by what it takes to spray it."""
    target = predict(CURVES, [SETTINGS.recipe(THICK)], LIGHT).lab[0]
    result = _matched(tuple(target.tolist()))
    assert result.closest.in_tolerance
    assert result.keying is not None
    assert {claim for each in result.keying.proposals for claim in each.claims} == {
        "coats",
        "unevenness",
    }


def _figure(claim: str, of: Match) -> float:
    chance = -(of.pass_probability or 0.0)
    return {"chance": chance, "coats": float(of.recipe.coats), "unevenness": of.unevenness}[claim]


def test_a_guess_passes_less_surely_than_the_same_ground_read() -> None:
    """What is not known before the ground is read lowers the chance as things stand."""
    chances = []
    for target in _targets():
        keying = _matched(target).keying
        assert keying is not None
        chances += [(each.chance_now, each.match.pass_probability) for each in keying.proposals]
    assert chances
    for now, read in chances:
        assert now is not None
        assert read is not None
        assert now < read or now == read == 0.0
    assert any(now < read for now, read in chances if now is not None and read is not None)


def test_without_it_nothing_changes() -> None:
    """A match that keys finds the same picks over the grounds alone."""
    target = lab_target(np.array(_targets()[1]), LIGHT)
    rules = Rules.of(SETTINGS, max_toners=2, max_part=3, tolerance=2.0)
    keyed, plain = (match(CURVES, SETTINGS, [target], some) for some in (RULES, rules))
    assert plain.keying is None
    assert [str(m.recipe) for m in plain.recipes] == [str(m.recipe) for m in keyed.recipes]
