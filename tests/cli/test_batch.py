"""`fewtone batch` as a user types it."""

from __future__ import annotations

from pathlib import Path

import pytest

from cli.conftest import Run
from lamp_shelf import write_lamp_shelf

RECIPE = "2 marigold + 1 dusk, 6:1, 4 coats over silver"


@pytest.fixture(scope="module")
def shelf(tmp_path_factory: pytest.TempPathFactory) -> str:
    """A learnt lamp bench."""
    return str(write_lamp_shelf(tmp_path_factory.mktemp("batch") / "lamp-bench"))


def test_json_is_one_document(shelf: str, run: Run) -> None:
    """Standard output is the document of the interface and nothing else."""
    ran = run("batch", RECIPE, "--volume", "600ml", "--shelf", shelf, "--json")
    document = ran.document
    assert ran.code == 0
    assert document["format"] == 1
    assert document["total_ml"] == 693
    assert [pour["component"] for pour in document["pours"]] == [
        "marigold",
        "dusk",
        "medium",
        "reducer",
    ]
    for pour in document["pours"]:
        assert {"component", "ml", "grams", "running_ml", "running_grams"} <= set(pour)
    assert "safety data sheets" in ran.err


def test_the_table_has_running_totals_and_care(shelf: str, run: Run) -> None:
    """What a person reads: pours in order, where the cup stands, why that order, how to care."""
    ran = run(
        "batch",
        RECIPE,
        "--area",
        "1.4m2",
        "--extra",
        "40ml",
        "--shelf",
        shelf,
        "--rounding",
        "0.2",
        "--reducer",
        "15%",
    )
    assert ran.code == 0
    for words in (
        "cup at ml",
        "colours least goes in first",
        "125 micron",
        "data sheets",
        "Reducer 15 %",
    ):
        assert words in ran.out
    assert "safety data sheets" in ran.err


def test_the_exact_volume_says_what_rounding_costs(shelf: str, run: Run) -> None:
    """With --exact the nearest lines are shown beside the exact pours."""
    ran = run("batch", RECIPE, "--volume", "0.6 l", "--exact", "--shelf", shelf)
    assert "Mix 600.0 ml" in ran.out
    assert "the colour moves by ΔE00" in ran.out


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        ((RECIPE, "--volume", "-5ml"), 2, "cannot be negative"),
        ((RECIPE, "--volume", "5gal"), 2, "is not known"),
        ((RECIPE,), 2, "how much to mix"),
        (("0 marigold + 0 dusk, 6:1, 4 coats over silver", "--volume", "1l"), 2, "more than 0"),
        (("2 marigold, 6:1, 4 coats over slver", "--volume", "1l"), 2, "'silver'"),
        (("2 marigold 6:1, 4 coats over silver", "--volume", "1l"), 2, "a comma after the blend"),
    ],
)
def test_bad_input_is_told(
    shelf: str, run: Run, words: tuple[str, ...], code: int, said: str
) -> None:
    """What cannot be used is named, with exit code, in words and in JSON alike."""
    ran = run("batch", *words, "--shelf", shelf, "--json")
    assert ran.code == code
    assert any(said in fault["message"] for fault in ran.document["errors"])
    assert said in ran.err


def test_an_unlearnt_shelf_says_so(tmp_path: Path, run: Run) -> None:
    """Without curves there is nothing to order the pours by."""
    folder = write_lamp_shelf(tmp_path / "lamp")
    (folder / "curves.csv").unlink()
    ran = run("batch", RECIPE, "--volume", "1l", "--shelf", str(folder))
    assert ran.code == 1
    assert "not learnt yet" in ran.err
