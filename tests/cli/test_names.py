"""Names, labels, lights and options as people type them, from the command line and from Python."""

from __future__ import annotations

from pathlib import Path

import pytest

import fewtone
from cli.conftest import Run
from fewtone.errors import UsageError
from lamp_shelf import write_lamp_shelf

LINE = "2 marigold + 1 dusk, 6:1, 4 coats over silver"


@pytest.fixture(scope="module")
def shelf(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A learnt lamp bench."""
    return write_lamp_shelf(tmp_path_factory.mktemp("names") / "lamp-bench")


def test_a_recipe_by_label(shelf: Path, run: Run) -> None:
    """Labels in any case; it is printed by name."""
    ran = run("check", "2 MARIGOLD + 1 Dusk, 6:1, 4 coats over fine Silver", "--shelf", shelf)
    assert ran.code == 0
    assert ran.out.startswith(LINE)


@pytest.mark.parametrize("coats", ["3,4", "3-4", "4 3"])
def test_coats_as_a_list(coats: str, shelf: Path, run: Run) -> None:
    """A list without gaps is a range."""
    words = ("--use", "Marigold,DUSK", "--ground", "Fine silver", "--coats", coats)
    document = run("match", "36,-8,28", *words, "--tolerance", "9", "--shelf", shelf, "--json")
    found = document.document["recipes"]
    assert found
    assert all(recipe["coats"] in (3, 4) for recipe in found)
    assert all(recipe["ground"] == "silver" for recipe in found)


def test_coats_with_a_gap_are_no_range(shelf: Path, run: Run) -> None:
    """It is not guessed whether 2,6 means both or all between."""
    ran = run("match", "36,-8,28", "--coats", "2,6", "--shelf", shelf)
    assert ran.code == 2
    assert "such as 2-6" in ran.err


def test_a_lone_illuminant_takes_the_shelfs_observer(shelf: Path, run: Run) -> None:
    """A is A/10 on a shelf that is read with the 10 degree observer."""
    ran = run("check", LINE, "--light", "A", "--shelf", shelf)
    assert "in A/10" in ran.out
    assert run("check", LINE, "--light", "A/10", "--shelf", shelf).out == ran.out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("check", "2 marygold + 1 dusk, 6:1, 4 coats over silver"), "Did you mean 'marigold'?"),
        (("match", "36,-8,28", "--use", "Poppi"), "Did you mean 'poppy'?"),
        (("match", "36,-8,28", "--ground", "Fine silber"), "Did you mean 'silver'?"),
        (("letdown", LINE, "--ground", "brasss"), "Did you mean 'brass'?"),
        (("learn", "--leave-out", "p0014"), "Did you mean 'P014'?"),
    ],
)
def test_the_nearest_name_is_told(words: tuple[str, ...], said: str, shelf: Path, run: Run) -> None:
    """In one form of words, whatever is named."""
    ran = run(*words, "--shelf", shelf)
    assert ran.code in (1, 2)
    assert said in ran.err


def test_python_calls_answer_alike(shelf: Path) -> None:
    """An unknown option names the nearest, a lone string is one name, and one recipe will do."""
    loaded = fewtone.load(shelf)
    with pytest.raises(UsageError, match="Did you mean 'max_toners'"):
        loaded.match((36, -8, 28), max_toner=2)  # type: ignore[call-arg]
    with pytest.raises(TypeError, match="Did you mean 'light'"):
        loaded.match((36, -8, 28), ligth="A")  # type: ignore[call-arg]
    with pytest.raises(UsageError, match="Did you mean 'by_weight'"):
        loaded.batch(LINE, volume="1l", by_wait=True)  # type: ignore[call-arg]
    found = loaded.match((36, -8, 28), use="Dusk", grounds="silver", tolerance=99)
    assert {str(match.recipe.blend) for match in found.recipes} == {"1 dusk"}
    assert (loaded.predict(LINE).lab == loaded.predict([LINE]).lab).all()
