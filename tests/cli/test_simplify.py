"""`fewtone simplify` as a user types it."""

from __future__ import annotations

from pathlib import Path

import pytest

from cli.conftest import Run
from lamp_shelf import write_lamp_shelf

FORMULA = "41.5% marigold + 22% dusk + 6.5% ash + 4% umber, 6:1, 3 coats over silver"


@pytest.fixture(scope="module")
def shelf(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A learnt lamp bench."""
    return write_lamp_shelf(tmp_path_factory.mktemp("simplify") / "lamp-bench")


def test_json_is_a_match_with_the_formula(shelf: Path, run: Run) -> None:
    """As `match`, its target the formula's colour, with the formula and the losses."""
    ran = run("simplify", FORMULA, "--tolerance", "2", "--shelf", shelf, "--json")
    document = ran.document
    assert ran.code == 0
    assert set(document) >= {
        *("format", "target", "tolerance", "picks", "recipes", "miss", "proof", "formula"),
    }
    assert document["target"]["lab"] == document["formula"]["lab"]
    assert document["picks"]["closest"]["de00"] <= 2
    assert set(document["picks"]["closest"]["lights_de00"]) == {"D65", "A", "F11", "LED-B3"}
    assert set(document["recipes"][0]["grounds_de00"]) == {"white", "silver", "brass", "graphite"}


@pytest.mark.parametrize("options", [(), ("--every-ground",)])
def test_the_proof_adds_up_and_is_explained(
    shelf: Path, run: Run, options: tuple[str, ...]
) -> None:
    """What was evaluated and cut is all there is; --explain says so in words."""
    words = ("simplify", FORMULA, "--tolerance", "5", "--shelf", shelf, *options)
    proof = run(*words, "--json").document["proof"]
    assert proof["proven"] is True
    assert proof["evaluated"] + sum(proof["cut"].values()) == proof["colours"]
    told = " ".join(run(*words, "--explain").out.split())
    assert f"{proof['admissible']:,} recipes of {proof['colours']:,} different colours" in told
    assert f"{proof['evaluated']:,} were worked out exactly" in told
    for bound, count in proof["cut"].items():
        assert f"{count:,} are cut by a bound on {bound}" in told or count == 0
    assert "the picks are proven to be the best" in told


def test_nothing_within_tolerance_exits_with_3(shelf: Path, run: Run) -> None:
    """The closest is shown all the same, with how it misses."""
    ran = run("simplify", FORMULA, "--tolerance", "0.1", "--shelf", shelf)
    assert ran.code == 3
    assert "Nothing is within 0.1" in ran.out
    assert "The closest." in ran.out


def test_what_a_person_reads(shelf: Path, run: Run) -> None:
    """What is lost over grounds and lights, unevenness and coats before and after."""
    ran = run("simplify", FORMULA, "--tolerance", "3", "--every-ground", "--shelf", shelf)
    for words in (
        *("worst ground", "Lost over white", "Lost under D65", "Coats 3 before", "Unevenness"),
    ):
        assert words in ran.out
    again = run("simplify", "40 marigold + 20 dusk, 6:1, 4 coats over silver", "--shelf", shelf)
    assert "It is simple already: 2 marigold + 1 dusk, 6:1, 4 coats over silver" in again.out


def test_a_toner_out_of_stock_is_told(tmp_path: Path, run: Run) -> None:
    """It may stand in the formula; recipes do without it."""
    folder = write_lamp_shelf(tmp_path / "lamp")
    text = (folder / "shelf.toml").read_text(encoding="utf-8")
    text = text.replace('label = "Dusk"', 'in_stock = false\nlabel = "Dusk"')
    (folder / "shelf.toml").write_text(text, encoding="utf-8")
    ran = run("simplify", FORMULA, "--tolerance", "9", "--shelf", folder, "--json")
    assert ran.code == 0
    assert "dusk is not in stock." in ran.err
    assert all("dusk" not in match["blend"] for match in ran.document["recipes"])


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("0 marigold + 0 dusk, 6:1, 3 coats over silver",), "more than 0"),
        ((FORMULA, "--keep", "umbra"), "umbra"),
        ((FORMULA, "--ground", "slver"), "slver"),
        ((FORMULA, "--keep", "dusk,ash,umber"), "only 2 allowed"),
        (("marigold and dusk",), "does not read as it should"),
    ],
)
def test_bad_input_is_told(shelf: Path, run: Run, words: tuple[str, ...], said: str) -> None:
    """What cannot be used is named, in words and in JSON alike."""
    ran = run("simplify", *words, "--shelf", shelf, "--json")
    assert ran.code == 2
    assert any(said in fault["message"] for fault in ran.document["errors"])
